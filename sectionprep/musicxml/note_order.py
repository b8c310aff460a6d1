"""In which order the children of a note stand (MusicXML 4.0, type `note`)."""

from __future__ import annotations

from functools import cache

from lxml import etree

NOTE_ORDER = (
    "grace",
    "cue",
    "chord",
    "pitch",
    "unpitched",
    "rest",
    "duration",
    "tie",
    "instrument",
    "footnote",
    "level",
    "voice",
    "type",
    "dot",
    "accidental",
    "time-modification",
    "stem",
    "notehead",
    "notehead-text",
    "staff",
    "beam",
    "notations",
    "lyric",
    "play",
    "listen",
)


@cache
def stands_before(name: str) -> frozenset[str]:
    """What may stand before a child of this name."""
    return frozenset(NOTE_ORDER[: NOTE_ORDER.index(name)])


@cache
def stands_after(name: str) -> frozenset[str]:
    """What may stand after a child of this name."""
    return frozenset(NOTE_ORDER[NOTE_ORDER.index(name) + 1 :])


def put_in_order(note: etree._Element, child: etree._Element) -> None:
    """Put a child where it belongs: behind all that may stand before it, and its own like."""
    after = stands_after(str(child.tag))
    at = next((n for n, other in enumerate(note) if other.tag in after), len(note))
    note.insert(at, child)
