"""Rule cases as data (tests/cases/rules): what each rule must say, and where it must stay silent.

Every case is tried in three keys and registers and in two positions in the chart; a rule that
depends on absolute pitch, on the bar number or on the part's name breaks here. An entry of `expect`
is [what, note, ...]: lean (evidence for bringing out), atleast and atmost (how much of it), against
(evidence against), mark NAME, length short|long|joined, heavier and lighter (weight), slurred,
tongued, stop BEATS, slur FIRST LAST, hairpin FIRST LAST KIND, noslur (no span at all). `silent`
lists notes on which the rule must not propose a lean. `chosen` lists the notes brought out, for
rules that answer to them; `style` is medium swing and `meter` 4/4 unless the case says otherwise;
`tempo`: quarters a minute; `tutti`: the band plays it. `chords`, `letters` and `dynamics` say what
is printed over a note, by its number in the line, rests counted: chords = {4 = "Gdominant"},
letters = [4], dynamics = {0 = "p"}.
"""

from __future__ import annotations

import tomllib
from dataclasses import replace
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

_SAYS_NO_LEAN = {"height"}  # only weights: higher and lower notes are its two cases
CASES = Path(__file__).parent.parent / "cases" / "rules"


def _cases() -> list[tuple[str, dict[str, Any]]]:
    return [
        (path.stem.replace("_", "-"), case)
        for path in sorted(CASES.glob("*.toml"))
        for case in tomllib.loads(path.read_text())["case"]
    ]


def _signs(case: dict[str, Any], before: int, shift: int) -> dict[int, str]:
    """What a case has printed over its notes, as XML. before: notes of the lead-in; shift:
    semitones by which chords move with the line."""
    found: dict[int, str] = {}

    def put(note: object, xml: str) -> None:
        found[before + int(str(note))] = found.get(before + int(str(note)), "") + xml

    for note in case.get("letters", ()):
        put(
            note, "<direction><direction-type><rehearsal>A</rehearsal></direction-type></direction>"
        )
    for note, sign in case.get("dynamics", {}).items():
        put(
            note,
            f"<direction><direction-type><dynamics><{sign}/></dynamics></direction-type></direction>",
        )
    for note, chord in case.get("chords", {}).items():
        root = transposed(f"{chord[0]}4/4", shift).partition("/")[0][:-1]
        alter = "<root-alter>1</root-alter>" if root.endswith("#") else ""
        put(
            note,
            f"<harmony><root><root-step>{root[0]}</root-step>{alter}</root>"
            f"<kind>{chord[1:]}</kind></harmony>",
        )
    return found


def _said(
    rule: Rule, line: str, case: dict[str, Any], lead_in: str = "", shift: int = 0
) -> tuple[list[Candidate], list[Span]]:
    beats, unit = (int(n) for n in case.get("meter", "4/4").split("/"))
    lead_in = lead_in.replace("r/1", "r/1." if beats == 12 else "r/2." if beats == 6 else "r/1")
    signs = _signs(case, len(lead_in.split()), shift)
    c = chart({"Alto Sax 1": lead_in + line}, beats=beats, unit=unit, signs=signs)
    if "tempo" in case:
        c = replace(c, tempos=((0, float(case["tempo"])),))
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


def _speaks(case: dict[str, Any]) -> bool:
    """The case wants something said: one that only wants silence proves nothing of a rule."""
    return any(what not in ("noslur", "nostop") for what, *_ in case["expect"])


def test_every_rule_has_cases_a_source_and_an_example() -> None:
    import importlib

    speaks = {name for name, case in _cases() if _speaks(case)}
    silent = {name for name, case in _cases() if case["silent"] or not _speaks(case)}
    for rule in RULES:
        assert rule.name in speaks, f"{rule.name}: no case in which it speaks"
        assert rule.name in silent or rule.name in _SAYS_NO_LEAN, rule.name
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
    said, spans = _said(rule, transposed(case["line"], shift), case, lead_in, shift)
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


def test_chords_of_the_rhythm_section_are_heard_by_the_horns() -> None:
    """The horns' parts carry no symbols; the guitar's do. Over D minor to G7 a B on the change is
    G's third, also where a B flat instrument has written C sharp for it."""
    guitar = part_xml(
        "E4/4 " * 8, signs={0: _symbol("D", "minor-seventh"), 4: _symbol("G", "dominant")}
    )
    for shift in (0, -2):
        lead = part_xml(
            transposed("D5/4 F5/4 A5/4 C6/4 B5/4 G#5/8 F#5/8 G5/4 B5/4", -shift),
            transpose=(0, shift),
        )
        c = read_chart(parse_document(Path("x"), score_xml({"Trumpet 1": lead, "Guitar": guitar})))
        view = view_line(c, c.lines[0], styles()["medium-swing"], 0)
        said = next(r for r in RULES if r.name == "chord-landing").propose(view)
        assert [s.spot for s in said if isinstance(s, Candidate)] == [4]


def _symbol(root: str, kind: str) -> str:
    return f"<harmony><root><root-step>{root}</root-step></root><kind>{kind}</kind></harmony>"


def test_a_line_knows_its_letters_and_dynamics() -> None:
    """The first note after a letter opens the section, also a beat late; a note that a whole bar of
    rest holds back does not. A dynamic holds until the next, from before the line too."""
    letter = "<direction><direction-type><rehearsal>B</rehearsal></direction-type></direction>"
    soft = "<direction><direction-type><dynamics><p/></dynamics></direction-type></direction>"
    loud = soft.replace("<p/>", "<ff/>")
    c = chart(
        {"Alto Sax 1": "C5/1 D5/1 r/4 E5/4 F5/2 r/1 G5/1"},
        signs={0: soft, 2: letter, 4: loud, 5: letter},
    )
    view = view_line(c, c.lines[0][1:], styles()["medium-swing"], 0)
    assert [view.opens_section(spot) for spot in view.spots] == [False, True, False, False]
    assert [view.dynamic_at(spot) for spot in view.spots] == ["p", "p", "ff", "ff"]


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
