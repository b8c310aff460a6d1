"""Chords, forms and rhythmic cells of the style; lengths in ticks, Q to the quarter note."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

Q = 24


@dataclass(slots=True)
class Event:
    start: int
    length: int
    pitches: tuple[int, ...]
    grace: int | None = None
    cut: int | None = None  # an extra tie, so many ticks after the start

    @property
    def stop(self) -> int:
        return self.start + self.length


class Quality(NamedTuple):
    """Chord tones, scale, colour tone for a fifth voice, the kind as MusicXML says it."""

    tones: tuple[int, ...]
    scale: tuple[int, ...]
    colour: int
    kind: str


CHORDS = {
    "maj": Quality((0, 4, 7, 9), (0, 2, 4, 5, 7, 9, 11), 2, "major-sixth"),
    "min": Quality((0, 3, 7, 10), (0, 2, 3, 5, 7, 9, 10), 5, "minor-seventh"),
    "dom": Quality((0, 4, 7, 10), (0, 2, 4, 5, 7, 9, 10), 2, "dominant"),
    "dim": Quality((0, 3, 6, 9), (0, 2, 3, 5, 6, 8, 9, 11), 2, "diminished-seventh"),
}
FORMS = (
    "0dom 5dom 0dom 0dom 5dom 6dim 0dom 9dom 2min 7dom 0dom 7dom",
    "0maj 9dom 2min 7dom 4min 9dom 2min 7dom",
    "2min 7dom 0maj 0maj 0min 5dom 10maj 10maj",
    "0min 0min 5min 5min 8dom 7dom 0min 7dom",
    "0maj 1dim 2min 3dim 4min 9dom 2min 7dom",
)
TWO = {  # two-beat cells: lengths in ticks, rests negative
    "sparse": (
        (24, 24),
        (36, 12),
        (12, 36),
        (24, -12, 12),
        (-12, 24, 12),
        (48,),
        (24, -24),
        (12, 24, -12),
    ),
    "medium": (
        (24, 12, 12),
        (12, 24, 12),
        (12, 12, 24),
        (36, 12),
        (24, 24),
        (8, 8, 8, 24),
        (-12, 12, 12, 12),
        (12, 12, 12, -12),
        (24, -12, 12),
        (16, 8, 24),
    ),
    "dense": ((12, 12, 12, 12),) * 3
    + (
        (8, 8, 8, 12, 12),
        (12, 12, 8, 8, 8),
        (24, 12, 12),
        (-12, 12, 12, 12),
        (12, 24, 12),
        (18, 6, 12, 12),
    ),
}
ONE = {
    "sparse": ((24,), (-12, 12), (12, -12)),
    "medium": ((24,), (12, 12), (12, 12), (8, 8, 8), (-12, 12)),
    "dense": ((12, 12), (12, 12), (8, 8, 8), (18, 6)),
}


Rate = Literal["sparse", "medium", "busy", "running", "mixed"]
Cells = tuple[tuple[int, ...], ...]


class Style(NamedTuple):
    """How an independent line goes: its cells, the share of long cells, lengths in eighths."""

    two: Cells
    one: Cells
    long: float
    phrase: tuple[int, int]
    rest: tuple[int, int]


HELD = ((96,), (72, 24), (-12, 36, 48), (-24, 72), (36, 60), (-48, -12, 36), (72, -12, 12))
EIGHTHS = (*((12, 12, 12, 12),) * 3, (24, 12, 12), (12, 24, 12), (12, 12, 24), (-12, 12, 12, 12))
LINES = {
    "sparse": Style((*TWO["sparse"], *TWO["medium"][:4]), ONE["sparse"], 0.3, (8, 20), (4, 20)),
    "medium": Style((*TWO["medium"], *TWO["sparse"]), ONE["medium"], 0.15, (10, 28), (1, 10)),
    "busy": Style((*TWO["dense"], *TWO["medium"]), ONE["dense"], 0.05, (12, 32), (1, 4)),
    "running": Style(EIGHTHS, ((12, 12), (12, 12), (24,), (-12, 12)), 0.0, (8, 28), (0, 2)),
}


def close_chord(top: int, root: int, quality: str, size: int) -> list[int]:
    """Lead and the next chord tones below it; a lead outside the chord gets a diminished passing
    chord."""
    tones, _, colour, _ = CHORDS[quality]
    pcs = {(root + t) % 12 for t in (*tones, colour)[: max(size, 4)]}
    if top % 12 not in pcs:
        return [top, top - 3, top - 6, top - 9, top - 12][:size]
    return [top, *[q for q in range(top - 2, top - 13, -1) if q % 12 in pcs][: size - 1]]
