"""Which parts of an excerpt are written alike, note for note and mark for mark: one staff will do
for them ("a 2")."""

from __future__ import annotations

import copy

from lxml import etree

from sectionprep.musicxml.copies.excerpt import Excerpt

#: what does not make two parts different: who plays, how it is laid out, what is said once for all
_ASIDE = frozenset(
    ("voice", "stem", "instrument", "lyric", "footnote", "level", "transpose", "sound", "print")
)
_FOR_ALL = frozenset(("rehearsal", "segno", "coda", "metronome", "words"))
_KEPT = frozenset(("type", "number", "print-object"))


def alike(excerpt: Excerpt) -> list[int]:
    """For each part the number (from 0) of the first part that is written like it: its own where
    there is none before."""
    first: dict[bytes, int] = {}
    return [
        first.setdefault(_bare(part), n) for n, part in enumerate(excerpt.root.iterchildren("part"))
    ]


def _bare(part: etree._Element) -> bytes:
    """The part's music without what does not count."""
    plain = copy.deepcopy(part)
    for element in list(plain.iter(*_ASIDE)):
        parent = element.getparent()
        if parent is not None:
            parent.remove(element)
    for direction in list(plain.iter("direction")):
        if any(element.tag in _FOR_ALL for element in direction.iter()):
            parent = direction.getparent()
            if parent is not None:
                parent.remove(direction)
    for element in plain.iter():
        element.tail = None
        if element.text is not None:
            element.text = element.text.strip() or None
        for name in list(element.attrib):
            if name not in _KEPT:
                del element.attrib[name]
    return b"".join(etree.tostring(measure, method="c14n") for measure in plain)
