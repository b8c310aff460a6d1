"""What is said of single bars."""

from __future__ import annotations

import pytest
from build import chart

from sectionprep.passages import find_passages

#: Two bars of three players; in the first one each of the others goes half way with the first.
FIRST = "E5/8 G5/8 C5/4 A5/4 D5/4 G5/8 A5/2 E5/4."
LIKE_HIS_START = "G5/8 G5/8 G5/2 D5/4 G5/4 G5/2 C5/8 G5/8"
LIKE_HIS_MIDDLE = "A5/8 C5/8 G5/8 E5/8 G5/4 A5/4 D5/8 G5/8 r/2 A5/8 C5/8"


@pytest.mark.parametrize("names", [("Flute 2", "Oboe"), ("Oboe", "Flute 2")])
def test_players_of_one_instrument_are_the_likelier_pair(names: tuple[str, str]) -> None:
    """Where as much speaks for either, the second flute is with the first, and not the oboe: pairs
    of winds are written as pairs (common practice, no source)."""
    lines = dict(zip(names, (LIKE_HIS_START, LIKE_HIS_MIDDLE), strict=True))
    made = chart({"Flute 1": FIRST, **lines})
    (pair,) = find_passages(made).bars[0]
    assert [made.parts[part].label for part in pair.parts] == ["Flute 1", "Flute 2"]
