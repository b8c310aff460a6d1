"""Tables read into classes: what is wrong is said with its place and in words for a director."""

from __future__ import annotations

from pathlib import Path

import pytest

from sectionprep.errors import UnusableSettings
from sectionprep.music.instruments import instruments
from sectionprep.music.roster import read_roster
from sectionprep.outputs.sheet_look import sheet_look
from sectionprep.phrasing.plan_file import read_plan
from sectionprep.phrasing.styles import styles

SEATS = '[[seat]]\npart = "A"\n\n[[seat]]\npart = "B"\n'


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (SEATS + 'copies = "2"', "seat 2, copies: must be a whole number, and is text in quotes."),
        (SEATS + "copies = true", "seat 2, copies: must be a whole number, and is true or false."),
        (SEATS + "copys = 2", "seat 2: does not know 'copys'."),
        ("[[seat]]\ncopies = 2", "seat 1: lacks part."),
        ("[[seats]]\npart = 'A'", "does not know 'seats'."),
        ("[seat]\npart = 'A'", "seat: must be a list, and is a table. Write [[seat]]"),
        (SEATS + '"Reed 1" = "alto-sax 1"', "stand at its top"),
    ],
)
def test_a_roster_says_where_and_what(text: str, said: str, tmp_path: Path) -> None:
    path = tmp_path / "r.toml"
    path.write_text(text)
    with pytest.raises(UnusableSettings) as refused:
        read_roster(path)
    assert said in str(refused.value)
    assert str(refused.value).startswith(str(path))


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ('[[passage]]\nlead = "A"\nlines = "17 1 | | mf"', "passage 1, lines: must be a list"),
        ('[[passage]]\nlead = "A"\nlines = [17]', "passage 1, lines 1: must be text in quotes"),
        ("[[passage]]\nid = 'P1'", 'passage 1: lacks lead. Write lead = "Alto Sax 1".'),
        (
            "[house]\nstile = 'swing'",
            "house: does not know 'stile'. A plan file has [house]",
        ),
        ("[house]\nno_rhythm_cues_in = [1.5]", "Write no_rhythm_cues_in = [12, 45]."),
    ],
)
def test_a_plan_says_where_and_what(text: str, said: str, tmp_path: Path) -> None:
    path = tmp_path / "p.toml"
    path.write_text(text)
    with pytest.raises(UnusableSettings) as refused:
        read_plan(path)
    assert said in str(refused.value)


def test_our_own_tables_fit_their_classes() -> None:
    """A misspelt name in a table would be taken for nothing; here it is refused."""
    assert {"alto-sax", "drums"} <= {row.key for row in instruments()}
    assert styles()["medium-swing"].name == "medium-swing"
    assert sheet_look().paper["a4"] == (210.0, 297.0)  # ISO 216
