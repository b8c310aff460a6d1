"""Groups are followed around the bars in which they were met, and no further than they go."""

from __future__ import annotations

import numpy as np
from build import chart
from numpy.typing import NDArray

from sectionprep.passages.chance import measure_chance
from sectionprep.passages.everybody import find_tutti
from sectionprep.passages.followed import Followed
from sectionprep.passages.grid import build_grid
from sectionprep.passages.odds import gather_evidence
from sectionprep.passages.windows import follow

TUNE = "r/8 D5/8 F5/8 A5/8 C6/4 A5/8 F5/8 "
OTHER = "C4/4 r/4 G4/2 "
BUSY = "C3/4 E3/4 G3/4 E3/4 "
PAIR = frozenset({0, 1})


def _followed(
    together: range, bars: int, met: set[int]
) -> tuple[list[Followed], NDArray[np.int64]]:
    """The first two parts of a chart, together in these bars; and the bar of each column."""
    second = "".join(TUNE if bar in together else OTHER for bar in range(bars))
    made = chart({"Alto 1": TUNE * bars, "Alto 2": second, "Bass": BUSY * bars})
    grid = build_grid(made)
    evidence = gather_evidence(grid, measure_chance(made, grid), find_tutti(made, grid))
    found = follow(grid, evidence, {PAIR: met}, frozenset())
    return found, grid.bar


def test_a_group_is_followed_as_far_as_it_goes() -> None:
    """Met in one bar of sixty in which it is together: the phrase is whole."""
    (found,), bar = _followed(range(10, 70), 90, {40})
    assert [(bar[first], bar[last]) for first, last in found.phrases(bar)] == [(10, 69)]


def test_what_a_group_costs_does_not_grow_with_the_chart() -> None:
    """Met in four bars: as many columns are looked at in a chart of three times the length."""
    widths = []
    for bars in (100, 300):
        (found,), _ = _followed(range(40, 44), bars, set(range(40, 44)))
        widths.append(len(found.states))
    assert widths[0] == widths[1] < 100 * 4


def test_places_far_apart_are_looked_at_by_themselves() -> None:
    found, bar = _followed(range(10, 200), 200, {12, 13})
    far, _ = _followed(range(10, 14), 200, {12, 150})
    assert len(found) == 1
    assert [bar[one.first] for one in far] == [0, 126]
