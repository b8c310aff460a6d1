"""Instruments, and the chairs of those who play them.

The table itself is shared/instruments.toml; to add an instrument, add a row there. chairs.py finds
out which one a part is for.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache

from sectionprep.music.pitch import CONCERT, Pitch, Transposition
from sectionprep.settings import load_toml
from sectionprep.shapes import File, rows

# : Score order of the sections (Metropole and most band scores): saxes, trumpets, horns, trombones,
# rhythm.
SECTIONS = (
    "saxes",
    "woodwinds",
    "trumpets",
    "horns",
    "trombones",
    "strings",
    "voices",
    "rhythm",
    "percussion",
    "other",
)
BRASS = frozenset({"trumpets", "trombones", "horns"})
HORNS = frozenset({"saxes", "woodwinds", "trumpets", "trombones", "horns"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """One row of the instrument table. Ranges: (lowest, highest) written MIDI number; breath in
    seconds. pitches: the transpositions it is built in, in semitones; also: clefs that its players
    read beside their own."""

    key: str
    section: str
    says: str
    aliases: tuple[str, ...] = ()
    sounds: tuple[str, ...] = ()
    programs: tuple[int, ...] = ()
    transposition: Transposition = CONCERT
    pitches: tuple[int, ...] = ()
    clef: str = "G2"
    also: tuple[str, ...] = ()
    full: tuple[int, int] | None = None
    pro: tuple[int, int] | None = None
    school: tuple[int, int] | None = None
    breath: float | None = None
    chair: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chair:
    """Who plays a part: the instrument, the number in the section, how sure we are and why.
    numbers: of all players who read the part ("Trumpet 1 & 2"), the first of them `number`. other:
    what its sound id takes the part for, where that is another instrument than its name says: the
    key of its row."""

    instrument: Instrument
    number: int = 0
    numbers: tuple[int, ...] = ()
    sure: bool = True
    why: str = ""
    other: str = ""

    @property
    def section(self) -> str:
        """The section the chair sits in (a clarinet double in a sax chair stays with the saxes)."""
        return self.instrument.section

    @property
    def says(self) -> str:
        """Short name: "Alto 1", "Trumpet 1 & 2"."""
        numbers = self.numbers or ((self.number,) if self.number else ())
        return f"{self.instrument.says} {' & '.join(map(str, numbers))}".strip()

    @property
    def players(self) -> tuple[str, ...]:
        """Each player of the part by itself: "Trumpet 1", "Trumpet 2"."""
        return tuple(f"{self.instrument.says} {number}" for number in self.numbers)


UNKNOWN = Instrument(key="unknown", section="other", says="Part")


def _midi(name: str) -> int:
    match = re.fullmatch(r"([A-G])(#|b)?(-?\d)", name)
    assert match, name
    alter = {"#": 1, "b": -1, None: 0}[match[2]]
    return Pitch(match[1], alter, int(match[3])).midi


class _Row(File, frozen=True, kw_only=True):
    """A row as it stands in the table, which says at its top what each field is."""

    key: str
    section: str
    says: str
    aliases: tuple[str, ...] = ()
    sound: tuple[str, ...] = ()
    program: tuple[int, ...] = ()
    transpose: tuple[int, int] = (0, 0)
    pitches: tuple[int, ...] = ()
    clef: str = "G2"
    also: tuple[str, ...] = ()
    full: tuple[str, str] | None = None
    pro: tuple[str, str] | None = None
    school: tuple[str, str] | None = None
    breath: float | None = None
    chair: str = ""


@cache
def instruments() -> tuple[Instrument, ...]:
    """All rows of the instrument table."""
    name = "shared/instruments.toml"
    return tuple(map(_instrument, rows(load_toml(name), _Row, name).values()))


def _instrument(row: _Row) -> Instrument:
    return Instrument(
        key=row.key,
        section=row.section,
        says=row.says,
        aliases=row.aliases,
        sounds=row.sound,
        programs=row.program,
        transposition=Transposition(*row.transpose),
        pitches=row.pitches,
        clef=row.clef,
        also=row.also,
        full=_span(row.full),
        pro=_span(row.pro),
        school=_span(row.school),
        breath=row.breath,
        chair=row.chair or row.key,
    )


def _span(names: tuple[str, str] | None) -> tuple[int, int] | None:
    return (_midi(names[0]), _midi(names[1])) if names is not None else None


@cache
def instrument(key: str) -> Instrument:
    """The row with this key; UNKNOWN when there is none."""
    return next((row for row in instruments() if row.key == key), UNKNOWN)
