"""What a director does often, read from his own marked charts, as habits of the house to accept.

Counted are the notes of lead lines by their situation (`house.SITUATIONS`). A habit is proposed if
its situation came eight times, and three times in four had the same marks, and if that share is
sure to be over three in five: the lower bound of Wilson's interval at 95 % (E. B. Wilson, 1927,
from memory). So 8 of 8 or 14 of 16 will do, 7 of 8 will not. The numbers are judgements: a habit
is what a player would bet on. Situations overlap (most off-beat quarters are pushes): the one that
explains most notes speaks first, and what it explains is not counted again. A mark of ours
that a director left beside others that he changed counts against his changing such marks, never for
ours: eight changes among forty that stayed are no habit.

"no accents" is proposed for a style whose charts have none in a hundred notes or more, where the
director's other charts have one in twenty or more.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from sectionprep.music.marks import ATTACKS, BREATHS, LENGTHS, ORNAMENTS, SLURS
from sectionprep.phrasing.house import MARKS, REFUSALS, SITUATIONS, STYLES, Habit
from sectionprep.phrasing.view import LineView, Spot

_TIMES, _SHARE, _SURE = 8, 0.75, 0.6
_Z = 1.96  # of a normal distribution at 95 %
_NOTES, _RATE = 100, 0.05  # of a style without accents, and accents a note elsewhere
_FRONTS = ATTACKS - {"ghost"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One note that the director has marked, or left plain in a line with marks. left: it carries
    what we proposed, in a chart on which he decided otherwise elsewhere."""

    situations: frozenset[str]
    style: str
    marks: frozenset[str]
    decided: bool = False
    left: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """A habit and its evidence: so many times, of so many."""

    habit: Habit
    times: int
    of: int
    why: str = ""

    @property
    def evidence(self) -> str:
        """As it stands beside the sentence."""
        return self.why or f"{self.times} of {self.of} times"


def seen(
    view: LineView,
    marks: Mapping[int, frozenset[str]],
    *,
    decided: bool = False,
    left: bool = False,
) -> Iterator[Seen]:
    """The notes of a line. marks: those that speak, by tick of onset."""
    for spot in view.spots:
        if spot.tone.onset in marks:
            yield Seen(
                situations=_situations(view, spot),
                style=view.style.name,
                marks=marks[spot.tone.onset] - SLURS - BREATHS - ORNAMENTS,
                decided=decided,
                left=left,
            )


def _situations(view: LineView, spot: Spot) -> frozenset[str]:
    return frozenset(name for name, stands in SITUATIONS.items() if stands(view, spot))


def learn(notes: Iterable[Seen]) -> tuple[Proposal, ...]:
    """The habits in these notes, those that explain most first."""
    left = list(notes)
    found = list(_without_accents(left))
    while True:
        best = max(_candidates(left), key=lambda p: (p.times, p.times / p.of), default=None)
        if best is None:
            return tuple(found)
        found.append(best)
        left = [note for note in left if best.habit.situation not in note.situations]


def _candidates(notes: Sequence[Seen]) -> Iterator[Proposal]:
    told: dict[str, list[frozenset[str]]] = defaultdict(list)
    left: dict[str, list[frozenset[str]]] = defaultdict(list)
    for note in notes:
        for name in note.situations:
            (left if note.left else told)[name].append(note.marks)
    for name in SITUATIONS:
        counts = Counter(marks for marks in told[name] if marks in MARKS.values() and marks)
        if not counts:
            continue
        marks, times = max(counts.items(), key=lambda item: (item[1], sorted(item[0])))
        of = len(told[name]) + sum(other != marks for other in left[name])
        if is_habit(times, of):
            yield Proposal(habit=Habit(situation=name, marks=marks), times=times, of=of)


def is_habit(times: int, of: int) -> bool:
    """So often that it is no accident."""
    return of >= _TIMES and times >= _SHARE * of and _at_least(times, of) >= _SURE


def _at_least(times: int, of: int) -> float:
    """Lower bound of a share (Wilson)."""
    share, z2 = times / of, _Z * _Z / of
    spread = _Z * math.sqrt(share * (1 - share) / of + z2 / (4 * of))
    return (share + z2 / 2 - spread) / (1 + z2)


def _without_accents(notes: Sequence[Seen]) -> Iterator[Proposal]:
    for name, style in STYLES.items():
        here = [note for note in notes if note.style == style and not (note.decided or note.left)]
        others = [note for note in notes if note.style != style and not (note.decided or note.left)]
        elsewhere = sum(bool(note.marks & _FRONTS) for note in others)
        marked = any(note.marks & LENGTHS for note in here)  # somebody has worked on these charts
        bare = not any(note.marks & _FRONTS for note in here)
        if bare and marked and len(here) >= _NOTES and elsewhere >= _RATE * max(1, len(others)):
            yield Proposal(
                habit=Habit(situation=name, without=REFUSALS["no accents"]),
                times=len(here),
                of=len(here),
                why=f"none in {len(here)} notes, {elsewhere} in {len(others)} elsewhere",
            )


def as_file(proposals: Sequence[Proposal]) -> str:
    """Lines to paste into a plan file, or a plan file for the house."""
    lines = ["[house]", "habits = ["]
    lines += [f'  "{p.habit.says}",  # {p.evidence}' for p in proposals]
    return "\n".join([*lines, "]"]) + "\n"
