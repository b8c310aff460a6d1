"""Slash regions (MusicXML 4.0, slash): bars in which slashes are printed in the place of the notes
that a file has there. Without stems there is one on every beat, whatever lies under them, which in
many files is a rest; with stems the slashes have the rhythm of the notes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from lxml import etree

from sectionprep.musicxml.document import tag_of

_SLASH = "{*}attributes/{*}measure-style/{*}slash"
#: what is printed for a note: itself, a slash in its rhythm, the slashes of all its bar, nothing
ITSELF, RHYTHM, BEATS, NOTHING = "", "rhythm", "beats", "nothing"


def has_slashes(measure: etree._Element) -> bool:
    """Whether a slash region begins or ends in a measure."""
    return measure.find(_SLASH) is not None


class _Region(NamedTuple):
    kind: str
    but: frozenset[str]


class _Covered(NamedTuple):
    """A note, and the kind of the region in which it stands."""

    said: dict[str, etree._Element]
    staff: str
    voice: str
    kind: str

    @property
    def has_slash(self) -> bool:
        """Whether it is a slash without any region."""
        head = self.said.get("notehead")
        return head is not None and (head.text or "").strip() == "slash"


@dataclass(slots=True)
class SlashRegions:
    """Walks through a part, measure after measure. held: what holds on each staff ("": on all)."""

    held: dict[str, _Region] = field(default_factory=dict)

    def take(self, measure: etree._Element) -> Sequence[str]:
        """What is printed for each note of the next measure; empty where all are themselves."""
        if not self.held and not has_slashes(measure):
            return ()
        notes: list[_Covered] = []
        for element in measure:
            tag = tag_of(element)
            if tag == "attributes":
                self._attributes(element)
            elif tag == "note":
                said = {tag_of(child): child for child in element}
                staff, voice = (_text(said.get(name)) for name in ("staff", "voice"))
                notes.append(_Covered(said, staff, voice, self._kind(staff, voice)))
        full = {staff for staff in {note.staff for note in notes} if _is_full(notes, staff)}
        begun: set[str] = set()
        roles: list[str] = []
        for note in notes:
            covered = note.kind and note.staff in full
            roles.append(_under_beats(note, begun) if covered else _alone(note))
        return roles if any(roles) else ()

    def _kind(self, staff: str, voice: str) -> str:
        region = self.held.get(staff) or self.held.get("")
        return region.kind if region is not None and voice not in region.but else ""

    def _attributes(self, attributes: etree._Element) -> None:
        for style in attributes.iterchildren("{*}measure-style"):
            for slash in style.iterchildren("{*}slash"):
                staff = style.get("number", "")
                if slash.get("type") == "start":
                    kind = RHYTHM if slash.get("use-stems") == "yes" else BEATS
                    but = frozenset(_text(e) for e in slash.iterchildren("{*}except-voice"))
                    self.held[staff] = _Region(kind, but)
                elif staff in self.held:
                    del self.held[staff]
                else:
                    self.held.clear()


def _is_full(notes: Sequence[_Covered], staff: str) -> bool:
    """Whether a staff has slashes on the beats of a whole bar: not where it has slashes already,
    nor where a region begins or ends inside the bar."""
    own = [note for note in notes if note.staff == staff]
    voice = next((note.voice for note in own if note.kind), "")
    whole = all(note.kind == BEATS for note in own if note.voice == voice)
    return bool(voice) and whole and not any(note.has_slash for note in own)


def _under_beats(note: _Covered, begun: set[str]) -> str:
    """The first note of a staff stands for all slashes of its bar. begun: staves that have it."""
    if note.staff in begun:
        return NOTHING
    begun.add(note.staff)
    return BEATS


def _alone(note: _Covered) -> str:
    """What is printed for a note that is not covered by the slashes of a whole bar."""
    if not note.kind or note.has_slash or "rest" in note.said or "grace" in note.said:
        return ITSELF
    return NOTHING if "chord" in note.said else RHYTHM


def _text(element: etree._Element | None) -> str:
    return (element.text or "1").strip() if element is not None else "1"
