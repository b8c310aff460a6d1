"""The marks a horn player reads. One table drives reading, writing, comparing, speaking and
sounding them.

Names are MusicXML 4.0 element names, except `ghost` (a note head in parentheses), `lift` and `rip`
(which stand in `<other-articulation>`), `slur-start` and `slur-stop`. Shapes, lengths and
syllables: see shared/ of the project and DEVELOPERS.md for sources.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import lru_cache

_sets: dict[frozenset[str], frozenset[str]] = {}


def as_one(marks: frozenset[str]) -> frozenset[str]:
    """Equal sets of marks as one object: a chart has dozens of them, on a hundred thousand
    notes."""
    return _sets.setdefault(marks, marks)


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """One kind of mark.

    home: the MusicXML parent inside `<notations>` ("articulations", "technical", "ornaments"), or
    "notehead" or "slur". length: fraction of the written value that sounds, None where the mark
    does not speak of length. says: what a player calls it. glyph: how we show it in a line of text.
    """

    name: str
    home: str
    says: str
    glyph: str
    length: float | None = None
    family: str = "effect"


# Lengths: tenuto 1.0 and the short quarter of 1/3-2/3 beat (Kilpatrick, ellington-music.co.uk,
# swing page);
# 1/2 for staccato and 0.6 for the rooftop accent are classroom figures: common practice, no source.
MARKS: tuple[Mark, ...] = (
    Mark(name="accent", home="articulations", says="accent", glyph=">", family="attack"),
    Mark(
        name="strong-accent",
        home="articulations",
        says="rooftop accent",
        glyph="^",
        length=0.6,
        family="attack",
    ),
    Mark(
        name="soft-accent",
        home="articulations",
        says="soft accent",
        glyph="<>",
        family="attack",
    ),
    Mark(name="stress", home="articulations", says="stress", glyph="'", family="attack"),
    Mark(
        name="unstress",
        home="articulations",
        says="unstress",
        glyph="u",
        family="attack",
    ),
    Mark(
        name="tenuto", home="articulations", says="tenuto", glyph="-", length=1.0, family="length"
    ),
    Mark(
        name="staccato",
        home="articulations",
        says="staccato",
        glyph=".",
        length=0.5,
        family="length",
    ),
    Mark(
        name="staccatissimo",
        home="articulations",
        says="wedge",
        glyph="'",
        length=0.33,
        family="length",
    ),
    Mark(
        name="spiccato", home="articulations", says="stroke", glyph="'", length=0.4, family="length"
    ),
    Mark(
        name="detached-legato",
        home="articulations",
        says="tenuto with dot",
        glyph="-.",
        length=0.75,
        family="length",
    ),
    Mark(name="scoop", home="articulations", says="scoop", glyph="scoop"),
    Mark(name="plop", home="articulations", says="plop", glyph="plop"),
    Mark(name="doit", home="articulations", says="doit", glyph="doit"),
    Mark(name="falloff", home="articulations", says="fall", glyph="fall"),
    Mark(name="lift", home="articulations", says="lift", glyph="lift"),
    Mark(name="rip", home="articulations", says="rip", glyph="rip"),
    Mark(name="breath-mark", home="articulations", says="breath", glyph=",", family="breath"),
    Mark(name="caesura", home="articulations", says="caesura", glyph="//", family="breath"),
    Mark(name="brass-bend", home="technical", says="bend", glyph="bend"),
    Mark(name="flip", home="technical", says="flip", glyph="flip"),
    Mark(name="smear", home="technical", says="smear", glyph="smear"),
    Mark(name="shake", home="ornaments", says="shake", glyph="shake", family="ornament"),
    Mark(name="trill-mark", home="ornaments", says="trill", glyph="tr", family="ornament"),
    Mark(name="turn", home="ornaments", says="turn", glyph="turn", family="ornament"),
    Mark(
        name="inverted-turn",
        home="ornaments",
        says="inverted turn",
        glyph="turn",
        family="ornament",
    ),
    Mark(
        name="delayed-turn", home="ornaments", says="delayed turn", glyph="turn", family="ornament"
    ),
    Mark(name="mordent", home="ornaments", says="mordent", glyph="mord", family="ornament"),
    Mark(
        name="inverted-mordent",
        home="ornaments",
        says="inverted mordent",
        glyph="mord",
        family="ornament",
    ),
    Mark(name="tremolo", home="ornaments", says="tremolo", glyph="trem", family="ornament"),
    Mark(name="ghost", home="notehead", says="ghost", glyph="( )", family="attack"),
    Mark(name="slur-start", home="slur", says="slur begins", glyph="(", family="slur"),
    Mark(name="slur-stop", home="slur", says="slur ends", glyph=")", family="slur"),
)

#: SMuFL glyph names (without their length) that mean one of our marks
SMUFL = {
    "brassScoop": "scoop",
    "brassPlop": "plop",
    "brassLift": "lift",
    "brassDoit": "doit",
    "brassFallLip": "falloff",
    "brassFallSmooth": "falloff",
    "brassFallRough": "falloff",
    "brassFlip": "flip",
    "brassSmear": "smear",
    "brassBend": "brass-bend",
}

BY_NAME: dict[str, Mark] = {mark.name: mark for mark in MARKS}

#: Marks that say how a note begins or how long it is: these must agree inside a section.
ATTACKS = frozenset(m.name for m in MARKS if m.family == "attack")
LENGTHS = frozenset(m.name for m in MARKS if m.family == "length")
EFFECTS = frozenset(m.name for m in MARKS if m.family == "effect")
BREATHS = frozenset(m.name for m in MARKS if m.family == "breath")
SLURS = frozenset({"slur-start", "slur-stop"})
# : What changes the notes that sound. It belongs to its player: compared and reported, never
# copied, planned or taken out.
ORNAMENTS = frozenset(m.name for m in MARKS if m.family == "ornament")

# : Elements of `<dynamics>` that are dynamics (MusicXML 4.0); `other-dynamics` holds words and
# brackets and is none
DYNAMICS = frozenset(
    {
        "p",
        "pp",
        "ppp",
        "pppp",
        "ppppp",
        "pppppp",
        "f",
        "ff",
        "fff",
        "ffff",
        "fffff",
        "ffffff",
        "mp",
        "mf",
        "sf",
        "sfp",
        "sfpp",
        "fp",
        "rf",
        "rfz",
        "sfz",
        "sffz",
        "fz",
        "n",
        "pf",
        "sfzp",
    }
)


def named_by(smufl: str, text: str) -> str:
    """The mark that an "other" articulation means, by its SMuFL glyph name or its word; "" when it
    is none of ours."""
    glyph = re.sub(r"(Short|Medium|Long)$", "", smufl)
    word = text.strip().lower()
    return SMUFL.get(glyph, word if word in ("lift", "rip") else "")


def contradict(first: str, second: str) -> bool:
    """True when the two marks cannot both be meant on one note (tenuto against staccato, say)."""
    if first == second:
        return False
    a, b = BY_NAME.get(first), BY_NAME.get(second)
    if a is None or b is None:
        return False
    if a.family == b.family and a.family in ("attack", "length"):
        return True
    pair = {first, second}
    if "ghost" in pair:
        return bool(pair & {"staccatissimo"})
    return pair == {"strong-accent", "tenuto"}  # the rooftop accent is the short accent


def say(names: frozenset[str] | set[str] | tuple[str, ...]) -> str:
    """Marks in a player's words, in table order: "accent, tenuto"; "plain" when there are none."""
    return _said(frozenset(names))


@lru_cache(1024)
def _said(names: frozenset[str]) -> str:
    known = [mark.says for mark in MARKS if mark.name in names]
    other = sorted(name for name in names if name not in BY_NAME)
    return ", ".join(known + other) or "plain"
