"""What a part holds that the engraver does not draw, counted so that it can be said.

Seen on Verovio 6.4.1 with one bar for each element of MusicXML 4.0; tests/outputs/test_undrawn.py
holds the table against the engraver itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import islice

from lxml import etree

from sectionprep.musicxml.copies.dashes import lone_dashes

#: elements of `<technical>`, `<articulations>`, `<ornaments>` and what a musician calls them
ON_NOTES = {
    "double-tongue": "double tonguing",
    "triple-tongue": "triple tonguing",
    "thumb-position": "thumb positions",
    "half-muted": "half-closed plungers",
    "hole": "finger holes",
    "arrow": "arrows",
    "handbell": "handbell signs",
    "golpe": "golpe",
    "pluck": "plucking fingers",
    "tap": "taps",
    "hammer-on": "hammer-ons",
    "pull-off": "pull-offs",
    "bend": "bends",
    "heel": "heel signs",
    "toe": "toe signs",
    "other-technical": "signs of the copyist's own",
    "other-articulation": "signs of the copyist's own",
    "other-ornament": "signs of the copyist's own",
}
#: elements of `<direction-type>`
DIRECTIONS = {
    "harp-pedals": "harp pedals",
    "damp": "damping signs",
    "damp-all": "damping signs",
    "eyeglasses": "eyeglasses",
    "symbol": "symbols between the notes",
    "percussion": "pictures of percussion instruments",
    "staff-divide": "arrows that divide a staff",
    "image": "pictures",
    "accordion-registration": "accordion registers",
    "scordatura": "tunings of strings",
}
PLAYBACK = "playback instructions"
FRETS = "fret numbers"
LYRIC_ON_REST = "lyrics on rests"
CHORD_FRAMES = "chord frames"
SWING = "swing equations"
GLISS_WORDS = "words on slides"
REPEATS = {
    "measure-repeat": "repeat signs of several bars (their notes are)",
    "beat-repeat": "beat repeat signs (their notes are)",
}
DASHES = "dashes after no word"
ODD_CHORDS = "chord symbols that are not one chord on notes from A to G"
HEADS = "odd note heads (plain ones are printed)"
OPEN_HAIRPINS = "hairpins that never end"
TIES_TO_NOTHING = "ties that no note ends"
TIES_FROM_NOTHING = "ties that no note begins (to a second ending, say)"
OPEN_SLURS = "slurs that never end"
OCTAVE_LINES = "octave lines (the notes stand where they sound)"
OPEN_OCTAVES = "octave lines that never end (the notes stand where they sound)"


@dataclass(slots=True)
class Undrawn:
    """What is not drawn of one part: by name, how often and in which bar first (its index). texts:
    what is to be read on it, and the bar where it stands first."""

    found: dict[str, tuple[int, int]] = field(default_factory=dict)
    texts: dict[str, int] = field(default_factory=dict)

    def add(self, what: str, bar: int) -> None:
        """One place more."""
        count, first = self.found.get(what, (0, bar))
        self.found[what] = (count + 1, first)

    def look(self, measure: etree._Element, bar: int) -> None:
        """Take up one measure, as it is given to the engraver."""
        for what in _in(measure):
            self.add(what, bar)
        for element in measure.iter("words", "rehearsal", "text"):
            self.texts.setdefault(element.text or "", bar)


_HOMES = ("technical", "articulations", "ornaments")
_WATCHED = (
    *_HOMES,
    "notehead",
    "other-notation",
    "glissando",
    "slide",
    "lyric",
    "frame",
    "metronome",
    *DIRECTIONS,
    *REPEATS,
)


def _in(measure: etree._Element) -> Iterator[str]:
    for element in measure.iter(*_WATCHED):
        tag = str(element.tag)
        if tag in _HOMES:
            yield from (
                ON_NOTES[str(m.tag)]
                for m in element
                if m.tag in ON_NOTES and m.get("smufl") not in GIVEN
            )
        elif said := DIRECTIONS.get(tag) or _alone(tag, element):
            yield said
    yield from (DASHES for _ in lone_dashes(measure))


_HEAD = 3  # elements of a note of which one is its pitch or its rest (note.mod of the standard)


def _alone(tag: str, element: etree._Element) -> str:
    """What is not drawn of an element that is drawn under other conditions; "" where it is."""
    around = element.getparent()
    if (
        tag == "lyric"
        and around is not None
        and any(child.tag == "rest" for child in islice(around, _HEAD))
        and (element.findtext("text") or "").strip()
    ):
        return LYRIC_ON_REST
    if (
        tag in ("glissando", "slide")
        and (element.text or "").strip()
        and element.get("type") == "start"
    ):
        return GLISS_WORDS
    if tag in REPEATS and element.get("type") == "start" and (element.text or "").strip() != "1":
        return REPEATS[tag]
    if tag == "metronome" and element.find("metronome-note") is not None:
        return SWING
    if tag == "notehead" and (element.text or "").strip() not in DRAWN_HEADS:
        return HEADS
    return {"frame": CHORD_FRAMES, "other-notation": ON_NOTES["other-technical"]}.get(tag, "")


DRAWN_HEADS = frozenset({"", "normal", "none", "slash", "x", "cross", "circle-x", "diamond"})
GIVEN = frozenset(
    {"articStressAbove", "articUnstressAbove"}
)  # signs by their SMuFL names that the engraver does draw
