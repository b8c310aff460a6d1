"""Instruments and chairs: from the name on a part to the player who sits there.

The table itself is shared/instruments.toml; to add an instrument, add a row there.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from functools import cache
from typing import Any

from sectionprep.music.pitch import CONCERT, Pitch, Transposition
from sectionprep.settings import load_toml

#: Score order of the sections (Metropole and most band scores): saxes, trumpets, horns, trombones, rhythm.
SECTIONS = ("saxes", "woodwinds", "trumpets", "horns", "trombones", "strings", "voices", "rhythm",
            "percussion", "other")
BRASS = frozenset({"trumpets", "trombones", "horns"})
HORNS = frozenset({"saxes", "woodwinds", "trumpets", "trombones", "horns"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Instrument:
    """One row of the instrument table. Ranges: (lowest, highest) written MIDI number; breath in seconds."""

    key: str
    section: str
    says: str
    aliases: tuple[str, ...] = ()
    sounds: tuple[str, ...] = ()
    programs: tuple[int, ...] = ()
    transposition: Transposition = CONCERT
    clef: str = "G2"
    full: tuple[int, int] | None = None
    pro: tuple[int, int] | None = None
    school: tuple[int, int] | None = None
    breath: float | None = None
    chair: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chair:
    """Who plays a part: the instrument, the number in the section, how sure we are and why."""

    instrument: Instrument
    number: int = 0
    numbers: tuple[int, ...] = ()
    sure: bool = True
    why: str = ""

    @property
    def section(self) -> str:
        """The section the chair sits in (a clarinet double in a sax chair stays with the saxes)."""
        return self.instrument.section

    @property
    def says(self) -> str:
        """Short name: "Alto 1"."""
        return f"{self.instrument.says} {self.number}" if self.number else self.instrument.says


UNKNOWN = Instrument(key="unknown", section="other", says="Part")


def _midi(name: str) -> int:
    match = re.fullmatch(r"([A-G])(#|b)?(-?\d)", name)
    assert match, name
    alter = {"#": 1, "b": -1, None: 0}[match[2]]
    return Pitch(match[1], alter, int(match[3])).midi


@cache
def instruments() -> tuple[Instrument, ...]:
    """All rows of the instrument table."""
    return tuple(_row(key, row) for key, row in load_toml("shared/instruments.toml").items())


def _row(key: str, row: dict[str, Any]) -> Instrument:
    def span(name: str) -> tuple[int, int] | None:
        return (_midi(row[name][0]), _midi(row[name][1])) if name in row else None

    return Instrument(
        key=key,
        section=row["section"],
        says=row["says"],
        aliases=tuple(row.get("aliases", ())),
        sounds=tuple(row.get("sound", ())),
        programs=tuple(row.get("program", ())),
        transposition=Transposition(*row.get("transpose", (0, 0))),
        clef=row.get("clef", "G2"),
        full=span("full"),
        pro=span("pro"),
        school=span("school"),
        breath=row.get("breath"),
        chair=row.get("chair", key),
    )


@cache
def instrument(key: str) -> Instrument:
    """The row with this key; UNKNOWN when there is none."""
    return next((row for row in instruments() if row.key == key), UNKNOWN)


_ROMAN = {"i": 1, "ii": 2, "iii": 3, "iv": 4, "v": 5, "vi": 6}
_ORDINALS = {"1st": 1, "2nd": 2, "3rd": 3, "4th": 4, "5th": 5, "first": 1, "second": 2, "third": 3,
             "fourth": 4, "lead": 1, "1er": 1, "2e": 2, "3e": 3, "4e": 4}
_NUMBER = re.compile(r"(?<![\w])(?:#|no\.?|nr\.?)?\s*(\d{1,2})(?:\.|st|nd|rd|th|er|e|º|ª)?(?![\w])")


def _numbers(text: str) -> tuple[int, ...]:
    found = [int(n) for n in _NUMBER.findall(text) if 0 < int(n) <= 12]
    if not found:
        words = re.findall(r"[\w]+", text)
        found = [n for word in words if (n := _ORDINALS.get(word) or _ROMAN.get(word))]
    if not found:
        found = [int(m) for m in re.findall(r"[a-z](\d)\b", text)]
    return tuple(dict.fromkeys(found))


@cache
def _alias_table() -> tuple[tuple[str, re.Pattern[str], Instrument], ...]:
    rows = [(alias, inst) for inst in instruments() for alias in inst.aliases]
    rows.sort(key=lambda row: -len(row[0]))
    return tuple(
        (alias, re.compile(rf"(?<![^\W\d_]){re.escape(alias)}(?:es|s|e|i|n|er)?(?![^\W\d_])"), inst)
        for alias, inst in rows
    )


def _by_name(text: str) -> Instrument | None:
    for _alias, pattern, inst in _alias_table():
        if pattern.search(text):
            return inst
    return None


_DEMAND = re.compile(r"^\W*(?:(?:back|return)\s+)?(?:to|take|switch to|change to|pick up|muta in)\s+(?:the\s+)?", re.IGNORECASE)
_OWN = re.compile(r"(?:a|t|b|s)? ?(?:sax|sx|saxophone|horn)")


def doubling(words: str, own: Instrument) -> tuple[Instrument | None, bool]:
    """The wind instrument that words over a part name, and whether they tell the player to take it up ("to Flute") or only
    name it ("Flute", which may be the label of a cue). (None, False) for other words. own: the chair's instrument, which "back
    to Sax" or its bare name tells the player to take up again."""
    plain = re.split(r"[(/,]", " ".join(words.split()).lower())[0].replace(".", "").strip()
    name = re.sub(r"\W*(?:in \w+|\d+)?\W*$", "", _DEMAND.sub("", plain))
    if _DEMAND.match(plain) and _OWN.fullmatch(name):
        return own, True
    found = next((inst for _, pattern, inst in _alias_table() if pattern.fullmatch(name)), None)
    if found is None or found.section not in HORNS:
        return None, False
    return found, found.key == own.key or _DEMAND.match(plain) is not None


def recognise(
    name: str, abbreviation: str = "", *, sound: str = "", program: int | None = None,
    transposition: Transposition | None = None, percussion: bool = False,
) -> Chair:
    """The chair a part belongs to, from its name first, then sound id, MIDI program and transposition.

    `sure` is False when the evidence disagrees or is only a MIDI program; `why` says what was believed.
    """
    text = re.sub(r"[_/]+", " ", name.lower())
    text = text.replace("♭", "b").replace("♯", "#")
    short = abbreviation.lower()
    numbers = _numbers(text) or _numbers(short)
    number = numbers[0] if numbers else 0
    outside = re.sub(r"\(.*?\)", " ", text)  # "Alto 2 (Flute)" sits in the alto chair
    found = _by_name(outside) or _by_name(text)
    why = "part name"
    sure = True
    if found is None and sound:
        found = next((i for i in instruments() if sound in i.sounds), None)
        found = found or next((i for i in instruments() if any(sound.startswith(s) for s in i.sounds)), None)
        why = "sound id"
    if found is None and short:
        found, why = _by_name(short), "abbreviation"
    if found is None and percussion:
        found, why = instrument("drums"), "percussion staff"
    if found is None and program is not None:
        found = next((i for i in instruments() if program in i.programs), None)
        why, sure = "MIDI program", False
    if found is None:
        return Chair(instrument=replace(UNKNOWN, transposition=transposition or CONCERT),
                     number=number, numbers=numbers, sure=False, why="no instrument recognised")
    if found.key == "bass" and transposition and transposition.chromatic == -21:
        found, why = instrument("baritone-sax"), "transposition"
    if found.key == "trombone" and number == 4 and "bass" in text:
        found = instrument("bass-trombone")
    return Chair(instrument=found, number=number, numbers=numbers, sure=sure, why=why)
