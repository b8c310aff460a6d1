"""Hairpins that are near another."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from sectionprep.music.hairpins import KINDS, Pin, Pins

_PINS = st.lists(
    st.builds(
        lambda start, length, kind: Pin(start, start + length, kind),
        st.integers(0, 60),
        st.integers(0, 20),
        st.sampled_from(KINDS),
    ),
    max_size=12,
)


@given(_PINS, _PINS.filter(bool), st.integers(1, 8))
def test_hairpins_near_another_are_those_that_a_look_at_all_would_find(
    pins: list[Pin], asked: list[Pin], quarter: int
) -> None:
    """They are found by where they begin; 1,500 of them were compared with each other before."""
    row = Pins(pins[1:])
    for pin in pins[:1]:
        row.add(pin)
    assert sorted(row) == sorted(pins)
    for pin in asked:
        assert sorted(row.meeting(pin)) == sorted(one for one in pins if one.meets(pin))
        assert row.has_like(pin, quarter) is any(one.like(pin, quarter) for one in pins)
        there = [one for one in pins if one.start <= pin.stop and one.stop >= pin.start]
        assert sorted(row.touching(pin.start, pin.stop)) == sorted(there)
