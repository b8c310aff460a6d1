"""The staves of a section come in two sizes at most, and no turn is lost for it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sectionprep.outputs.parts.alike import made_alike


@dataclass(frozen=True)
class _Sheet:
    staff: float
    hard: int = 0


_LEVELS = (7.5, 7.3, 7.0)
_THREE = {0: _Sheet(7.5, 1), 1: _Sheet(7.3), 2: _Sheet(7.0), 3: _Sheet(7.5)}


def _alike(
    sheets: dict[int, _Sheet], sections: str, hard: dict[tuple[int, int], int] | None = None
) -> tuple[dict[int, float], dict[int, int | None]]:
    """The sizes of staff, and the level at which each part that was drawn anew stands on the paper.
    hard: turns without time of a part at a level, where they are others than before."""
    paper: dict[int, int | None] = {}

    def draw(levels: Mapping[int, int | None]) -> dict[int, _Sheet]:
        paper.update(levels)
        return {part: one(part, level) for part, level in levels.items()}

    def one(part: int, level: int | None) -> _Sheet:
        if level is None:
            return sheets[part]
        return _Sheet(_LEVELS[level], (hard or {}).get((part, level), sheets[part].hard))

    found = made_alike(sheets, sections, draw)
    return {part: sheet.staff for part, sheet in found.items()}, paper


def test_the_size_between_becomes_the_smallest() -> None:
    assert _alike(_THREE, "aaaa") == ({0: 7.5, 1: 7.0, 2: 7.0, 3: 7.5}, {1: 2})


def test_two_sizes_stay_and_sections_are_apart() -> None:
    same = {part: sheet.staff for part, sheet in _THREE.items()}
    assert _alike(_THREE, "aaba") == (same, {})


def test_where_that_costs_a_turn_the_largest_become_the_size_between() -> None:
    """And what was drawn at the smallest is put back on the paper as it was."""
    sizes, paper = _alike(_THREE, "aaaa", {(1, 2): 2})
    assert sizes == {0: 7.3, 1: 7.3, 2: 7.0, 3: 7.3}
    assert paper == {0: 1, 3: 1, 1: None}


def test_where_both_cost_turns_the_cheaper_stands_on_the_paper() -> None:
    sizes, paper = _alike(_THREE, "aaaa", {(1, 2): 1, (0, 1): 9})
    assert sizes == {0: 7.5, 1: 7.0, 2: 7.0, 3: 7.5}
    assert paper == {0: None, 3: None, 1: 2}
