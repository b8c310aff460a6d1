"""Mutes and doublings are said where the hands are free: at the start of the rest before the entry
that needs them. Common practice, no source.

The rest is looked for backwards from the words, bar by bar, but never past a place that is reached
from elsewhere (a repeat, an ending, a segno, a coda): who jumps there would miss the words.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from lxml import etree

from sectionprep.musicxml.copies.jumps import SAYS_JUMP

_MUTE = re.compile(
    r"\s*(?:to |with |add )?(?:cup|straight|harmon|bucket|plunger|solotone|practice|whisper|hat|"
    r"mute|muted|con sord\.?|senza sord\.?|in stand|open)(?: mutes?)?(?: in| on| off| out)?\.?\s*",
    re.IGNORECASE,
)
_DOUBLING = re.compile(
    r"\s*(?:to|take|change to|muta in) (?:the )?(?:\w+\.? ){0,2}?(?:fl(?:ute|ugel(?:horn)?)?\.?|"
    r"picc(?:olo)?\.?|cl(?:arinet)?\.?|sax(?:ophone)?\.?|soprano|alto|tenor|bari(?:tone)?|oboe|"
    r"english horn|bassoon|trumpet|trombone|tuba|horn|cornet|bass)\s*",
    re.IGNORECASE,
)


def words_in_time(measures: Sequence[etree._Element]) -> None:
    """Move words for mutes and doublings in the copied measures of one part."""
    if measures and any((m.findtext("attributes/staves") or "1") != "1" for m in measures[:1]):
        return
    for n, measure in enumerate(measures):
        for direction in measure.findall("direction"):
            if _prepares(direction):
                place = _rest_before(measures, n, direction)
                if place is not None:
                    target, at = place
                    measure.remove(direction)
                    target.insert(at, direction)


def _prepares(direction: etree._Element) -> bool:
    """True for words that name a mute or another instrument and nothing else."""
    signs = [sign for kind in direction.findall("direction-type") for sign in kind]
    if not signs or any(sign.tag != "words" for sign in signs):
        return False
    said = " ".join(" ".join((sign.text or "").split()) for sign in signs)
    return bool(_MUTE.fullmatch(said) or _DOUBLING.fullmatch(said))


def _rest_before(
    measures: Sequence[etree._Element], n: int, direction: etree._Element
) -> tuple[etree._Element, int] | None:
    """The measure and the place in it where the rest begins that leads up to these words; None
    where they stand there already, or where there is no rest before them."""
    found: tuple[etree._Element, int] | None = None
    at = measures[n].index(direction)
    while True:
        measure = measures[n]
        for place in range(at - 1, -1, -1):
            if measure[place].tag != "note":
                continue
            if _sounds(measure[place]):
                return found
            found = measure, place
        if n == 0 or _reached_from_elsewhere(measure, measures[n - 1]):
            return found
        n -= 1
        at = len(measures[n])


def _sounds(note: etree._Element) -> bool:
    return note.find("rest") is None and note.find("cue") is None


def _reached_from_elsewhere(measure: etree._Element, before: etree._Element) -> bool:
    """True for a bar to which one can come otherwise than from the bar before."""
    if next(measure.iter("segno", "coda"), None) is not None:
        return True
    left = [b for b in measure.findall("barline") if b.get("location") == "left"]
    right = [b for b in before.findall("barline") if b.get("location") != "left"]
    if any(b.find("repeat") is not None for b in (*left, *right)):
        return True
    if any(b.find("ending") is not None for b in left):
        return True
    return any(SAYS_JUMP.search(words.text or "") for words in before.iter("words"))
