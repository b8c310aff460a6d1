"""Rule cases as data (tests/cases/rules): what each rule must say, and where it must stay silent.

Every case is tried in three keys and registers and in two positions in the chart; a rule that depends on absolute
pitch, on the bar number or on the part's name breaks here. An entry of `expect` is [what, note, ...]:
lean (evidence for bringing out), against (evidence against), mark NAME, length short|long, heavier and lighter
(weight), slur FIRST LAST, hairpin FIRST LAST KIND, noslur (no span at all). `silent` lists notes on which the rule must not propose a lean.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from build import chart, transposed

from sectionprep.phrasing.candidates import Candidate, Rule, Span
from sectionprep.phrasing.rules import RULES
from sectionprep.phrasing.styles import styles
from sectionprep.phrasing.view import view_line

CASES = Path(__file__).parent.parent / "cases" / "rules"


def _cases() -> list[tuple[str, str, list[list[object]], list[int]]]:
    return [
        (path.stem.replace("_", "-"), case["line"], case["expect"], case["silent"])
        for path in sorted(CASES.glob("*.toml")) for case in tomllib.loads(path.read_text())["case"]
    ]


def _said(rule: Rule, line: str, lead_in: str = "") -> tuple[list[Candidate], list[Span]]:
    c = chart({"Alto Sax 1": lead_in + line})
    view = view_line(c, c.lines[0], styles()["medium-swing"], 0)
    said = list(rule.propose(view))
    return [s for s in said if isinstance(s, Candidate)], [s for s in said if isinstance(s, Span)]


def test_every_rule_has_cases_a_source_and_an_example() -> None:
    import importlib

    named = {path.stem.replace("_", "-") for path in CASES.glob("*.toml")} | {"chord-landing"}  # needs chords: own test
    for rule in RULES:
        assert rule.name in named, rule.name
        assert rule.source
        assert rule.limits
        module = importlib.import_module(rule.propose.__module__)
        assert "bad:" in (module.__doc__ or ""), rule.name
        assert "good:" in (module.__doc__ or ""), rule.name


@pytest.mark.parametrize("shift", [-5, 0, 6])
@pytest.mark.parametrize("lead_in", ["", "r/1 r/1 r/1 "])
@pytest.mark.parametrize(("name", "line", "expect", "silent"), _cases())
def test_rule_case(name: str, line: str, expect: list[list[object]], silent: list[int], shift: int, lead_in: str) -> None:
    rule = next(r for r in RULES if r.name == name)
    said, spans = _said(rule, transposed(line, shift), lead_in)
    for what, *rest in expect:
        mine = [s for s in said if rest and s.spot == rest[0]]
        if what == "lean":
            assert any(s.lean > 0 for s in mine), (what, rest)
        elif what == "against":
            assert any(s.lean < 0 for s in mine), (what, rest)
        elif what == "mark":
            assert any(rest[1] in s.marks for s in mine), (what, rest)
        elif what == "length":
            assert any(s.length == rest[1] for s in mine), (what, rest)
        elif what == "heavier":
            assert sum(s.weight for s in mine) > 0, (what, rest)
        elif what == "lighter":
            assert sum(s.weight for s in mine) < 0, (what, rest)
        elif what == "hairpin":
            assert [(s.first, s.last, s.kind) for s in spans] == [tuple(rest)]
        elif what == "slur":
            assert [(s.first, s.last) for s in spans] == [(rest[0], rest[1])]
        else:
            assert what == "noslur"
            assert not spans
    for note in silent:
        assert not any(s.spot == note and s.lean > 0.25 for s in said), f"{name} speaks on note {note}"
    assert all(s.because for s in said)


def test_guide_tones_of_a_new_chord() -> None:
    """Third and seventh of dominant, minor and major seventh chords: the definition of the guide tones."""
    from sectionprep.phrasing.rules.chord_landing import guide_tones

    assert guide_tones("G7") == {11, 5}
    assert guide_tones("Cm7") == {3, 10}
    assert guide_tones("Fmaj7") == {9, 4}
    assert guide_tones("Bb6") == {2, 7}
    assert guide_tones("Dm7b5") == {5, 0}
    assert guide_tones("nonsense") == frozenset()


def test_styles_differ_as_the_sources_say() -> None:
    """V. Gassi, 5 Ways...: in Latin music an unmarked quarter is not always short; M. Kilpatrick: shuffle leans on
    the beat."""
    table = styles()
    assert table["medium-swing"].short_quarters
    assert not table["latin"].short_quarters
    assert table["shuffle"].off_beat < 0 < table["medium-swing"].off_beat
