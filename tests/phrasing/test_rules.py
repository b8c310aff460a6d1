"""Rule cases as data (tests/cases/rules): what each rule must say, and where it must stay silent.

Every case is tried in three keys and registers and in two positions in the chart; a rule that depends on absolute
pitch, on the bar number or on the part's name breaks here. An entry of `expect` is [what, note, ...]:
lean (evidence for bringing out), against (evidence against), mark NAME, length short|long|joined, heavier and lighter
(weight), slurred, tongued, stop BEATS, slur FIRST LAST, hairpin FIRST LAST KIND, noslur (no span at all). `silent` lists
notes on which the rule must not propose a lean. `chosen` lists the notes brought out, for rules that answer to them;
`style` is medium swing unless the case says otherwise.
"""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest
from build import chart, transposed

from sectionprep.phrasing.candidates import Candidate, Rule, Span
from sectionprep.phrasing.rules import RULES
from sectionprep.phrasing.styles import styles
from sectionprep.phrasing.view import view_line

CASES = Path(__file__).parent.parent / "cases" / "rules"


def _cases() -> list[tuple[str, dict[str, Any]]]:
    return [
        (path.stem.replace("_", "-"), case)
        for path in sorted(CASES.glob("*.toml")) for case in tomllib.loads(path.read_text())["case"]
    ]


def _said(rule: Rule, line: str, case: dict[str, Any], lead_in: str = "") -> tuple[list[Candidate], list[Span]]:
    c = chart({"Alto Sax 1": lead_in + line})
    view = view_line(c, c.lines[0], styles()[case.get("style", "medium-swing")], 0)
    said = [*rule.propose(view), *(rule.settle(view, frozenset(case["chosen"])) if rule.settle else ())]
    return [s for s in said if isinstance(s, Candidate)], [s for s in said if isinstance(s, Span)]


def test_every_rule_has_cases_a_source_and_an_example() -> None:
    import importlib

    named = {path.stem.replace("_", "-") for path in CASES.glob("*.toml")} | {"chord-landing"}  # needs chords: own test
    for rule in RULES:
        assert rule.name in named, rule.name
        assert rule.source
        assert rule.limits
        module = importlib.import_module((rule.settle or rule.propose).__module__)
        assert "bad:" in (module.__doc__ or ""), rule.name
        assert "good:" in (module.__doc__ or ""), rule.name


@pytest.mark.parametrize("shift", [-5, 0, 6])
@pytest.mark.parametrize("lead_in", ["", "r/1 r/1 r/1 "])
@pytest.mark.parametrize(("name", "case"), _cases())
def test_rule_case(name: str, case: dict[str, Any], shift: int, lead_in: str) -> None:
    rule = next(r for r in RULES if r.name == name)
    said, spans = _said(rule, transposed(case["line"], shift), case, lead_in)
    for what, *rest in case["expect"]:
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
        elif what in ("slurred", "tongued"):
            assert any(s.slurred for s in mine) == (what == "slurred"), (what, rest)
        elif what == "stop":
            assert [s.stop for s in mine if s.stop] == [rest[1]], (what, rest)
        elif what == "nostop":
            assert not any(s.stop for s in said)
        elif what == "hairpin":
            assert [(s.first, s.last, s.kind) for s in spans] == [tuple(rest)]
        elif what == "slur":
            assert (rest[0], rest[1]) in [(s.first, s.last) for s in spans if s.kind == "slur"], spans
        else:
            assert what == "noslur"
            assert not spans
    for note in case["silent"]:
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
