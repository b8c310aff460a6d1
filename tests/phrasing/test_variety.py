"""Where the leans of random lines fall (measure_variety.py prints the whole table): guards a little
wider than the figures reached. What each would break: a page crowded or bare, a line that only
leans on its tops, a plan that does not know where the bar begins."""

from __future__ import annotations

import pytest
from measure_variety import measure

_LINES = range(200, 230)  # none that a rule was tried on


@pytest.mark.parametrize("style", ["medium-swing", "up-tempo", "latin"])
def test_running_eighths_are_neither_bare_nor_crowded(style: str) -> None:
    """Eight to eighteen leans in a hundred notes: judgement of the readers."""
    table, kept, asked = measure(_LINES, style, 160.0, running=True)
    assert 8 <= 100 * table.leans / table.notes <= 18
    assert 3 * table.tops <= 2 * table.leans, "two leans in three are tops"
    assert kept < 0.96 * asked, "2 and 4 are phrased like 1 and 3"
    assert table.bare <= 6, "six beats of running eighths without a lean"


def test_tops_on_the_beat_are_announced_in_a_quarter_to_a_third() -> None:
    table, _, _ = measure(range(200, 300), "medium-swing", 160.0, running=True)
    place = "off-beat in a climb to an on-beat top"
    assert 0.23 <= table.leaned[place] / table.there[place] <= 0.35
    assert table.beats["on 1 and 3"] < table.beats["on 2 and 4"] < table.beats["off the beat"]
