"""Same figure, same marks: what is carried from one copy of a bar to another, and what is not."""

from __future__ import annotations

import tracemalloc

import pytest
from build import chart, transposed

from sectionprep.phrasing.planner import plan_line

BAR = "C5/8 D5/8 F5/8 E5/8 G5/4 E5/4"
OTHER = "E5/4 D5/4 C5/4 B4/4"


def _marks(line: str) -> list[frozenset[str]]:
    return [note.marks for note in plan_line(chart({"Alto Sax 1": line}), 0).passages[0].notes]


@pytest.mark.parametrize("shift", [0, 3, -5])
def test_a_printed_mark_is_carried_to_the_bare_copy_wherever_it_lies(shift: int) -> None:
    """Literal or transposed; a fall is what no rule writes there by itself."""
    copy = transposed(BAR, shift)
    first, second = (
        _marks(f"{a} {OTHER} {b}")[k : k + 6]
        for a, b, k in ((BAR.replace("F5/8", "F5/8F"), copy, 10), (BAR, copy, 10))
    )
    assert "falloff" in first[2]
    assert "falloff" not in second[2]


@pytest.mark.parametrize(
    "unlike",
    [
        "C5/8 D5/8 G5/8 E5/8 G5/4 E5/4",
        "C5/8 D5/8 F5/4 E5/8 G5/8 E5/4",
        "r/8 C5/8 D5/8 F5/8 E5/8 G5/4 E5/8",
    ],
    ids=["another interval", "another rhythm", "another place in the bar"],
)
def test_it_is_not_carried_to_another_figure(unlike: str) -> None:
    marks = _marks(f"{BAR.replace('F5/8', 'F5/8F')} {OTHER} {unlike}")[10:]
    assert not any("falloff" in m for m in marks)


def test_two_notes_are_no_figure() -> None:
    marks = _marks(f"C5/2F E5/2 {OTHER} C5/2 E5/2")
    assert "falloff" in marks[0]
    assert "falloff" not in marks[6]


def test_what_a_copy_has_printed_stays_its_own() -> None:
    marks = _marks(f"{BAR.replace('F5/8', 'F5/8F')} {OTHER} {BAR.replace('F5/8', 'F5/8^')}")
    assert "strong-accent" in marks[12]
    assert "falloff" not in marks[12]


@pytest.mark.thorough
def test_what_is_kept_of_a_figure_does_not_grow_with_its_copies() -> None:
    """Each note of a bar that comes 3,000 times once held the numbers of all others: 2.6 GB in
    planning 20,000 bars."""
    c = chart({"Alto Sax 1": "C5/8 D5/8 E5/4 F5/2 " * 3000})
    tracemalloc.start()
    plan_line(c, 0)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert most < 50_000_000  # 36 MB; all of them take 40 more
