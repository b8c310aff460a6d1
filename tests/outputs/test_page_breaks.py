"""Lines on pages: quick whatever their number, and never at the price of another page."""

from __future__ import annotations

import random

import pytest

from sectionprep.drawing.paging import lines_and_pages
from sectionprep.drawing.paging.lines_and_pages import LineBox, break_pages


def _some_lines(chance: random.Random, count: int) -> list[LineBox]:
    return [
        LineBox(
            height=chance.choice(
                (30.0, 33.3, 50.0, 60.0, 400.0 if chance.random() < 0.05 else 40.0)
            ),
            rest_after=chance.choice((0.0, 0.0, 1.0, 5.0)),
            section=chance.random() < 0.2,
        )
        for _ in range(count)
    ]


def test_pages_are_the_same_as_where_every_way_is_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ways that leave too many lines for the pages to come are not followed; none of them wins."""
    chance = random.Random(1)
    cases = [_some_lines(chance, chance.randrange(1, 40)) for _ in range(300)]
    quick = [break_pages(lines, 200.0, 250.0, 7.0) for lines in cases]
    monkeypatch.setattr(lines_and_pages, "_least", lambda *given: [0] * (given[-1] + 1))
    assert quick == [break_pages(lines, 200.0, 250.0, 7.0) for lines in cases]
