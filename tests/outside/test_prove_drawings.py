"""A small sample of `prove_drawings.py`: scores that others made, every head of every part proved.
Scores from music21's corpus and the suite of small test scores that it ships."""

from __future__ import annotations

from pathlib import Path

import pytest
from outside.prove_drawings import CORPUS, SUITE, Group, prove_file

_SMALL = (
    "01e",
    "01f",
    "03b",
    "03d",
    "13b",
    "13e",
    "21f",
    "23e",
    "24a",
    "32c",
    "33b",
    "33d",
    "33i",
    "42b",
    "43b",
    "43c",
    "43d",
    "46e",
    "46c",
    "72c",
    "73a",
    "99a",
)
_WORKS = ("bach/bwv66.6.mxl", "handel/rinaldo/Lascia_chio_pianga.mxl")


@pytest.mark.parametrize("code", _SMALL)
def test_a_small_test_score(code: str) -> None:
    _prove(next(SUITE.glob(f"{code}-*")))


@pytest.mark.parametrize("work", _WORKS)
def test_a_whole_work(work: str) -> None:
    _prove(CORPUS / work)


def _prove(path: Path) -> None:
    group = Group("sample")
    prove_file(path, group)
    assert not group.refused
    assert group.odd == []
    assert group.reports
    for report in group.reports:
        assert not report.failed
        assert report.proved == report.heads > 0
