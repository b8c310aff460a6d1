"""The words at a note are true for that note (readers of issue 17 crossed out those that were not).

All by what a reader of the page can see: the notes, the marks and the words beside them.
"""

from __future__ import annotations

import pytest
from build import chart
from measure_variety import _BARS, random_line

from sectionprep.music.marks import SLURS
from sectionprep.phrasing import PassagePlan, plan_line

_STYLES = ["medium-swing", "up-tempo", "ballad", "latin", "funk", "older-swing"]
_SEEDS = range(300, 306)


def _plans(style: str) -> list[PassagePlan]:
    """Of random lines of eight bars that no rule was tried on."""
    return [
        plan_line(chart({"Alto Sax 1": random_line(n, _BARS)}), 0, style=style).passages[0]
        for n in _SEEDS
    ]


@pytest.mark.parametrize("style", _STYLES)
def test_every_plain_top_says_what_it_lost_to_and_no_marked_note_does(style: str) -> None:
    for plan in _plans(style):
        ends = {edge for span in plan.phrases for edge in span}
        for before, note, after in zip(plan.notes, plan.notes[1:], plan.notes[2:], strict=False):
            assert not (note.lost and note.marks - SLURS), "left plain, and marked"
            inside = note.tone.onset not in ends and note.tone.end not in ends
            top = before.tone.pitch < note.tone.pitch > after.tone.pitch
            if top and inside and not note.leaned and not note.marks - SLURS:
                assert note.lost.startswith("left plain: "), note


@pytest.mark.parametrize("style", _STYLES)
def test_a_phrase_heads_for_its_highest_note_late_in_it(style: str) -> None:
    told = 0
    for plan in _plans(style):
        for note in plan.notes:
            if "heading for this" not in note.why:
                continue
            told += 1
            start, end = next(p for p in plan.phrases if p[0] <= note.tone.onset < p[1])
            inside = [n for n in plan.notes if start <= n.tone.onset < end]
            assert note.tone.pitch == max(n.tone.pitch for n in inside)
            assert inside.index(note) > (len(inside) - 1) / 2
    assert told, "no phrase heads for anything"


@pytest.mark.parametrize("style", _STYLES)
def test_one_mark_says_one_thing_and_none_is_called_fat(style: str) -> None:
    """An accent means full value already (C. Treinen); a dot is light (Treinen), not fat."""
    for plan in _plans(style):
        for note in plan.notes:
            assert not {"accent", "tenuto"} <= note.added
            assert not ("staccato" in note.marks and "fat" in note.why)
            assert "lies high" not in note.why
