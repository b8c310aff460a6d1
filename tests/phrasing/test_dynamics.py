"""Dynamics are proposed where nobody can know how loud to begin, and never over a printed one."""

from __future__ import annotations

from pathlib import Path

from build import part_xml, score_xml

from sectionprep import pipeline

LINE = "r/8 D5/8 F5/8 A5/8 C6/4 A5/8 F5/8 G5/4 E5/4 r/8 D5/8 F5/8 E5/8 E5/4 D5/8 C5/8 B4/4 r/4 "
MP = '<direction><direction-type><dynamics><mp/></dynamics></direction-type></direction>'
SOLO = '<direction><direction-type><words>Solo</words></direction-type></direction>'


def _written(path: Path, parts: dict[str, str]) -> pipeline.Marked:
    path.write_bytes(score_xml(parts))
    return pipeline.mark_score(pipeline.read_score(path, pipeline.Options()), pipeline.Options())


def _proposals(marked: pipeline.Marked) -> list[tuple[str, str, str]]:
    chart = marked.score.chart
    return [(chart.place(d.tick).bar, d.value, d.why) for p in marked.plan.marked for d in p.dynamics]


def test_none_in_force_gets_one_and_a_printed_one_stays(tmp_path: Path) -> None:
    bare = _written(tmp_path / "a.musicxml", {f"Alto Sax {n}": part_xml(LINE) for n in (1, 2)})
    ((bar, value, why),) = _proposals(bare)
    assert (bar, value) == ("1", "mf")
    assert why.startswith("proposal:")
    assert "none in the part" in why
    printed = {f"Alto Sax {n}": part_xml(LINE, first=MP) for n in (1, 2)}
    assert _proposals(_written(tmp_path / "b.musicxml", printed)) == []


def test_a_dynamic_before_a_long_rest_no_longer_holds(tmp_path: Path) -> None:
    """Four bars of rest: a proposal; one bar: the printed one still holds."""
    for bars, found in ((5, ["7"]), (1, [])):
        line = "C5/1 " + "r/1 " * bars + LINE
        marked = _written(tmp_path / f"{bars}.musicxml", {f"Alto Sax {n}": part_xml(line, first=MP) for n in (1, 2)})
        assert [bar for bar, _, _ in _proposals(marked)] == found


def test_a_background_under_a_solo_is_soft(tmp_path: Path) -> None:
    parts = {f"Alto Sax {n}": part_xml(LINE) for n in (1, 2)} | {"Trumpet 1": part_xml("r/1 r/1 r/1 ", first=SOLO)}
    ((_, value, why),) = _proposals(_written(tmp_path / "a.musicxml", parts))
    assert value == "mp"
    assert "solo of Trumpet 1" in why


def test_what_was_proposed_is_not_proposed_again(tmp_path: Path) -> None:
    """A second run inserts nothing."""
    first = _written(tmp_path / "a.musicxml", {f"Alto Sax {n}": part_xml(LINE) for n in (1, 2)})
    (tmp_path / "b.musicxml").write_bytes(first.files[0].data)
    again = pipeline.mark_score(pipeline.read_score(tmp_path / "b.musicxml", pipeline.Options()), pipeline.Options())
    assert [c for c in again.marking.changes if c.applied] == []
