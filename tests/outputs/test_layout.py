"""Line and page breaks: the optimum is the optimum, and the rules players rely on hold."""

from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sectionprep.drawing.paging.counted_lines import by_number
from sectionprep.drawing.paging.lines_and_pages import (
    BarBox,
    LineBox,
    break_lines,
    break_pages,
    full_lines,
    halves,
    line_cost,
    page_cost,
)
from sectionprep.drawing.paging.turns import is_turn, turn_cost

boxes = st.builds(BarBox, width=st.floats(1500, 9000), section=st.booleans(), glued=st.booleans())


def _price(bars: list[BarBox], starts: tuple[int, ...], room: float) -> float:
    ends = [*starts[1:], len(bars)]
    total = 0.0
    for a, b in zip(starts, ends, strict=True):
        width, inner = sum(bar.width for bar in bars[a:b]), bars[a + 1 : b]
        sections = sum(bar.section for bar in inner)
        total += 0.4 + line_cost(width, b - a, sections, bars[a].glued, room, b == len(bars))
    return total


@given(st.lists(boxes, min_size=1, max_size=9))
@settings(max_examples=60, deadline=None)
def test_lines_agree_with_brute_force(bars: list[BarBox]) -> None:
    room = 17000.0
    chosen = break_lines(bars, room)
    every = [(0, *rest) for k in range(len(bars)) for rest in combinations(range(1, len(bars)), k)]
    assert _price(bars, chosen, room) == pytest.approx(
        min(_price(bars, s, room) for s in every), rel=1e-9
    )


@given(st.lists(boxes, min_size=1, max_size=8), st.integers(1, 9))
@settings(max_examples=60, deadline=None)
def test_so_many_lines_agree_with_brute_force(bars: list[BarBox], lines: int) -> None:
    room = 17000.0
    ways = by_number(bars, room, lines)
    chosen = ways.get(lines)
    if lines > len(bars):
        assert chosen is None
        return
    every = [(0, *rest) for rest in combinations(range(1, len(bars)), lines - 1)]
    assert chosen is not None
    assert len(chosen) == lines
    assert _price(bars, chosen, room) == pytest.approx(
        min(_price(bars, s, room) for s in every), rel=1e-9
    )


def test_four_bars_to_a_line_and_sections_at_the_left_edge() -> None:
    """Common practice, no source (four bars); J. Gates: sections start at the far left."""
    bars = [BarBox(width=4000, section=n % 8 == 0 and n > 0) for n in range(32)]
    starts = break_lines(bars, 17500)
    assert starts == tuple(range(0, 32, 4))


def test_full_lines_leave_no_bar_alone_where_the_line_before_can_give_one() -> None:
    """Bars of a Credo (music21 corpus, PMFC 12) on a study page: the last one stood alone."""
    bars = [BarBox(width=w) for w in (2115.0, 4355.0, 7409.0, 6925.0, 6029.0, 10612.0)]
    assert full_lines(bars, 15356.0) == (0, 2, 4)


def test_two_even_lines_without_a_lone_bar() -> None:
    """Three bars of a study page whose halves would be bars of their own stood on three lines."""
    bars = [BarBox(width=w) for w in (4190.0, 6877.0, 4932.0)]
    assert halves(bars) is None
    assert halves([*bars, BarBox(width=900.0)]) == (0, 2)
    assert halves([BarBox(width=1000.0) for _ in range(6)]) == (0, 3)


def test_endings_are_not_torn() -> None:
    bars = [BarBox(width=4200, glued=n in (4, 6)) for n in range(8)]
    assert not {4, 6} & set(break_lines(bars, 17500))


lines = st.builds(
    LineBox, height=st.floats(40, 80), rest_after=st.sampled_from([0.0, 1.0, 3.0, 9.0])
)


@given(st.lists(lines, min_size=1, max_size=9))
@settings(max_examples=60, deadline=None)
def test_pages_agree_with_brute_force(found: list[LineBox]) -> None:
    first, room, gap = 250.0, 300.0, 8.0
    broken = break_pages(found, first, room, gap)
    starts = broken.starts

    def price(starts: tuple[int, ...]) -> float:
        ends = [*starts[1:], len(found)]
        total = 0.0
        for page, (a, b) in enumerate(zip(starts, ends, strict=True), start=1):
            used = sum(line.height for line in found[a:b]) + gap * (b - a - 1)
            total += page_cost(used, b - a, first if page == 1 else room, page == len(starts))
            if is_turn(page, len(starts), broken.cover):
                total += turn_cost(found[b - 1].rest_after)
        return total

    every = [(0, *rest) for rest in combinations(range(1, len(found)), len(starts) - 1)]
    assert price(starts) == pytest.approx(min(map(price, every)), rel=1e-9)


def test_a_turn_falls_where_there_is_rest_when_it_can() -> None:
    """D. J. Argue, Music Preparation Fundamentals: rests at the bottom of odd pages, break early if
    needed."""
    found = [LineBox(height=60, rest_after=8.0 if n == 2 else 0.0) for n in range(13)]
    broken = break_pages(found, 260, 320, 8)
    assert len(broken.starts) > 2
    assert broken.turns[0].seconds == 8.0


def test_a_cover_moves_the_turn_to_where_there_is_rest() -> None:
    """A turn after the second page of music is possible only when the music begins on a left
    page."""
    found = [LineBox(height=60, rest_after=8.0 if n == 6 else 0.0) for n in range(13)]
    broken = break_pages(found, 260, 320, 8)
    assert broken.cover
    assert [turn.seconds for turn in broken.turns] == [8.0]
    assert not break_pages(
        [LineBox(height=60) for _ in range(11)], 260, 320, 8
    ).cover  # nothing to win


def test_two_pages_lie_side_by_side() -> None:
    assert not is_turn(1, 2)
    assert is_turn(1, 3)
    assert not is_turn(2, 4)
    assert is_turn(3, 4)
