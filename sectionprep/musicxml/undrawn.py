"""What a part holds that the engraver does not draw, counted so that it can be said.

Seen on Verovio 6.4.1 with one bar for each element of MusicXML 4.0; tests/outputs/test_undrawn.py holds the table against
the engraver itself.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from lxml import etree

from sectionprep.musicxml.dashes import lone_dashes

#: elements of `<technical>`, `<articulations>`, `<ornaments>` and what a musician calls them
ON_NOTES = {
    "double-tongue": "double tonguing", "triple-tongue": "triple tonguing", "thumb-position": "thumb positions",
    "half-muted": "half-closed plungers", "hole": "finger holes", "arrow": "arrows", "handbell": "handbell signs",
    "golpe": "golpe", "pluck": "plucking fingers", "tap": "taps", "hammer-on": "hammer-ons", "pull-off": "pull-offs",
    "bend": "bends", "heel": "heel signs", "toe": "toe signs", "other-technical": "signs of the copyist's own", "other-articulation": "signs of the copyist's own",
    "other-ornament": "signs of the copyist's own",
}
#: elements of `<direction-type>`
DIRECTIONS = {
    "harp-pedals": "harp pedals", "damp": "damping signs", "damp-all": "damping signs", "eyeglasses": "eyeglasses",
    "symbol": "symbols between the notes", "percussion": "pictures of percussion instruments", "staff-divide": "arrows that divide a staff",
    "image": "pictures", "accordion-registration": "accordion registers", "scordatura": "tunings of strings",
}
PLAYBACK = "playback instructions"
FRETS = "fret numbers"
LYRIC_ON_REST = "lyrics on rests"
CHORD_FRAMES = "chord frames"
SWING = "swing equations"
GLISS_WORDS = "words on slides"
DASHES = "dashes after no word"


@dataclass(slots=True)
class Undrawn:
    """What is not drawn of one part: by name, how often and in which bar first (its index). texts: what is to be read on it,
    and the bar where it stands first."""

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


def _in(measure: etree._Element) -> Iterator[str]:
    for note in measure.iterchildren("note"):
        yield from _on(note)
    for direction in measure.iterchildren("direction"):
        kinds = [kind for group in direction.iterchildren("direction-type") for kind in group]
        tags = [str(kind.tag) for kind in kinds]
        yield from (DIRECTIONS[tag] for tag in tags if tag in DIRECTIONS)
        if any(k.tag == "metronome" and k.find("metronome-note") is not None for k in kinds):
            yield SWING
    yield from (DASHES for _ in lone_dashes(measure))
    for harmony in measure.iterchildren("harmony"):
        if harmony.find("frame") is not None:
            yield CHORD_FRAMES


def _on(note: etree._Element) -> Iterator[str]:
    if note.find("rest") is not None and any((lyric.findtext("text") or "").strip() for lyric in note.iterchildren("lyric")):
        yield LYRIC_ON_REST
    for notations in note.iterchildren("notations"):
        for home in notations:
            if home.tag in ("technical", "articulations", "ornaments"):
                yield from (ON_NOTES[str(m.tag)] for m in home if m.tag in ON_NOTES and m.get("smufl") not in GIVEN)
            elif home.tag == "other-notation":
                yield ON_NOTES["other-technical"]
            elif home.tag in ("glissando", "slide") and (home.text or "").strip() and home.get("type") == "start":
                yield GLISS_WORDS


GIVEN = frozenset({"articStressAbove", "articUnstressAbove"})  # signs by their SMuFL names that the engraver does draw
