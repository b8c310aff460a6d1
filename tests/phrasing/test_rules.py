"""Rule cases as data (tests/cases/rules): what each rule must say, and where it must stay silent.

Every case is tried in three keys and registers and in two positions in the chart; a rule that
depends on absolute pitch, on the bar number or on the part's name breaks here. An entry of `expect`
is [what, note, ...]: lean (evidence for bringing out), atleast and atmost (how much of it), against
(evidence against), mark NAME, length short|long|joined, heavier and lighter (weight), slurred,
tongued, stop BEATS, slur FIRST LAST, hairpin FIRST LAST KIND, noslur (no span at all). `silent`
lists notes on which the rule must not propose a lean. `chosen` lists the notes brought out, for
rules that answer to them; `style` is medium swing and `meter` 4/4 unless the case says otherwise;
`tutti`: the band plays it.
"""

from __future__ import annotations

import tomllib
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from build import chart, part_xml, score_xml, transposed
from lxml import etree

from sectionprep.music.chords import parse_chord
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.phrasing.candidates import Candidate, Rule, Span
from sectionprep.phrasing.rules import RULES
from sectionprep.phrasing.styles import styles
from sectionprep.phrasing.view import view_line

CASES = Path(__file__).parent.parent / "cases" / "rules"


def _cases() -> list[tuple[str, dict[str, Any]]]:
    return [
        (path.stem.replace("_", "-"), case)
        for path in sorted(CASES.glob("*.toml"))
        for case in tomllib.loads(path.read_text())["case"]
    ]


def _said(
    rule: Rule, line: str, case: dict[str, Any], lead_in: str = ""
) -> tuple[list[Candidate], list[Span]]:
    beats, unit = (int(n) for n in case.get("meter", "4/4").split("/"))
    c = chart(
        {
            "Alto Sax 1": lead_in.replace(
                "r/1", "r/1." if beats == 12 else "r/2." if beats == 6 else "r/1"
            )
            + line
        },
        beats=beats,
        unit=unit,
    )
    view = view_line(
        c,
        c.lines[0],
        styles()[case.get("style", "medium-swing")],
        0,
        tutti=case.get("tutti", False),
    )
    said = [
        *rule.propose(view),
        *(rule.settle(view, frozenset(case["chosen"])) if rule.settle else ()),
    ]
    return [s for s in said if isinstance(s, Candidate)], [s for s in said if isinstance(s, Span)]


def test_every_rule_has_cases_a_source_and_an_example() -> None:
    import importlib

    named = {path.stem.replace("_", "-") for path in CASES.glob("*.toml")} | {
        "chord-landing",
        "approach-note",
        "tension",
    }  # need chords: tests below
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
        elif what == "atleast":
            assert max((s.lean for s in mine), default=0.0) >= rest[1], (what, rest)
        elif what == "atmost":
            assert max((s.lean for s in mine), default=0.0) <= rest[1], (what, rest)
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
            assert (rest[0], rest[1]) in [(s.first, s.last) for s in spans if s.kind == "slur"], (
                spans
            )
        else:
            assert what == "noslur"
            assert not spans
    for note in case["silent"]:
        assert not any(s.spot == note and s.lean > 0.25 for s in said), (
            f"{name} speaks on note {note}"
        )
    assert all(s.because for s in said)


def test_tones_of_a_chord() -> None:
    """Third and seventh of dominant, minor and major seventh chords: the definition of the guide
    tones; the fifth moves where the symbol says so."""
    guides = {
        "G7": {11, 5},
        "Cm7": {3, 10},
        "Fmaj7": {9, 4},
        "Bb6": {2, 7},
        "Dm7b5": {5, 0},
        "Bb7(b9)/F": {2, 8},
    }
    for symbol, expected in guides.items():
        chord = parse_chord(symbol)
        assert chord is not None
        assert chord.guide == expected
    half, moved = parse_chord("Dm7b5"), parse_chord("G7", 3)
    assert half is not None
    assert half.tones == {2, 5, 8, 0}
    assert moved is not None
    assert moved.tones == {10, 2, 5, 8}
    assert parse_chord("N.C.") is None
    assert parse_chord("nonsense") is None


@pytest.mark.parametrize(
    "kind",
    [
        "augmented",
        "suspended-second",
        "suspended-fourth",
        "power",
        "major",
        "minor",
        "diminished",
        "dominant",
        "augmented-seventh",
        "half-diminished",
        "diminished-seventh",
        "major-seventh",
        "minor-seventh",
        "major-sixth",
    ],
)
@pytest.mark.parametrize("root", ["C", "F", "B"])
def test_the_kinds_of_music_xml_sound_as_another_reader_says(kind: str, root: str) -> None:
    """music21's tones of the same <harmony> element."""
    import music21

    from sectionprep.musicxml.reading.signs import chord_text

    xml = f"<harmony><root><root-step>{root}</root-step></root><kind>{kind}</kind></harmony>"
    chord = parse_chord(chord_text(etree.fromstring(xml)))
    assert chord is not None
    theirs = music21.harmony.ChordSymbol(root=root, kind=kind).pitches
    assert chord.tones == {p.pitchClass for p in theirs}


def test_a_power_chord_has_no_guide_tones() -> None:
    chord = parse_chord("G5")
    assert chord is not None
    assert (chord.tones, chord.guide) == ({7, 2}, frozenset())
    sus = parse_chord("Csus2")
    assert sus is not None
    assert sus.guide == {2}


def _over_chords(rule: str, line: str, chords: dict[int, str], shift: int = 0) -> dict[int, float]:
    """What a rule says about a line while a guitar reads chord symbols: leans by note. chords: root
    letter and kind by beat."""

    def harmony(symbol: str) -> str:
        root, kind = (
            symbol[0],
            {"7": "dominant", "m7": "minor-seventh", "maj7": "major-seventh"}[symbol[1:]],
        )
        return f"<harmony><root><root-step>{root}</root-step></root><kind>{kind}</kind></harmony>"

    guitar = part_xml("E4/4 " * 8, signs={beat: harmony(symbol) for beat, symbol in chords.items()})
    lead = part_xml(transposed(line, -shift), transpose=(0, shift)) if shift else part_xml(line)
    c = read_chart(parse_document(Path("x"), score_xml({"Trumpet 1": lead, "Guitar": guitar})))
    view = view_line(c, c.lines[0], styles()["medium-swing"], 0)
    said = next(r for r in RULES if r.name == rule).propose(view)
    return {s.spot: s.lean for s in said if isinstance(s, Candidate)}


@pytest.mark.parametrize("shift", [0, -2])
def test_chords_of_the_rhythm_section_are_heard_by_the_horns(shift: int) -> None:
    """The horns' parts carry no symbols; the guitar's do. Over D minor to G7: a B on the change is
    G's third; A flat before G leads to it; over C7 a D that falls to C is a ninth that resolves.
    The same for a B flat instrument (written a tone up)."""
    line = "D5/4 F5/4 A5/4 C6/4 B5/4 G#5/8 F#5/8 G5/4 B5/4"
    assert set(_over_chords("chord-landing", line, {0: "Dm7", 4: "G7"}, shift)) == {4}
    assert _over_chords("chord-landing", line, {0: "Dm7"}, shift) == {}
    assert _over_chords("approach-note", line, {0: "Dm7", 4: "G7"}, shift) == {6: -0.25}
    ninth = "D5/4 C5/4 E5/4 G5/4 D5/4 E5/4 C5/4 r/4"
    assert set(_over_chords("tension", ninth, {0: "C7"}, shift)) == {0, 4}
    assert (
        _over_chords("tension", ninth, {0: "Dm7"}, shift) == {}
    )  # D and C are its own; E leaps on


def test_styles_differ_as_the_sources_say() -> None:
    """V. Gassi, 5 Ways...: in Latin music an unmarked quarter is not always short; M. Kilpatrick:
    shuffle leans on the beat."""
    table = styles()
    assert table["medium-swing"].short_quarters
    assert not table["latin"].short_quarters
    assert table["shuffle"].off_beat < 0 < table["medium-swing"].off_beat


def test_a_pick_up_bar_counts_to_the_bar_line() -> None:
    """A pick-up of a quarter stands on 4, of 4/4: its notes are no downbeat (common practice)."""
    c = chart({"Alto Sax 1": "E5/8 F5/8 A5/2. G5/8 F5/8 E5/1"}, pickup=1)
    spots = view_line(c, c.lines[0], styles()["medium-swing"], 0).spots
    assert [spot.beat for spot in spots[:3]] == [4, Fraction(9, 2), 1]
    assert [spot.strong for spot in spots[:3]] == [False, False, True]
