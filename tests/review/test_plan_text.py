"""The plan file keeps every letter that is not ours. TOML is read back by the standard library."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sectionprep.errors import UnusableSettings
from sectionprep.review.plan_text import Key, PlanLine, PlanText, split

KEY = Key("Alto 1", "17 2and")
LINE = PlanLine("P3", "17 2and | D5 | accent | +2:1/2")

HEADS = [
    "",
    "# my notes\n",
    "[house]\nstyle = 'ballad'  # slow\n",
    '[house]\nhabits = [\n  "hits: accent",   # 14 of 16\n]\n\n[[passage]]\nlead = "X"\n',
    "[house]\nhabits=['hits: accent', \"pushes: accent\"]",
    '[[passage]]\nlead = "X"\nlines = ["1 1 | C4 | accent"] # ] no end\n',
    "[house]\nhabits = [ ]\n",
    "[house]",
]


@pytest.mark.parametrize("head", HEADS)
def test_a_line_comes_and_goes_and_the_rest_stays_to_the_letter(head: str) -> None:
    text = PlanText(head=head).with_line(KEY, LINE).text()
    assert text.startswith(head)
    said = tomllib.loads(text)["passage"][-1]
    assert said == {"id": "P3", "lead": "Alto 1", "lines": [LINE.text]}
    again = split(text)
    assert again.lines == {KEY: LINE}
    assert again.text() == text
    back = again.with_line(KEY, None).text()
    assert back.rstrip("\n") == head.rstrip("\n")
    assert tomllib.loads(back) == tomllib.loads(head)


@pytest.mark.parametrize("head", HEADS)
def test_a_habit_comes_and_goes_beside_the_director_s_own(head: str) -> None:
    before = tomllib.loads(head)
    text = split(head).with_habit("off-beat tops: rooftop accent", True)
    now = tomllib.loads(text.text())
    own = before.get("house", {}).get("habits", [])
    assert now["house"]["habits"] == [*own, "off-beat tops: rooftop accent"]
    assert now.get("passage") == before.get("passage")
    for comment in ("# slow", "# 14 of 16", "# my notes", "# ] no end"):
        assert (comment in text.text()) == (comment in head)
    back = text.with_habit("off-beat tops: rooftop accent", False)
    assert tomllib.loads(back.text()).get("house", {}).get("habits", []) == own


def test_a_habit_said_in_a_way_that_cannot_be_changed_safely_is_left_alone() -> None:
    head = 'house = { habits = ["hits: accent"] }\n'
    with pytest.raises(UnusableSettings, match="by hand"):
        split(head).with_habit("pushes: accent", True)


def test_a_block_of_ours_that_somebody_edited_is_theirs() -> None:
    text = PlanText(head="# mine\n").with_line(KEY, LINE).text()
    edited = text.replace("accent", "tenuto  ").replace("lines = [", "lines = [ # changed")
    found = split(edited)
    assert found.lines == {}
    assert "# changed" in found.head
    more = found.with_line(KEY, LINE).text()
    assert "# changed" in more
    assert [p["lines"] for p in tomllib.loads(more)["passage"]][1] == [LINE.text]


@given(lead=st.text(max_size=20), words=st.text(max_size=20))
def test_any_name_is_written_so_that_toml_reads_it(lead: str, words: str) -> None:
    text = PlanText().with_line(Key(lead, "1 1"), PlanLine("P1", f"1 1 | C4 | {words}")).text()
    table = tomllib.loads(text)["passage"][0]
    assert table["lead"] == " ".join("".join(c for c in lead if c.isprintable()).split())
