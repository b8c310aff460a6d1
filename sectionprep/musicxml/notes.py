"""What stands on a note: articulations, jazz marks, ghosted heads, slurs."""

from __future__ import annotations

from collections.abc import Iterable

from lxml import etree

from sectionprep.music.marks import BY_NAME, named_by
from sectionprep.musicxml.document import tag_of
from sectionprep.musicxml.numbers import whole

_HOMES = ("articulations", "technical", "ornaments")
NO_MARKS: frozenset[str] = frozenset()


def note_marks(notations: Iterable[etree._Element], notehead: etree._Element | None) -> frozenset[str]:
    """Names of the marks on one note, out of the table in music/marks.py."""
    found: set[str] = set()
    for block in notations:
        for home in block:
            if tag_of(home) in _HOMES:
                for mark in home:
                    name = tag_of(mark)
                    if name in BY_NAME and BY_NAME[name].home == tag_of(home):
                        found.add(name)
                    elif name.startswith("other-") and (meant := named_by(mark.get("smufl") or "", mark.text or "")):
                        found.add(meant)
    if notehead is not None and notehead.get("parentheses") == "yes":
        found.add("ghost")
    if {"tenuto", "staccato"} <= found:  # the pair is one mark in MusicXML: detached-legato
        found -= {"tenuto", "staccato"}
        found.add("detached-legato")
    return frozenset(found) if found else NO_MARKS


def slur_ends(notations: Iterable[etree._Element]) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Numbers of the slurs that start and that stop on one note."""
    starts: list[int] = []
    stops: list[int] = []
    for block in notations:
        for element in block:
            if tag_of(element) == "slur":
                number = whole(element.get("number"), 1)
                if element.get("type") == "start":
                    starts.append(number)
                elif element.get("type") == "stop":
                    stops.append(number)
    return tuple(starts), tuple(stops)
