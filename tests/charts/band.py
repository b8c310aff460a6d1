"""The players: what they can play, how they are written, which of them play together.

Pitches are sounding MIDI numbers.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from typing import NamedTuple

HORNS = ("sax", "trumpet", "trombone")


@dataclass(frozen=True, slots=True)
class Instrument:
    name: str
    short: str
    family: str
    transpose: tuple[int, int, int]  # diatonic, chromatic, octave change
    clef: str
    low: int
    high: int
    sound: str

    @property
    def shift(self) -> int:
        return self.transpose[1] + 12 * self.transpose[2]


class Kind(NamedTuple):
    """Names in two styles, abbreviation, family, transposition, clef, sounding range, sound id."""

    name: str
    short_name: str
    short: str
    family: str
    transpose: tuple[int, int, int]
    clef: str
    low: int
    high: int
    sound: str


E_FLAT, B_FLAT = (-5, -9, 0), (-1, -2, 0)
KINDS = {
    "flute": Kind("Flute", "Flute", "Fl.", "sax", (0, 0, 0), "G", 62, 91, "wind.flutes.flute"),
    "clarinet": Kind(
        "Clarinet", "Bb Clarinet", "Cl.", "sax", B_FLAT, "G", 52, 84, "wind.reed.clarinet.bflat"
    ),
    "soprano": Kind(
        "Soprano Sax", "Soprano", "S.", "sax", B_FLAT, "G", 58, 84, "wind.reed.saxophone.soprano"
    ),
    "alto": Kind("Alto Sax", "Alto", "A.", "sax", E_FLAT, "G", 50, 78, "wind.reed.saxophone.alto"),
    "tenor": Kind(
        "Tenor Sax", "Tenor", "T.", "sax", (-1, -2, -1), "G", 45, 73, "wind.reed.saxophone.tenor"
    ),
    "bari": Kind(
        "Baritone Sax",
        "Bari",
        "B.",
        "sax",
        (-5, -9, -1),
        "G",
        37,
        64,
        "wind.reed.saxophone.baritone",
    ),
    "trumpet": Kind(
        "Trumpet", "Trumpet in Bb", "Tpt.", "trumpet", B_FLAT, "G", 54, 81, "brass.trumpet.bflat"
    ),
    "horn": Kind(
        "Horn in F", "F Horn", "Hn.", "trombone", (-4, -7, 0), "G", 45, 72, "brass.french-horn"
    ),
    "bone": Kind("Trombone", "Bone", "Tbn.", "trombone", (0, 0, 0), "F", 41, 69, "brass.trombone"),
    "bassbone": Kind(
        "Bass Trombone",
        "Bass Bone",
        "B.Tbn.",
        "trombone",
        (0, 0, 0),
        "F",
        37,
        64,
        "brass.trombone.bass",
    ),
    "tuba": Kind("Tuba", "Tuba", "Tba.", "trombone", (0, 0, 0), "F", 30, 60, "brass.tuba"),
    "guitar": Kind(
        "Guitar", "Guitar", "Gtr.", "rhythm", (0, 0, -1), "G", 42, 76, "pluck.guitar.electric"
    ),
    "piano": Kind("Piano", "Piano", "Pno.", "rhythm", (0, 0, 0), "G", 36, 84, "keyboard.piano"),
    "bass": Kind("Bass", "Bass", "Bs.", "rhythm", (0, 0, -1), "F", 28, 55, "pluck.bass.acoustic"),
    "drums": Kind(
        "Drum Set", "Drums", "Dr.", "drums", (0, 0, 0), "percussion", 0, 0, "drum.group.set"
    ),
}


def make_band(rng: random.Random) -> list[Instrument]:
    """14 to 20 parts in score order."""
    saxes = ["alto", "alto", "tenor", "tenor", "bari"]
    if rng.random() < 0.2:
        saxes[0] = "soprano"
    saxes = [*([rng.choice(("flute", "clarinet"))] if rng.random() < 0.2 else []), *saxes]
    bones = [*["bone"] * rng.choice((2, 3, 3)), "bassbone"]
    bones = [
        *(["horn"] if rng.random() < 0.15 else []),
        *bones,
        *(["tuba"] if rng.random() < 0.15 else []),
    ]
    rhythm = [*(["guitar"] if rng.random() < 0.8 else []), "piano", "bass", "drums"]
    kinds = [*saxes, *["trumpet"] * rng.choice((3, 4, 4, 5)), *bones, *rhythm]
    style, count, out = rng.choice((0, 1)), dict[str, int](), list[Instrument]()
    for kind in kinds[-20:] if len(kinds) > 20 else kinds:
        row = KINDS[kind]
        count[kind] = count.get(kind, 0) + 1
        number = f" {count[kind]}" if kinds.count(kind) > 1 else ""
        high = row.high - (2 * (count[kind] - 1) if row.family != "rhythm" else 0)
        name, short = (row.name, row.short_name)[style] + number, row.short + number.strip()
        out.append(
            Instrument(name, short, row.family, row.transpose, row.clef, row.low, high, row.sound)
        )
    return out


def choose_group(rng: random.Random, band: list[Instrument]) -> tuple[tuple[str, ...], bool]:
    """Names of a section, of a part of it, or of a mixed group, in score order."""
    sax, tpt, tbn = ([i.name for i in band if i.family == f] for f in HORNS)
    of = {k: [i.name for i in band if i.sound == KINDS[k].sound] for k in KINDS}
    if rng.random() < 0.6:
        section = rng.choice(
            (sax, sax, sax[-5:], tpt, tbn, [n for n in tbn if n not in of["tuba"]])
        )
        parts = section if rng.random() < 0.8 else section[:3]
        if rng.random() < 0.25:
            parts = rng.choice(
                (sax[-5:-3], of["tenor"], [*of["tenor"], *of["bari"]], tpt[:2], tbn[:2], of["alto"])
            )
        return tuple(parts if len(parts) > 1 else sax), False
    pairs = (
        [sax[-5], tpt[0]],
        [sax[-5], of["tenor"][0], tpt[0]],
        [sax[-5], of["tenor"][0], tpt[0], tbn[0]],
        [*of["alto"], *tpt],
        [*of["tenor"], *of["bone"]],
        [*sax, *tbn],
        [*tpt, *tbn],
        [*sax, *tpt, *tbn],
        [*sax, *tpt],
        [*of["bari"], *of["bassbone"], *of["bass"]],
        [of["tenor"][0], tpt[1], *of["guitar"]],
        [of["tenor"][0], *of["bari"], tbn[-1]],
        [*tpt[:2], *tbn[:2], sax[-5]],
    )
    chosen = set(rng.choice(pairs))
    return tuple(i.name for i in band if i.name in chosen), True
