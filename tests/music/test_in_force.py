"""What holds at a place: from where it is written until the next one."""

from __future__ import annotations

import pytest

from sectionprep.music.in_force import in_force

KEYS = [(0, 2), (48, -1), (96, 0)]


@pytest.mark.parametrize(
    ("tick", "fifths"), [(0, 2), (47, 2), (48, -1), (95, -1), (96, 0), (9600, 0)]
)
def test_a_value_holds_from_where_it_stands_until_the_next(tick, fifths):
    assert in_force(KEYS, tick, before=None) == fifths


def test_before_the_first_the_other_holds():
    assert in_force(KEYS[1:], 47, before="none yet") == "none yet"
    assert in_force([], 0, before=0) == 0


def test_of_two_at_one_place_the_later_written_holds():
    assert in_force([(0, "p"), (0, "ff")], 0, before="") == "ff"
