"""Exact positions. Time is counted in whole ticks; a chart has one number of ticks per quarter
note."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache


@dataclass(frozen=True, slots=True, kw_only=True)
class Meter:
    """A time signature; `beats` is the whole upper number (3+2 over 8 is 5 over 8)."""

    beats: int = 4
    unit: int = 4

    @property
    def quarters(self) -> Fraction:
        """Length of a full bar in quarter notes."""
        return Fraction(self.beats * 4, self.unit)

    @property
    def is_compound(self) -> bool:
        """True where three units make one felt beat (6/8, 9/8, 12/8)."""
        return self.unit >= 8 and self.beats % 3 == 0 and self.beats > 3

    @property
    def pulse(self) -> Fraction:
        """The felt beat, in quarter notes: a dotted quarter in 6/8, a half in 2/2."""
        return Fraction(12, self.unit) if self.is_compound else Fraction(4, self.unit)


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A place as a musician says it: printed bar number, and beat counted from 1 in the meter's
    unit. is_end: it is the bar line that closes the bar."""

    bar: str
    index: int
    beat: Fraction
    is_end: bool = False

    def __str__(self) -> str:
        return (
            f"the end of bar {self.bar}"
            if self.is_end
            else f"bar {self.bar} beat {say_beat(self.beat)}"
        )


_SPOKEN = {Fraction(0): "", Fraction(1, 2): "and", Fraction(1, 4): "e", Fraction(3, 4): "a"}


@lru_cache(4096)
def say_beat(beat: Fraction) -> str:
    """3 -> "3", 3.5 -> "3and", 3.25 -> "3e", 3 1/3 -> "3 1/3"."""
    whole = beat.numerator // beat.denominator
    rest = beat - whole
    if rest in _SPOKEN:
        return f"{whole}{_SPOKEN[rest]}"
    return f"{whole} {rest.numerator}/{rest.denominator}"
