"""Every planted fault of the demo chart is found; small good and bad cases for each check."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from build import chart, part_xml, score_xml, transposed

from sectionprep import stages
from sectionprep.checks import Finding, run_checks
from sectionprep.music.chairs import doubling
from sectionprep.music.instruments import instrument
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.passages import find_passages
from sectionprep.results import Marked, Options, Score

TUNE = "r/8 D4/8 F4/8 A4/8 C5/4 A4/8 F4/8 G4/4 E4/4 r/8 D4/8 F4/8 E4/8 E4/4 D4/8 C4/8 B3/4 r/4"


def _check(parts: dict[str, str]) -> tuple[Finding, ...]:
    c = chart(parts)
    return run_checks(c, find_passages(c))


def _kinds(parts: dict[str, str]) -> list[tuple[str, int]]:
    return [(f.check, f.part) for f in _check(parts)]


def test_every_planted_fault_of_the_demo_is_found(demo_score: Score, demo_path: Path) -> None:
    """The list in demo_chart/README.md is the truth."""
    listed = re.findall(
        r"^\| ([a-z -]+) \| ([A-Z][\w ]+) \| (\d+) \| ([\d.]+) \|",
        (demo_path.parent / "README.md").read_text(),
        re.MULTILINE,
    )
    assert len(listed) >= 10
    c = demo_score.chart
    findings = run_checks(c, demo_score.together)
    for kind, part, bar, beat in listed:
        hits = [
            f
            for f in findings
            if c.parts[f.part].name == part
            and c.place(f.tick).bar == bar
            and abs(float(c.place(f.tick).beat) - float(beat)) < 0.02
        ]
        assert hits, (kind, part, bar, beat)


def test_after_marking_only_what_a_person_decides_is_left(demo_marked: Marked) -> None:
    """marks-extra: Trumpet 4's own accent, which stays."""
    left = {f.check for f in demo_marked.after if f.severity != "note"}
    assert left == {"wrong-note", "early-release", "note-length", "marks-extra", "one-sided"}


def test_a_clean_section_has_no_findings() -> None:
    marked = TUNE.replace("C5/4", "C5/4>").replace("B3/4", "B3/4^")
    assert _check({"Alto Sax 1": marked, "Alto Sax 2": marked, "Tenor Sax 1": marked}) == ()


@pytest.mark.parametrize(
    ("name", "good", "bad", "kind"),
    [
        ("missing", "C5/4>", "C5/4", "marks-missing"),
        ("extra", "C5/4", "C5/4>", "marks-extra"),
        ("contradicting", "C5/4-", "C5/4!", "marks-contradict"),
        ("wrong note", "G4/4", "Ab4/4", "wrong-note"),
        ("short note", "G4/4", "G4/8 r/8", "note-length"),
        ("slur", "D4/8 F4/8 E4/8 E4/4", "D4/8 F4/8( E4/8) E4/4", "slur"),
    ],
)
def test_one_fault_in_one_part_is_one_finding(name: str, good: str, bad: str, kind: str) -> None:
    right, wrong = TUNE.replace(good.rstrip(">-"), good), TUNE.replace(good.rstrip(">-"), bad)
    assert _kinds({"Alto Sax 1": right, "Alto Sax 2": wrong, "Tenor Sax 1": right}) == [(kind, 1)]


def test_all_marks_missing_is_one_line() -> None:
    marked = (
        TUNE.replace("C5/4", "C5/4>").replace("B3/4", "B3/4^").replace("A4/8 F4/8", "A4/8> F4/8")
    )
    (finding,) = _check({"Alto Sax 1": marked, "Alto Sax 2": TUNE})
    assert "no marks, Alto Sax 1 has 3" in finding.message
    assert len(finding.places) == 3


def test_when_only_the_lead_lacks_the_mark_the_lead_is_named() -> None:
    marked = TUNE.replace("C5/4", "C5/4>")
    assert _kinds({"Alto Sax 1": TUNE, "Alto Sax 2": marked, "Tenor Sax 1": marked}) == [
        ("marks-missing", 0)
    ]


def test_wrong_note_names_the_note_that_was_meant() -> None:
    (finding,) = _check(
        {"Alto Sax 1": TUNE, "Alto Sax 2": TUNE.replace("G4/4", "Ab4/4"), "Tenor Sax 1": TUNE}
    )
    assert "Ab4" in finding.message
    assert "Probably G4" in finding.fix


def _transposed_score(alto2: tuple[int, int]) -> tuple[Finding, ...]:
    alto = part_xml(TUNE, transpose=(-5, -9), fifths=3)
    other = part_xml(TUNE, transpose=alto2, fifths=3)
    c = read_chart(
        parse_document(
            Path("x"),
            score_xml(
                {
                    "Alto Sax 1": alto,
                    "Alto Sax 2": other,
                    "Trombone": part_xml(TUNE.replace("5/", "3/")),
                }
            ),
        )
    )
    return run_checks(c, find_passages(c))


def test_missing_transposition() -> None:
    assert "transposition" in {f.check for f in _transposed_score((0, 0)) if f.part == 1}
    assert "transposition" not in {f.check for f in _transposed_score((-5, -9))}


def test_bars_that_do_not_add_up() -> None:
    xml = part_xml("C5/4 D5/4 E5/2").replace("<duration>48</duration>", "<duration>24</duration>")
    c = read_chart(
        parse_document(Path("x"), score_xml({"Oboe": xml, "Flute": part_xml("C5/4 D5/4 E5/2")}))
    )
    assert [(f.check, f.part) for f in run_checks(c, find_passages(c))] == [("bar-sum", 0)]


def test_ranges_depend_on_the_level() -> None:
    """School alto sax to written C6 (concert band grading lists), professional to F6 (arranging
    tutorials)."""
    c = chart({"Alto Sax 1": "D6/4 E6/4 C6/2"})
    together = find_passages(c)
    assert [f.check for f in run_checks(c, together, level="school")] == ["range"]
    c = chart({"Alto Sax 1": "A6/1"})
    assert [(f.check, f.severity) for f in run_checks(c, find_passages(c))] == [("range", "error")]


def test_a_mute_that_is_never_taken_out() -> None:
    words = "<direction><direction-type><words>{}</words></direction-type></direction>"
    long = "C5/2 r/2 " * 40
    parts = {"Trumpet 2": part_xml(long, signs={1: words.format("cup mute")})}
    c = read_chart(parse_document(Path("x"), score_xml(parts)))
    assert [f.check for f in run_checks(c, find_passages(c))] == ["mute"]
    parts = {
        "Trumpet 2": part_xml(long, signs={1: words.format("cup mute"), 9: words.format("open")})
    }
    c = read_chart(parse_document(Path("x"), score_xml(parts)))
    assert run_checks(c, find_passages(c)) == ()


def test_struck_again_where_the_lead_holds() -> None:
    lead = "D4/4 E4/4 F4/4 G4/4~ G4/4 E4/4 D4/4 C4/4 D4/4 F4/4 E4/4 D4/4"
    assert ("tie", 1) in _kinds(
        {"Alto Sax 1": lead, "Alto Sax 2": lead.replace("G4/4~", "G4/4"), "Tenor Sax 1": lead}
    )
    assert ("tie", 1) not in _kinds({"Alto Sax 1": lead, "Alto Sax 2": lead, "Tenor Sax 1": lead})


def test_two_names_for_one_note_on_one_stand() -> None:
    other = TUNE.replace("G4/4 E4/4", "G#4/4 E4/4")
    assert _kinds(
        {"Alto Sax 1": other, "Alto Sax 2": other.replace("G#4", "Ab4"), "Tenor Sax 1": other}
    ) == [("spelling", 1)]
    assert (
        _kinds(
            {"Alto Sax 1": other, "Alto Sax 2": other, "Tenor Sax 1": other.replace("G#4", "Ab4")}
        )
        == []
    )


def test_a_voice_that_crosses_for_one_note() -> None:
    from build import transposed

    low = transposed(TUNE, -4)
    first = low.split()[4]
    slip = low.replace(first, first.replace("4/", "5/"), 1)
    assert ("voice-crossing", 1) in _kinds(
        {"Alto Sax 1": TUNE, "Alto Sax 2": slip, "Tenor Sax 1": transposed(TUNE, -7)}
    )
    assert ("voice-crossing", 1) not in _kinds(
        {"Alto Sax 1": TUNE, "Alto Sax 2": low, "Tenor Sax 1": transposed(TUNE, -7)}
    )


def test_a_doubling_needs_time() -> None:
    """D. Bristol, woodwind doubling: give time for instrument changes."""
    change = (
        "<attributes><transpose><diatonic>0</diatonic><chromatic>0</chromatic>"
        "</transpose></attributes>"
    )
    for text, at, found in (
        ("C4/1 D4/1 E4/1 F4/1", 2, True),
        ("C4/1 D4/1 r/1 r/1 E4/1 F4/1", 4, False),
    ):
        xml = part_xml(text, transpose=(-5, -9), signs={at: change})
        other = part_xml("C3/1 " * 6)
        c = read_chart(
            parse_document(Path("x"), score_xml({"Alto Sax 1": xml, "Trombone 2": other}))
        )
        assert ("instrument-change" in {f.check for f in run_checks(c, find_passages(c))}) is found


def test_lead_brass_without_rest() -> None:
    line = "C5/4 D5/4 E5/4 r/4 " * 44
    assert ("endurance", 0) in _kinds({"Trumpet 1": line})
    assert ("endurance", 0) not in _kinds(
        {"Trumpet 1": "C5/4 D5/4 E5/4 r/4 " * 20 + "r/1 " + "C5/4 D5/4 E5/4 r/4 " * 20}
    )


def test_fix_mends_marks_and_no_notes(demo_score: Score) -> None:
    fixed = stages.fix_score(demo_score, Options())
    left = [
        f.check for f in fixed.after if f.check.startswith(("marks", "slur", "dynamic", "hairpin"))
    ]
    assert left == ["marks-extra"]  # what one part alone has printed is the director's to decide
    assert {"wrong-note", "early-release"} <= {f.check for f in fixed.after}
    assert {f.check for f in fixed.after} <= {f.check for f in fixed.before}


def test_versions_say_which_parts_to_print_again() -> None:
    from sectionprep.checks.versions import compare_versions

    old = chart({"Alto Sax 1": TUNE, "Alto Sax 2": TUNE, "Tenor Sax 1": TUNE})
    new = chart(
        {
            "Alto Sax 1": TUNE,
            "Alto Sax 2": TUNE.replace("C5/4", "C5/4>"),
            "Tenor Sax 1": TUNE.replace("E4/4", "Eb4/4", 1),
            "Bari": TUNE,
        }
    )
    found = {c.part: (c.status, c.notes, c.marks) for c in compare_versions(old, new)}
    assert found == {
        "Alto Sax 2": ("changed", (), ("1",)),
        "Tenor Sax 1": ("changed", ("2",), ()),
        "Bari": ("new", (), ()),
    }
    longer = chart({"Alto Sax 1": "r/1 " + TUNE, "Alto Sax 2": TUNE, "Tenor Sax 1": TUNE})
    (change,) = [c for c in compare_versions(old, longer) if c.part == "Alto Sax 1"]
    assert change.notes == ("1",)
    assert compare_versions(old, old) == ()


def test_clef_and_tempo_that_only_one_part_has_otherwise() -> None:
    """Altos read treble clef, trombones bass clef or tenor clef (common practice, no source)."""
    clef = "<attributes><clef><sign>{}</sign><line>{}</line></clef></attributes>"
    tempo = (
        "<direction><direction-type><metronome><beat-unit>quarter</beat-unit>"
        "<per-minute>{}</per-minute></metronome></direction-type></direction>"
    )
    parts = {
        "Alto Sax 1": part_xml(
            "C4/1", transpose=(-5, -9), fifths=3, first=clef.format("F", 4) + tempo.format(120)
        ),
        "Alto Sax 2": part_xml(
            "C4/1", transpose=(-5, -9), fifths=3, first=clef.format("G", 2) + tempo.format(120)
        ),
        "Trombone 2": part_xml("C3/1", first=clef.format("C", 4) + tempo.format(120)),
        "Trombone 3": part_xml("C3/1", first=clef.format("F", 4) + tempo.format(90)),
    }
    c = read_chart(parse_document(Path("x"), score_xml(parts)))
    found = [
        (f.check, f.part)
        for f in run_checks(c, find_passages(c))
        if f.check in ("clef", "road-map")
    ]
    assert sorted(found) == [("clef", 0), ("road-map", 3)]


def _with_fermatas(holding: set[int]) -> list[tuple[str, str, int]]:
    """Four parts that end on a whole note (the last one on a whole rest); those named hold it."""
    parts = {}
    for n in range(4):
        last = (
            "<note><rest/><duration>96</duration></note>"
            if n == 3
            else "<note><pitch><step>C</step><octave>5</octave></pitch><duration>96"
            "</duration><type>whole</type></note>"
        )
        if n in holding:
            last = last.replace("</note>", "<notations><fermata/></notations></note>")
        body = part_xml(TUNE)
        parts[f"Trumpet {n + 1}"] = body + f'<measure number="9">{last}</measure>'
    c = read_chart(parse_document(Path("x"), score_xml(parts)))
    return [
        (f.severity, f.message, f.part)
        for f in run_checks(c, find_passages(c))
        if f.check == "fermata"
    ]


def test_a_fermata_that_some_lack_is_found() -> None:
    """Common practice, no source: at a hold everybody holds, those who rest too."""
    assert _with_fermatas({0, 1, 2, 3}) == []
    assert _with_fermatas(set()) == []
    assert _with_fermatas({0, 1, 2}) == [("note", "no fermata where 3 other parts hold", 3)]
    assert _with_fermatas({0, 2, 3}) == [("warning", "no fermata where 3 other parts hold", 1)]
    assert _with_fermatas({1}) == [("warning", "has a fermata that 3 other parts have not", 1)]


@pytest.mark.parametrize(
    ("name", "line", "found"),
    [
        (
            "Alto Sax 1",
            "D4/4( D4/4) E4/2",
            [("warning", "a slur joins two notes of one pitch: one note held, or two?")],
        ),
        (
            "Alto Sax 1",
            "D4/4( D4/4 E4/2)",
            [("note", "the note comes again under the slur from bar 1 beat 1")],
        ),
        ("Alto Sax 1", "D4/4( E4/4 D4/2)", []),
        ("Alto Sax 1", "D4/4( r/4 D4/2)", []),  # a rest parts them
        ("Alto Sax 1", "D4/4( D4/4- E4/2)", []),  # the line says how to tongue
        ("Alto Sax 1", "D4/4~ D4/4 E4/2", []),  # a tie
        ("Piano", "D4/4( D4/4) E4/2", []),  # nothing to tongue
    ],
)
def test_a_note_struck_again_under_a_slur(
    name: str, line: str, found: list[tuple[str, str]]
) -> None:
    """Common practice, no source."""
    assert [
        (f.severity, f.message)
        for f in _check({name: line, "Tenor Sax 1": "r/1"})
        if f.check == "repeated-under-slur"
    ] == found


def test_slurs_in_slurs_are_told_apart_by_their_numbers() -> None:
    """A long slur over a short one in both parts is no difference; ends joined in the order they
    come would make it one."""
    long_over_short = part_xml("D4/4 E4/4 F4/4 G4/4 A4/4 B4/4 C5/4 D5/4")
    for n, slur in (
        (0, 'start" number="1'),
        (1, 'start" number="2'),
        (2, 'stop" number="1'),
        (3, 'stop" number="2'),
    ):
        notes = long_over_short.split("</note>")
        notes[n] += f'<notations><slur type="{slur}"/></notations>'
        long_over_short = "</note>".join(notes)
    c = read_chart(parse_document(Path("x"), score_xml({"Alto Sax 1": long_over_short})))
    quarter = c.resolution
    assert sorted(c.slurs(0)) == [(0, 2 * quarter), (quarter, 3 * quarter)]


def test_a_dynamic_that_still_holds_is_only_a_note() -> None:
    """mf in all parts at the start; then it stands anew in all but one, where it held anyway, or
    where f stood in between."""

    def found(between: str) -> list[tuple[str, str]]:
        def sign(value: str) -> str:
            return (
                f"<direction><direction-type><dynamics><{value}/></dynamics>"
                f"</direction-type></direction>"
            )

        line = "D5/4 F5/4 E5/4 D5/4 C5/4 D5/4 F5/4 E5/4 D5/4 F5/4 E5/4 D5/4"
        parts = {
            f"Alto Sax {n}": part_xml(
                line,
                signs={0: sign("mf"), **({4: sign(between)} if between else {}), 8: sign("mf")},
            )
            for n in (1, 2)
        }
        parts["Tenor Sax 1"] = part_xml(
            line, signs={0: sign("mf"), **({4: sign(between)} if between else {})}
        )
        c = read_chart(parse_document(Path("x"), score_xml(parts)))
        return [
            (f.severity, f.message) for f in run_checks(c, find_passages(c)) if f.check == "dynamic"
        ]

    assert found("") == [
        ("note", "no dynamic; the mf of bar 1 still holds, Alto Sax 1 has it anew")
    ]
    assert found("f") == [("warning", "no dynamic; Alto Sax 1 has mf")]


def test_one_who_releases_the_last_note_early_and_goes_his_own_way_is_found() -> None:
    """The last note of a soli belongs to it for everybody who strikes it: cut-offs are what a
    section rehearses."""
    line = "r/8 D4/8 F4/8 A4/8 C5/4 A4/8 F4/8 G4/4 A4/4 C5/2 "
    rest = "r/1 r/1"
    own = "r/4 C4/8 D4/8 E4/4 F4/4 D4/8 C4/8 B3/4 A3/4 G3/4"
    parts = {f"Trombone {n}": transposed(line, -3 * n) + rest for n in (1, 3, 4)}
    parts["Trombone 2"] = transposed(line, -5).replace("G4/2", "G4/8 r/8 r/4") + own
    found = [f for f in _check(parts) if f.check == "early-release"]
    assert [(f.severity, f.message.split(";")[0]) for f in found] == [
        ("warning", "cut-off differs: an eighth, stops at bar 2 beat 3and")
    ]


@pytest.mark.parametrize(
    ("words", "found"),
    [
        ("to Flute", ("flute", True)),
        ("To Clarinet in Bb", ("clarinet", True)),
        ("Flute", ("flute", False)),
        ("take the flute", ("flute", True)),
        ("back to Alto", ("alto-sax", True)),
        ("to Sax", ("alto-sax", True)),
        ("to A. Sax", ("alto-sax", True)),
        ("Alto Sax", ("alto-sax", True)),
        ("piano", (None, False)),
        ("to Coda", (None, False)),
        ("Medium swing", (None, False)),
        ("to the flute player", (None, False)),
    ],
)
def test_words_that_tell_a_player_to_change(words: str, found: tuple[str | None, bool]) -> None:
    taken, demanded = doubling(words, instrument("alto-sax"))
    assert (taken.key if taken else None, demanded) == found


def test_a_doubling_has_the_range_of_its_own_instrument() -> None:
    """A6 written is no note for an alto and an easy one for a flute: common practice, no source."""
    words = "<direction><direction-type><words>to Flute</words></direction-type></direction>"

    def found(signs: dict[int, str]) -> set[str]:
        c = read_chart(
            parse_document(
                Path("x"), score_xml({"Alto Sax 1": part_xml("C5/1 r/1 r/1 A6/1", signs=signs)})
            )
        )
        return {f.check for f in run_checks(c, find_passages(c))}

    assert found({}) == {"range"}
    assert found({1: words}) == set()


def test_one_figure_marked_in_two_ways_by_its_lead() -> None:
    bars = "D5/8 F5/8 A5/8 F5/8 {} E5/4 "

    def found(first: str, second: str, third: str = "E5/4 E5/4 D5/2") -> list[tuple[str, str]]:
        line = bars.format(first) + third + " " + bars.format(second) + "C5/1"
        return [
            (f.severity, f.message)
            for f in _check({"Alto Sax 1": line, "Alto Sax 2": line})
            if f.check == "figure"
        ]

    assert found("G5/4>", "G5/4^") == [
        ("note", "rooftop accent where the same figure in bar 1 beat 3 has accent")
    ]
    assert found("G5/4>", "G5/4>") == []
    assert found("G5/4>", "G5/4") == []  # marked once, meant for both
    assert found("G5/4>", "A5/4^") == []  # another figure


def test_whatever_a_check_may_find_is_listed() -> None:
    """Read from the source, so that a finding that no test provokes is seen too: every name given
    to a Finding stands in `finds` of its own check, and no name stands in two."""
    import ast
    import inspect
    import sys

    from sectionprep.checks import all_checks
    from sectionprep.checks.each import CHECKS

    for check in CHECKS:
        module = sys.modules[check.find.__module__]
        tree = ast.parse(inspect.getsource(module))
        said = {
            kept.value
            for call in ast.walk(tree)
            if isinstance(call, ast.Call) and getattr(call.func, "id", "") == "Finding"
            for word in call.keywords
            if word.arg == "check"
            for kept in [word.value]
            if isinstance(kept, ast.Constant)
        } | {
            name.value
            for line in ast.walk(tree)
            if isinstance(line, ast.Assign) and "kind" in ast.unparse(line.targets[0])
            for name in ast.walk(line.value)
            if isinstance(name, ast.Constant)
            and isinstance(name.value, str)
            and name.value not in ("warning", "error", "note")
        }
        assert said == set(check.finds), module.__name__
    assert len(all_checks()) == sum(len(check.finds) for check in CHECKS)


ENTRY = "r/4 r/8 C5/8 D5/4 F5/4 " + TUNE


def test_a_part_that_strikes_beside_all_others_comes_before_every_missing_mark() -> None:
    early = ENTRY.replace("r/4 r/8 C5/8", "r/4 C5/4", 1)
    marked = ENTRY.replace("D5/4", "D5/4>").replace("C5/4 A4", "C5/4^ A4")
    found = _check(
        {"Trumpet 1": marked, "Trumpet 2": ENTRY, "Trumpet 3": early, "Trumpet 4": ENTRY}
    )
    assert (found[0].check, found[0].severity, found[0].part) == ("rhythm", "error", 2)
    assert "strikes on 2 where all 3 others play the & of 2" in found[0].message
    assert {f.matter for f in found[1:]} == {"marks"}


def test_a_mute_in_one_part_alone_and_one_still_in_where_the_band_is_loud() -> None:
    words = "<direction><direction-type><words>{}</words></direction-type></direction>"
    loud = "<direction><direction-type><dynamics><ff/></dynamics></direction-type></direction>"
    cup = words.format("cup mute")

    def said(muted: tuple[int, ...], *, out: bool = False) -> list[tuple[str, int]]:
        signs = {
            n: {9: loud}
            | ({1: cup} if n in muted else {})
            | ({5: words.format("open")} if out else {})
            for n in range(3)
        }
        parts = {f"Trumpet {n + 1}": part_xml((TUNE + " ") * 8, signs=signs[n]) for n in range(3)}
        c = read_chart(parse_document(Path("x"), score_xml(parts)))
        return [
            (f.check, f.part) for f in run_checks(c, find_passages(c)) if f.matter == "instructions"
        ]

    assert ("mute-alone", 1) in said((1,))
    assert ("mute", 0) in said((0, 1, 2))
    assert said((0, 1, 2), out=True) == []


def test_one_line_speaks_of_a_section_and_all_of_it_fits_a_screen(demo_path: Path) -> None:
    import subprocess
    import sys

    command = [sys.executable, "-m", "sectionprep", "check", str(demo_path)]
    done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60)
    shown = done.stdout.splitlines()
    assert len(shown) <= 40
    assert "  bars 2-18, brass: no marks, Trumpet 1 has 5" in shown
    assert shown[1] == "Notes and rhythms"
