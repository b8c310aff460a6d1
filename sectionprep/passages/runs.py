"""Where a group of parts moves as one: which parts, from which moment to which.

Candidate groups come from the bars (and from the sections of the band). Each is followed around
those bars: apart, same rhythm, or one line at every column. What comes out are runs,
rectangles of parts and time; the run with the most evidence is taken first, and no part is in two
of them at once. So a stranger who meets the group for a bar is no member (he would cost more in the
other bars than he brings in this one), and nobody who belongs to it is lost because of him.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from sectionprep.music.chart import Chart
from sectionprep.passages.followed import LEAST_NOTES, Run
from sectionprep.passages.grid import Grid
from sectionprep.passages.model import BarGroup
from sectionprep.passages.odds import Evidence
from sectionprep.passages.selection import Selection, offers_of, take_best
from sectionprep.passages.windows import follow

_ROUNDS = 4  # the choice settles in two or three


def candidates(chart: Chart, bars: Sequence[Sequence[BarGroup]]) -> dict[frozenset[int], set[int]]:
    """Groups worth following, and the bars in which they were met: groups of single bars, what
    neighbouring bars share, and the sections of the band, which are met everywhere."""
    found: dict[frozenset[int], set[int]] = defaultdict(set)
    before: list[frozenset[int]] = []
    for bar, groups in enumerate(bars):
        here = [frozenset(group.parts) for group in groups]
        for group in here:
            found[group].add(bar)
        for one in here:
            for other in before:
                if len(one & other) > 1:
                    found[one & other].add(bar)
        before = here
    for section in _sections(chart):
        found[section] = set(range(len(bars)))
    return dict(found)


def _sections(chart: Chart) -> list[frozenset[int]]:
    sections: dict[str, set[int]] = defaultdict(set)
    for part in chart.parts:
        if chart.lines[part.index] and not part.is_second:
            sections[part.chair.section].add(part.index)
    return [frozenset(parts) for parts in sections.values() if len(parts) > 1]


def find_runs(
    grid: Grid,
    evidence: Evidence,
    groups: Mapping[frozenset[int], set[int]],
    seams: frozenset[int],
) -> list[Run]:
    """The runs of all groups, none overlapping another in a part. groups: with the bars to look at;
    seams: columns at which a section of the chart begins."""
    followed = follow(grid, evidence, groups, seams)
    selection = Selection(followed, grid)
    offers = offers_of(grid, followed, 0)
    for _round in range(_ROUNDS):
        taken = take_best(selection, offers)
        unions = selection.unions(grid)
        if not taken and not unions:
            break
        known = len(followed)
        followed += follow(grid, evidence, unions, seams)
        offers += offers_of(grid, followed, known)
    runs = [
        followed[piece.candidate].run(piece.first, piece.last)
        for piece in selection.pieces.values()
    ]
    return _joined(grid, sorted(runs, key=lambda run: (run.first, run.last, sorted(run.parts))))


def _joined(grid: Grid, runs: Iterable[Run]) -> list[Run]:
    """Runs of one group that follow each other are one, unless one is a line and one is harmony and
    both are long enough to be passages."""
    found: list[Run] = []
    latest: dict[frozenset[int], int] = {}
    for run in runs:
        at = latest.get(run.parts)
        if at is not None:
            old = found[at]
            between = grid.struck[sorted(run.parts), old.last + 1 : run.first]
            near = grid.ticks[run.first] - grid.ticks[old.last] < 2 * grid.bar_length[old.last]
            short = min(old.attacks, run.attacks) < LEAST_NOTES
            if near and not between.any() and (short or old.is_line == run.is_line):
                found[at] = _one(old, run)
                continue
        latest[run.parts] = len(found)
        found.append(run)
    return found


def _one(before: Run, after: Run) -> Run:
    longer = before if before.attacks >= after.attacks else after
    odds, attacks = before.odds + after.odds, before.attacks + after.attacks
    return Run(before.parts, before.first, after.last, odds, longer.is_line, attacks)
