"""Three readings of a line, each worth hearing, each whole."""

from __future__ import annotations

import pickle
from typing import Any

import pytest
from build import chart
from measure_readings import worth_hearing

from sectionprep.passages import find_passages
from sectionprep.phrasing import plan_line, plan_passages, planner
from sectionprep.phrasing.drafts import Work
from sectionprep.phrasing.other_readings import readings_of
from sectionprep.phrasing.plan import PassagePlan, Reading

_LINES = {
    "tops on the beat": "r/8 C5/8 D5/8 E5/8 G5/8 E5/8 D5/8 C5/8 D5/8 E5/8 F5/8 A5/8 C6/8 A5/8 F5/8 "
    "D5/8 E5/8 G5/8 E5/8 C5/8 D5/4 r/4",
    "tops off the beat": "C5/8 D5/8 E5/8 G5/8 E5/8 D5/8 C5/8 D5/8 E5/8 F5/8 A5/8 C6/8 A5/8 F5/8 "
    "D5/8 E5/8 G5/8 E5/8 C5/8 B4/8 C5/4 r/4",
    "a riff": "r/8 E5/4 D5/8 E5/8 C5/8 r/4 r/8 E5/4 D5/8 F5/8 C5/8 r/4",
}


def _plan(line: str) -> PassagePlan:
    return plan_line(chart({"Alto Sax 1": line}), 0, style="medium-swing").passages[0]


@pytest.mark.parametrize("name", _LINES)
def test_every_line_has_three_readings_that_differ(name: str) -> None:
    planned = _plan(_LINES[name])
    assert [r.name for r in planned.readings] == ["plainer", "earlier", "more forward"]
    assert worth_hearing(planned)
    for reading in planned.readings:
        assert all(note.length for note in reading.notes)
        assert len(reading.notes) == len(planned.notes)


@pytest.mark.parametrize("name", _LINES)
def test_the_plainer_one_is_never_denser_and_the_forward_one_not_plainer(name: str) -> None:
    planned = _plan(_LINES[name])
    count = {r.name: len(r.leans) for r in planned.readings}
    ours = sum(note.leaned for note in planned.notes)
    assert count["plainer"] <= ours
    assert count["more forward"] >= count["plainer"]


def test_tops_on_the_beat_give_way_to_the_note_before() -> None:
    """C D E >G with the G on 3: earlier leans on the E."""
    planned = _plan(_LINES["tops on the beat"])
    leaned = {n for n, note in enumerate(planned.notes) if note.leaned}
    earlier = {n for n, note in enumerate(planned.readings[1].notes) if note.leaned}
    assert any(n - 1 in earlier and n not in earlier for n in leaned)


def test_what_has_no_other_way_says_so() -> None:
    """One printed accent, nothing else to lean on: no reading is dropped, none pretends."""
    planned = _plan("C5/1> r/1")
    assert len(planned.readings) == 3
    assert all(not r.differs and "plan itself" in r.says for r in planned.readings)


def test_readings_are_looked_for_once_and_only_when_somebody_asks(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """`mark` never does, and `prepare` only once its parts are being drawn."""
    line = _LINES["tops on the beat"]
    c = chart({"Alto Sax 1": line, "Alto Sax 2": line})
    asked: list[str] = []

    def counted(work: Work, *given: Any) -> tuple[Reading, ...]:
        asked.append(work.name)
        return readings_of(work, *given)

    monkeypatch.setattr(planner, "readings_of", counted)
    planned = plan_passages(c, find_passages(c)).passages
    assert planned
    assert not asked
    again = pickle.loads(pickle.dumps(planned[0].readings))
    assert list(planned[0].readings) == list(again)
    assert len(again) == 3
    assert asked == [passage.id for passage in planned]


@pytest.mark.parametrize(
    "line",
    [
        "r/8 D5/8 E5/8 C5/8 r/2",
        "r/8 E5/8 r/4 r/2",
        "C5/8 E5/4 D5/8 r/2",
        "C5/1 D5/1 C5/2. r/4",
        "C5/8> D5/8> E5/8> C5/8 r/2",
        *_LINES.values(),
    ],
)
def test_a_reading_is_unlike_the_others_or_says_that_the_line_leaves_no_choice(line: str) -> None:
    """Two notes at least: else a director would look for a difference that he cannot hear."""
    planned = _plan(line)
    sets = [{n.tone.onset for n in planned.notes if n.leaned}]
    for reading in planned.readings:
        here = {n.tone.onset for n in reading.notes if n.leaned}
        unlike = min(len(here ^ other) for other in sets) >= 2
        assert unlike is not ("leaves no other choice" in reading.says), reading.says
        sets.append(here)


def test_where_the_off_beats_are_few_whatever_has_a_claim_speaks() -> None:
    """Quarters on the beat: more forward leans on two more at least, and on no more than thrice."""
    line = chart({"Alto Sax 1": "r/4 C5/4 E5/4 G5/4 A5/2 G5/4 E5/4 C5/2 r/2"})
    planned = plan_line(line, 0, style="samba").passages[0]
    ours = sum(note.leaned for note in planned.notes)
    forward = next(r for r in planned.readings if r.name == "more forward")
    assert "whatever has a claim speaks" in forward.says
    assert ours + 2 <= len(forward.leans) <= 3 * ours
