"""Dynamics are proposed where nobody can know how loud to begin, and never over a printed one."""

from __future__ import annotations

from pathlib import Path

import pytest
from build import all_together, part_xml, score_xml

from sectionprep import stages
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.phrasing import plan_passages
from sectionprep.results import Marked, Options

LINE = "r/8 D5/8 F5/8 A5/8 C6/4 A5/8 F5/8 G5/4 E5/4 r/8 D5/8 F5/8 E5/8 E5/4 D5/8 C5/8 B4/4 r/4 "
MF = "<direction><direction-type><dynamics><mf/></dynamics></direction-type></direction>"
SOLO = "<direction><direction-type><words>Solo</words></direction-type></direction>"


def _proposals(
    parts: dict[str, str], *, scope: str = "saxes", style: str = "medium-swing", start: int = 0
) -> list[tuple[str, str, str]]:
    """(bar, value, why) of a passage of all parts that begins at quarter `start` or after."""
    from dataclasses import replace

    c = read_chart(parse_document(Path("x"), score_xml(parts)))
    together = all_together(c, scope=scope)
    first = next(
        tone.onset
        for tone in c.lines[together.passages[0].lead]
        if tone.onset >= start * c.resolution
    )
    together = replace(together, passages=(replace(together.passages[0], start=first),))
    plan = plan_passages(c, together, style=style)
    return [(c.place(d.tick).bar, d.value, d.why) for p in plan.marked for d in p.dynamics]


def test_none_in_force_gets_one_and_a_printed_one_stays() -> None:
    ((bar, value, why),) = _proposals({f"Alto Sax {n}": part_xml(LINE) for n in (1, 2)})
    assert (bar, value) == ("1", "mf")
    assert why.startswith("proposal:")
    assert "none in the part" in why
    assert _proposals({f"Alto Sax {n}": part_xml(LINE, first=MF) for n in (1, 2)}) == []


@pytest.mark.parametrize(("bars", "found"), [(5, ["7"]), (1, [])])
def test_a_dynamic_before_a_long_rest_no_longer_holds(bars: int, found: list[str]) -> None:
    """Five bars of rest: a proposal; one bar: the printed one still holds."""
    line = "C5/1 " + "r/1 " * bars + LINE
    said = _proposals({f"Alto Sax {n}": part_xml(line, first=MF) for n in (1, 2)}, start=5)
    assert [bar for bar, _, _ in said] == found
    assert all("bars of rest" in why for _, _, why in said)


def test_what_others_have_in_force_goes_before_what_we_would_say() -> None:
    """The second alto has played all along and has its mf: the first, who comes in, is told so."""
    rest = "r/1 " * 5
    lead = part_xml("C5/1 " + rest + LINE, first=MF)
    under = part_xml("C4/1 " * 6 + LINE.replace("5/", "4/"), first=MF)
    ((bar, value, why),) = _proposals({"Alto Sax 1": lead, "Alto Sax 2": under}, start=5)
    assert (bar, value) == ("7", "mf")
    assert "as Alto Sax 2 has it" in why


def test_how_loud_follows_from_who_plays_and_what() -> None:
    """Common practice, no source: a background under a solo and held notes soft, the band loud, a
    ballad a step softer."""
    horns = [f"{name} {n}" for name in ("Alto Sax", "Trumpet", "Trombone") for n in (1, 2, 3)]
    two, pad = {name: part_xml(LINE) for name in horns[:2]}, "C5/1 D5/1 C5/1 D5/1 "
    ((_, value, why),) = _proposals(two | {"Vibes": part_xml("r/1 r/1 r/1 ", first=SOLO)})
    assert value == "mp"
    assert "solo of Vibes" in why
    assert [v for _, v, _ in _proposals({name: part_xml(pad) for name in horns[:2]})] == ["mp"]
    assert [
        v for _, v, _ in _proposals(dict.fromkeys(horns, part_xml(LINE)), scope="ensemble")
    ] == ["ff"]
    assert [v for _, v, _ in _proposals(two, style="ballad")] == ["mp"]
    assert [v for _, v, _ in _proposals(two, style="concert")] == []


def test_what_was_proposed_is_written_in_every_part_and_not_proposed_again(
    demo_marked: Marked,
) -> None:
    """The demo has entries that nobody can know the dynamic of; a second run has none."""
    proposed = [(p.id, d) for p in demo_marked.plan.marked for d in p.dynamics]
    assert proposed
    written = [
        c
        for c in demo_marked.marking.changes
        if c.kind == "dynamic" and c.why.startswith("proposal")
    ]
    assert {c.passage for c in written} <= {name for name, _ in proposed}
    assert len(written) > len(proposed)
    again = stages.mark_score(demo_marked.again, Options())
    assert [d for p in again.plan.marked for d in p.dynamics] == []
