"""Where a passage begins and ends: what stands apart at its edges, and what was another texture."""

from __future__ import annotations

import numpy as np
import pytest
from build import chart, transposed

from sectionprep.passages.followed import RHYTHM, Followed
from sectionprep.passages.grid import build_grid
from sectionprep.passages.selection import Piece, Selection

TUNE = "D5/8 F5/8 A5/8 C6/8 A5/8 F5/8 G5/8 E5/8 "


def _followed(said: list[float], struck: list[tuple[int, int]], pauses: set[int]) -> Followed:
    """Two parts over as many columns as are given; said: evidence in nats."""
    columns = range(len(said))
    return Followed(
        frozenset({0, 1}),
        {0},
        np.full(len(said), RHYTHM, dtype=np.int8),
        np.array(said),
        np.zeros(len(said), dtype=bool),
        np.array([column in pauses for column in columns]),
        np.array(struck, dtype=bool).T,
    )


@pytest.mark.parametrize(
    ("tail", "struck", "pause", "stays"),
    [
        ([1.2], [(1, 1)], True, False),  # a single stroke after a rest of half a bar
        ([1.2], [(1, 1)], False, True),  # the same in the flow of the line
        ([-1.5, 2.0], [(1, 0), (1, 1)], False, False),  # one strikes alone, then both
        ([-1.5, 4.0, 4.0], [(1, 0), (1, 1), (1, 1)], False, True),  # a slip, and on together
        ([-0.5, 2.0], [(1, 1), (1, 1)], False, True),  # they only hold a note for different times
        ([4.0, 4.0], [(1, 1), (1, 1)], True, True),  # a rest inside a phrase
    ],
)
def test_what_stands_apart_at_an_edge(
    tail: list[float], struck: list[tuple[int, int]], pause: bool, stays: bool
) -> None:
    line, together = [4.0] * 6, [(1, 1)] * 6
    bar = np.zeros(6 + len(tail), dtype=np.int64)
    at_end = _followed(line + tail, together + struck, {6} if pause else set())
    assert at_end.phrases(bar) == [(0, 5 + (len(tail) if stays else 0))]
    back, begin = tail[::-1], len(tail)
    at_start = _followed(back + line, struck[::-1] + together, {begin} if pause else set())
    assert at_start.phrases(bar) == [(0 if stays else begin, 5 + begin)]


def test_weak_evidence_all_along_is_not_cut_off() -> None:
    """Two voices in plain quarters say little with each note, at the end as everywhere."""
    found = _followed([1.0] * 8 + [-1.0, 1.2, 1.2], [(1, 1)] * 8 + [(1, 0)] + [(1, 1)] * 2, set())
    assert found.phrases(np.zeros(11, dtype=np.int64)) == [(0, 10)]


@pytest.mark.parametrize(
    ("before", "member"), [("C5/2 D5/2 ", True), ("E5/8 C5/8 D5/8 F5/8 E5/2 ", False)]
)
def test_a_pad_before_a_line_makes_nobody_a_guest(before: str, member: bool) -> None:
    """Who joins three players for their line alone is a guest where they had the line before, and
    no guest where they only held chords."""
    lines = {"Alto 1": before * 4 + TUNE * 2}
    lines |= {f"Tenor {n}": transposed(lines["Alto 1"], -4 * n) for n in (1, 2)}
    lines["Trumpet 1"] = "r/1 " * 4 + TUNE * 2
    lines["Bass"] = "C3/4 " * 24
    grid = build_grid(chart(lines))
    start, last = int(np.flatnonzero(grid.bar == 4)[0]), len(grid.ticks) - 1
    said = np.full(len(grid.ticks), 4.0)
    nobody = np.zeros(len(grid.ticks), dtype=bool)
    states = np.full(len(grid.ticks), RHYTHM, dtype=np.int8)
    three, four = (
        Followed(frozenset(range(n)), {0}, states, said, nobody, nobody, grid.struck)
        for n in (3, 4)
    )
    selection = Selection([three, four], grid)
    selection.take(Piece(0, 0, last))
    assert (selection.gain(Piece(1, start, last)) > -np.inf) == member
