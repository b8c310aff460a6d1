"""Names of files that are made from names of charts."""

from __future__ import annotations

from pathlib import Path

import pytest

from sectionprep.outputs.names import safe_name, stem_of


@pytest.mark.parametrize(
    ("name", "stem"),
    [
        ("Vol. 1 No. 3.musicxml", "Vol. 1 No. 3"),
        ("Vol. 1 No. 4.mxl", "Vol. 1 No. 4"),
        ("1. Early Tram.xml", "1. Early Tram"),
        ("1. Early Tram", "1. Early Tram"),
        ("No. 3", "No. 3"),
        ("opus.18.no.1.krn", "opus.18.no.1"),
        (".musicxml", ".musicxml"),
    ],
)
def test_only_the_ending_of_the_format_goes(name: str, stem: str) -> None:
    """Two charts of one volume would else write over each other's results."""
    assert stem_of(Path(name)) == stem


def test_a_folder_of_parts_keeps_its_whole_name(tmp_path: Path) -> None:
    (tmp_path / "Suite.final").mkdir()
    assert stem_of(tmp_path / "Suite.final") == "Suite.final"


@pytest.mark.parametrize("name", ["...", "   ", "/"])
def test_a_name_of_nothing_gets_one(name: str) -> None:
    assert safe_name(name, "chart") == "chart"
