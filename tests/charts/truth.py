"""What was planted in a chart, as the measuring scripts see it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple


class Place(NamedTuple):
    """Index of the bar from 0, and the beat counted from 1 inside that bar."""

    bar: int
    beat: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviation:
    kind: str
    part: str
    at: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Join:
    """A part that is no member and goes along for a while.

    By chance (`doubles` is empty): same rhythm, a line of its own, two bars at most. In earnest:
    the line of the part it doubles, an octave away perhaps, for four bars or more.
    """

    part: str
    doubles: str
    start: Place
    end: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Passage:
    """A planted passage; `leads` are all parts that share the top line, `lead` the one to follow.

    Parts are named as the staves are: two players on one staff are one part.
    """

    texture: str
    parts: tuple[str, ...]
    start: Place
    end: Place
    lead: str
    leads: tuple[str, ...]
    deviations: tuple[Deviation, ...]
    traits: tuple[str, ...]
    joins: tuple[Join, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Other:
    """Material that is no passage: 'pad' (held chords), 'solo', 'line' (independent
    counter-line)."""

    kind: str
    parts: tuple[str, ...]
    start: Place
    end: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What was planted; iterating gives the passages."""

    seed: int
    kind: str = "ordinary"
    parts: tuple[str, ...]
    bar_numbers: tuple[str, ...]
    bar_beats: tuple[int, ...]
    passages: tuple[Passage, ...]
    others: tuple[Other, ...]

    def __iter__(self) -> Iterator[Passage]:
        return iter(self.passages)

    def __len__(self) -> int:
        return len(self.passages)

    def staff(self, name: str) -> str:
        """The part as the truth names it: a line of a shared staff is called after the staff."""
        if name in self.parts:
            return name
        return max((p for p in self.parts if name.startswith(p)), key=len, default=name)

    def beats(self, place: Sequence[float]) -> float:
        """Quarter notes from the start of the chart."""
        return sum(self.bar_beats[: int(place[0])]) + place[1] - 1.0
