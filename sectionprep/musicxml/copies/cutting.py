"""Ties, slurs and hairpins at the edge of a cut: what goes on in bars that are left out is not
drawn into the next bar that is shown."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from itertools import groupby

from lxml import etree

_TIES, _PAIRS = ("tie", "tied"), ("slur", "glissando", "slide", "wedge")


def cut_lines(stretch: Sequence[etree._Element]) -> None:
    """Take out what begins in a stretch of measures and does not end in it, and the other way
    round."""
    found: dict[str, list[etree._Element]] = defaultdict(list)
    for measure in stretch:
        for sign in measure.iter(*_TIES, *_PAIRS):
            found[str(sign.tag)].append(sign)
    for kind in _TIES:
        _take_out(_unpaired_ties(found[kind]))
    for kind in _PAIRS:
        _take_out(_unpaired(found[kind]))


def _unpaired_ties(ties: Iterable[etree._Element]) -> list[etree._Element]:
    """The same of ties, by the pitch and the voice of their notes."""
    begun: dict[tuple[str | None, ...], list[etree._Element]] = {}
    gone: list[etree._Element] = []
    for note, at_note in groupby(ties, lambda tie: next(tie.iterancestors("note"), tie)):
        pitch = tuple(note.findtext(f"pitch/{name}") for name in ("step", "alter", "octave"))
        place = (*pitch, note.findtext("staff"), note.findtext("voice"))
        signs = list(at_note)
        gone += [s for s in signs if s.get("type") == "stop" and not begun.pop(place, [])]
        if starts := [s for s in signs if s.get("type") == "start"]:
            begun[place] = starts
    return [*gone, *(sign for signs in begun.values() for sign in signs)]


def _unpaired(signs: Iterable[etree._Element]) -> list[etree._Element]:
    """Beginnings without an end and ends without a beginning, by number."""
    begun: dict[str, etree._Element] = {}
    gone: list[etree._Element] = []
    for sign in signs:
        number, kind = sign.get("number") or "1", sign.get("type")
        if kind == "stop":
            start = begun.pop(number, None)
            gone += [sign] if start is None else []
        elif kind != "continue":
            begun[number] = sign
    return [*gone, *begun.values()]


def _take_out(signs: Iterable[etree._Element]) -> None:
    """Take signs out, and what held nothing else with them."""
    for sign in signs:
        holder = sign.getparent()
        while holder is not None:
            holder.remove(sign)
            if len(holder) or holder.tag not in ("notations", "direction-type", "direction"):
                break
            sign, holder = holder, holder.getparent()
