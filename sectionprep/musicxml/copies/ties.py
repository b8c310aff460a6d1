"""Ties of which one end is missing in the file: the engraver draws none of them. Works on its
copy."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from lxml import etree

from sectionprep.musicxml.note_order import put_in_order

_ENDS, _BEGINS = ("stop", "continue"), ("start", "continue")
_Pitch = tuple[str, ...]


class _Begun(NamedTuple):
    """A tie that is open. bar: index of its measure; place: number of its note in its voice; alter:
    what its note is altered by, as the file says it."""

    bar: int
    place: int
    alter: str


def end_ties(measures: Sequence[etree._Element]) -> tuple[list[int], list[int]]:
    """Where the next note of a voice has the pitch of a tie that begins, it ends the tie, whether
    the file says so or not. Returns the indices of measures in which ties begin that no note ends,
    and of those in which ties end that no note begins, as at the head of a second ending."""
    begun: dict[tuple[str, _Pitch], _Begun] = {}
    to_nothing: list[int] = []
    from_nothing: list[int] = []
    for bar, voice, place, note in _notes(measures):
        ties = {tied.get("type") for tied in note.iterfind("notations/tied")}
        ends, begins = not ties.isdisjoint(_ENDS), not ties.isdisjoint(_BEGINS)
        pitch = _pitch(note)
        found = begun.pop((voice, pitch), None) or _elsewhere(begun, pitch, ends)
        if found is not None and not ends:
            if (found.place + 1, found.alter) == (place, _alter(note)):
                _end(note)
            else:
                to_nothing.append(found.bar)
        elif found is None and ends:
            from_nothing.append(bar)
        if begins:
            begun[voice, pitch] = _Begun(bar, place, _alter(note))
    return sorted([*to_nothing, *(one.bar for one in begun.values())]), from_nothing


def _elsewhere(begun: dict[tuple[str, _Pitch], _Begun], pitch: _Pitch, ends: bool) -> _Begun | None:
    """A tie of that pitch in another voice, where a note says that it ends one."""
    key = next((key for key in begun if key[1] == pitch), None) if ends else None
    return begun.pop(key) if key is not None else None


def _notes(
    measures: Sequence[etree._Element],
) -> Iterator[tuple[int, str, int, etree._Element]]:
    """Each note that sounds, with its bar, its voice, and which of its voice it is; a rest counts,
    a chord counts once."""
    places: dict[str, int] = {}
    for bar, measure in enumerate(measures):
        for note in measure.iterchildren("note"):
            voice = note.findtext("voice", "1").strip()
            if note.find("chord") is None and note.find("grace") is None:
                places[voice] = places.get(voice, 0) + 1
            if note.find("pitch") is not None:
                yield bar, voice, places.get(voice, 0), note


def _pitch(note: etree._Element) -> _Pitch:
    return note.findtext("pitch/step", ""), note.findtext("pitch/octave", "")


def _alter(note: etree._Element) -> str:
    return note.findtext("pitch/alter", "0").strip()


def _end(note: etree._Element) -> None:
    notations = note.find("notations")
    if notations is None:
        notations = etree.Element("notations")
        put_in_order(note, notations)
    notations.insert(0, etree.Element("tied", type="stop"))
