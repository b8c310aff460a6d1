"""No printed mark is lost: what may be taken out, what outvotes whom, and what is never touched.

The files of tests/repro show faults of real files in their shortest form; what is in them is
counted by lxml alone.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest
from build import document, part_xml, score_xml
from lxml import etree

from sectionprep import stages
from sectionprep.marking import Marking, mark_chart
from sectionprep.music.chart import Chart
from sectionprep.musicxml.document import Document, parse_document
from sectionprep.musicxml.editing.splices import apply_splices, splices_for
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.reports.agreement import agreement_text
from sectionprep.passages import Deviation, Together, find_passages
from sectionprep.phrasing import plan_passages
from sectionprep.results import Marked, Options, Score

REPRO = Path(__file__).parent.parent / "repro"
LINE = "C5/4 D5/8 E5/8 G5/8 F5/8 E5/4 D5/8 C5/8 B4/8 C5/8 D5/4 r/4"


def _mark(
    d: Document, *, section: str = "match", confidence: float = 1.0, odd: tuple[Deviation, ...] = ()
) -> tuple[Marking, Chart]:
    """Mark a document whose passages are as sure, and have such slips, as is said. The marking, and
    the chart read again."""
    c = read_chart(d)
    found = find_passages(c)
    together = Together(
        bars=found.bars,
        hits=found.hits,
        passages=tuple(
            replace(p, confidence=confidence, deviations=odd or p.deviations)
            for p in found.passages
        ),
    )
    marking = mark_chart(c, together, plan_passages(c, together), section=section)
    return marking, read_chart(
        parse_document(
            Path("x"), apply_splices(d.data, splices_for(d, marking.edits, marking.dropped))
        )
    )


def _section(lead: str, *others: str) -> Document:
    names = ("Alto Sax 1", "Alto Sax 2", "Tenor Sax 1", "Tenor Sax 2", "Baritone Sax")
    return document(dict(zip(names, (lead, *others), strict=False)))


def _with(mark: str) -> str:
    return LINE.replace("D5/8", f"D5/8{mark}", 1)


def test_marks_of_most_of_the_section_reach_the_lead_and_stay() -> None:
    """Four saxes agree on an accent that the lead lacks: none is taken out, the lead gets it, and
    the check says who lacked it."""
    d = _section(LINE, *[_with(">")] * 4)
    marking, after = _mark(d)
    assert marking.taken_out == ()
    assert all("accent" in line[1].marks for line in after.lines)
    given = [c for c in marking.changes if c.part == 0 and c.tick == after.lines[0][1].onset]
    assert given
    assert "printed in most of the section" in given[0].why
    c = read_chart(d)
    from sectionprep.checks import run_checks

    assert [
        (f.part, f.check) for f in run_checks(c, find_passages(c)) if f.tick == c.lines[0][1].onset
    ] == [(0, "marks-missing")]


def test_a_mark_that_is_the_only_one_printed_stays() -> None:
    """One part has an accent where nobody else has anything: it may be the only part that was
    proofread."""
    marking, after = _mark(_section(LINE, LINE, LINE, LINE, _with(">")))
    assert marking.taken_out == ()
    assert "accent" in after.lines[4][1].marks


@pytest.mark.parametrize(
    ("others", "confidence", "section", "gone"),
    [
        (("!", ">", ">"), 1.0, "match", True),
        (("!", ">", ">"), 0.9, "match", True),
        (("!", ">", ">"), 0.89, "match", False),  # the finder is not sure
        (("!", ">", ">"), 1.0, "add", False),
        (("!", "!", ">"), 1.0, "match", False),  # as many against the lead as with it
        (("!",), 1.0, "match", False),  # two parts: one word against another
    ],
)
def test_what_most_contradict_is_taken_out_only_where_all_conditions_hold(
    others: tuple[str, ...],
    confidence: float,
    section: str,
    gone: bool,
) -> None:
    marking, after = _mark(
        _section(_with(">"), *map(_with, others)), confidence=confidence, section=section
    )
    assert [c.taken for c in marking.taken_out] == (["staccato"] if gone else [])
    assert ("staccato" in after.lines[1][1].marks) is not gone
    assert "accent" in after.lines[1][1].marks


def test_a_part_that_is_no_full_member_at_a_note_keeps_its_mark() -> None:
    other_length = LINE.replace("D5/8 E5/8", "D5/16! r/16 E5/8", 1)
    marking, after = _mark(_section(_with(">"), other_length, _with(">"), _with(">")))
    assert marking.taken_out == ()
    assert "staccato" in after.lines[1][1].marks
    tick = after.lines[0][1].onset
    slip = (Deviation(kind="pitch", part=1, tick=tick),)
    marking, _ = _mark(_section(_with(">"), _with("!"), _with(">"), _with(">")), odd=slip)
    assert marking.taken_out == ()


def test_nothing_of_the_lead_is_outvoted_and_no_breath_is_taken_out() -> None:
    marking, after = _mark(_section(_with("-"), *[_with("!")] * 4))
    assert marking.taken_out == ()
    assert "tenuto" in after.lines[0][1].marks
    marking, after = _mark(_section(_with(">"), _with(">,"), _with(">"), _with(">")))
    assert marking.taken_out == ()
    assert "breath-mark" in after.lines[1][1].marks


def test_a_slur_goes_alone_from_a_note_where_two_end() -> None:
    """In Alto 2 a slur that crosses what all others slur (number 1) ends with one that does not
    (number 2): that one stays."""
    line = "C5/8 D5/8 E5/8 G5/8 F5/8 E5/8 D5/8 C5/8 D5/4 E5/4 C5/4 r/4"
    others = line.replace("D5/8 E5/8", "D5/8( E5/8", 1).replace("G5/8", "G5/8)")
    data = document(
        {
            "Alto Sax 1": others,
            "Alto Sax 2": line.replace("E5/8", "E5/8(", 1).replace("F5/8", "F5/8)"),
            "Tenor Sax 1": others,
        }
    ).data
    head, second = data[: data.index(b'<part id="P2">')], data[data.index(b'<part id="P2">') :]
    second = second.replace(
        b"</note><note><pitch><step>F",
        b'<notations><slur type="start" number="2"/></notations></note><note><pitch><step>F',
        1,
    )
    second = second.replace(
        b'<slur type="stop" number="1"/>',
        b'<slur type="stop" number="2"/><slur type="stop" number="1"/>',
        1,
    )
    marking, after = _mark(parse_document(Path("x"), head + second))
    assert [(c.part, c.kind) for c in marking.taken_out] == [(1, "slur")]
    eighth = after.resolution // 2
    assert [set(after.slurs(part)) for part in range(3)] == [
        {(eighth, 3 * eighth)},
        {(eighth, 3 * eighth), (3 * eighth, 4 * eighth)},
        {(eighth, 3 * eighth)},
    ]


def test_everything_taken_out_stands_first_in_the_report(demo_marked: Marked) -> None:
    taken = demo_marked.marking.taken_out
    assert taken
    text = agreement_text(demo_marked)
    title, pick_up, _, first, _, *lines = text.splitlines()
    assert (title.startswith("Late Tram Home"), pick_up) == (True, "(bar 0 is the pick-up)")
    assert first.startswith(f"TAKEN OUT: {len(taken)} ")
    assert len([line for line in lines[: len(taken)] if " -> " in line]) == len(taken)


def test_adding_takes_nothing_out_of_the_demo(demo_score: Score) -> None:
    marked = stages.mark_score(demo_score, Options(section="add"))
    assert marked.marking.taken_out == ()
    assert marked.marking.dropped == frozenset()
    assert all(not splice.removed.strip() for splice in marked.files[0].splices)


# -- chords
# -------------------------------------------------------------------------------------------


def _marks_by_chord(data: bytes) -> list[list[Counter[str]]]:
    """For each chord (or single note) of each part, the articulations on its notes, by lxml
    alone."""
    chords: list[list[Counter[str]]] = []
    for note in etree.fromstring(data).iter("note"):
        if note.find("chord") is None:
            chords.append([])
        chords[-1].append(Counter(e.tag for e in note.iterfind("notations/articulations/*")))
    return chords


@pytest.mark.parametrize("name", ["chord_marks", "chord_accents"])
def test_the_marks_of_a_chord_are_seen_on_any_note_and_written_once(
    name: str, tmp_path: Path
) -> None:
    path = tmp_path / f"{name}.musicxml"
    path.write_bytes((REPRO / path.name).read_bytes())
    marked = stages.mark_score(stages.read_score(path, Options()), Options())
    before, after = _marks_by_chord(path.read_bytes()), _marks_by_chord(marked.files[0].data)
    for old, new in zip(before, after, strict=True):
        assert all(not had - has for had, has in zip(old, new, strict=True))
        assert max(sum(new, Counter()).values(), default=0) <= 1
    path.write_bytes(marked.files[0].data)
    again = stages.mark_score(stages.read_score(path, Options()), Options())
    assert again.files[0].splices == ()


def test_a_staccato_on_the_lower_note_of_a_chord_is_the_marks_of_both() -> None:
    """In the file the lower trombone of two on a staff has a dot on the first and third beat;
    nobody lacks one."""
    d = parse_document(Path("x"), (REPRO / "chord_marks.musicxml").read_bytes())
    c = read_chart(d)
    assert all(["staccato" in tone.marks for tone in line] == [True, False] * 8 for line in c.lines)


@pytest.mark.parametrize("last", [False, True])
def test_marks_go_to_the_note_of_a_chord_where_the_file_puts_them(last: bool) -> None:
    """Two players on a staff, an accent printed on one chord: new marks go to the first or the last
    note as that one does."""
    lead = LINE.replace("C5/4", "C5/4>", 1).replace("G5/8", "G5/8>")
    accent = "<notations><articulations><accent/></articulations></notations>"
    below = ""
    for n, note in enumerate(part_xml(LINE).split("<note>")):
        if "<pitch>" not in note:
            below += f"<note>{note}" if n else note
            continue
        other = (
            note[: note.index("</note>") + 7]
            .replace("<pitch>", "<chord/><pitch>")
            .replace("<octave>5", "<octave>4")
        )
        pair = [note[: note.index("</note>") + 7], other]
        if n == 1:
            pair[last] = pair[last].replace("</note>", f"{accent}</note>")
        below += "".join(f"<note>{xml}" for xml in pair) + note[note.index("</note>") + 7 :]
    d = parse_document(
        Path("x"),
        score_xml(
            {"Alto Sax 1": part_xml(lead), "Alto Sax 2, 3": below, "Tenor Sax 1": part_xml(lead)}
        ),
    )
    marking, _ = _mark(d)
    data = apply_splices(d.data, splices_for(d, marking.edits, marking.dropped))
    chords = [chord for chord in _marks_by_chord(data) if len(chord) == 2]
    assert [bool(marks["accent"]) for marks in chords[0]] == [not last, last]
    assert [bool(marks["accent"]) for marks in chords[3]] == [not last, last]


# -- what changes the notes
# ---------------------------------------------------------------------------


def _trills(data: bytes) -> list[bool]:
    return [
        note.find("notations/ornaments/trill-mark") is not None
        for note in etree.fromstring(data).iter("note")
    ]


def test_trills_are_reported_and_never_copied_or_taken_out() -> None:
    """One alto of three trills its third note."""
    from sectionprep.checks import run_checks

    d = _section(LINE, LINE, LINE)
    at = [k for k in range(len(d.data)) if d.data.startswith(b"</note>", k)][2]
    data = (
        d.data[:at] + b"<notations><ornaments><trill-mark/></ornaments></notations>" + d.data[at:]
    )
    d = parse_document(Path("x"), data)
    marking, after = _mark(d)
    marked = apply_splices(d.data, splices_for(d, marking.edits, marking.dropped))
    assert marked != data
    assert _trills(marked) == _trills(data)
    for c in (read_chart(d), after):
        assert [f.check for f in run_checks(c, find_passages(c)) if "trill" in f.message] == [
            "ornament"
        ]


def test_no_trill_of_the_small_file_is_copied(tmp_path: Path) -> None:
    path = tmp_path / "trill.musicxml"
    path.write_bytes((REPRO / "trill.musicxml").read_bytes())
    marked = stages.mark_score(stages.read_score(path, Options()), Options())
    assert sum(_trills(path.read_bytes())) == 3
    assert _trills(marked.files[0].data) == _trills(path.read_bytes())


def test_an_ornament_is_not_carried_to_the_copies_of_its_figure() -> None:
    """The lead plays one figure twice with a tremolo in the first: the second keeps plain."""
    figure = "C5/8 D5/8 E5/8 G5/8 F5/4 r/4"
    d = _section(f"{figure} {figure}", f"{figure} {figure}")
    first = d.data.index(b"</note>")
    ornament = b'<notations><ornaments><tremolo type="single">3</tremolo></ornaments></notations>'
    d = parse_document(Path("x"), d.data[:first] + ornament + d.data[first:])
    marking, after = _mark(d)
    assert not any("tremolo" in edit.add | edit.remove for edit in marking.edits.values())
    assert [("tremolo" in line[k].marks) for line in after.lines for k in (0, 5)] == [
        True,
        False,
        False,
        False,
    ]


# -- dynamics and hairpins
# ----------------------------------------------------------------------------


def _sign(content: str) -> str:
    return f'<direction placement="below"><direction-type>{content}</direction-type></direction>'


def _dynamics(data: bytes) -> list[list[str]]:
    """For each part the dynamics between its notes with the words beside them, by lxml alone."""
    return [
        ["/".join((e.text or e.tag) for e in d) for d in part.iter("dynamics")]
        for part in etree.fromstring(data).iter("part")
    ]


def test_words_beside_a_dynamic_are_no_dynamic_and_three_runs_are_as_one() -> None:
    sempre = _sign("<dynamics><other-dynamics>sempre</other-dynamics><pp/></dynamics>")
    data = score_xml(
        {
            "Alto Sax 1": part_xml(LINE, signs={0: sempre}),
            "Alto Sax 2": part_xml(LINE),
            "Tenor Sax 1": part_xml(LINE, signs={0: sempre}),
        }
    )
    seen = []
    for _ in range(3):
        d = parse_document(Path("x"), data)
        marking, _after = _mark(d)
        data = apply_splices(d.data, splices_for(d, marking.edits, marking.dropped))
        seen.append(_dynamics(data))
    assert seen == [[["sempre/pp"], ["pp"], ["sempre/pp"]]] * 3


def test_the_dynamics_of_music_xml_are_known(schema: etree.XMLSchema) -> None:
    """Against the schema of MusicXML 4.0 (W3C) itself."""
    from importlib.util import find_spec

    from sectionprep.music.marks import DYNAMICS

    package = Path(
        (find_spec("musicxml") or pytest.fail("the package musicxml is missing")).origin or ""
    ).parent
    root = etree.parse(str(package / "generate_classes" / "musicxml_4_0.xsd"))
    xs = "{http://www.w3.org/2001/XMLSchema}"
    listed = {
        e.get("name")
        for t in root.iter(f"{xs}complexType")
        if t.get("name") == "dynamics"
        for e in t.iter(f"{xs}element")
    }
    assert listed - {"other-dynamics"} == DYNAMICS


def _hairpins(after: Chart) -> list[list[tuple[int, int]]]:
    eighth = after.resolution // 2
    found = []
    for part in after.parts:
        wedges = [(d.onset // eighth, d.value) for d in part.directions if d.kind == "wedge"]
        found.append(
            [
                (a, b)
                for (a, kind), (b, stop) in zip(wedges[::2], wedges[1::2], strict=True)
                if kind == "crescendo" and stop == "stop"
            ]
        )
    return found


@pytest.mark.parametrize(("section", "second"), [("match", (0, 6)), ("add", (0, 3))])
def test_where_a_hairpin_ends_is_compared_and_copied(section: str, second: tuple[int, int]) -> None:
    """Lead and tenor swell over six eighths, Alto 2 over three, the baritone not at all."""
    start, stop = _sign('<wedge type="crescendo"/>'), _sign('<wedge type="stop"/>')
    line = "C5/8 D5/8 E5/8 G5/8 F5/8 E5/8 D5/8 C5/8 D5/8 E5/8 F5/8 G5/8 A5/4 r/4"
    long, short = {0: start, 6: stop}, {0: start, 3: stop}
    data = score_xml(
        {
            "Alto Sax 1": part_xml(line, signs=long),
            "Alto Sax 2": part_xml(line, signs=short),
            "Tenor Sax 1": part_xml(line, signs=long),
            "Baritone Sax": part_xml(line),
        }
    )
    d = parse_document(Path("x"), data)
    c = read_chart(d)
    from sectionprep.checks import run_checks

    assert [(f.part, f.check) for f in run_checks(c, find_passages(c)) if f.check == "hairpin"] == [
        (1, "hairpin"),
        (3, "hairpin"),
    ]
    marking, after = _mark(d, section=section)
    assert _hairpins(after) == [[(0, 6)], [second], [(0, 6)], [(0, 6)]]
    assert [c.part for c in marking.taken_out] == ([1] if section == "match" else [])


def test_a_hairpin_ends_at_a_note_that_is_tied_over() -> None:
    """Its end stands at the bar line, inside a note held over it: there every part has a note to
    write it at."""
    start, stop = _sign('<wedge type="crescendo"/>'), _sign('<wedge type="stop"/>')
    line = "C5/8 D5/8 E5/8 G5/8 F5/8 E5/8 D5/4~ D5/8 E5/8 F5/8 G5/8 A5/4 r/4"
    d = parse_document(
        Path("x"),
        score_xml(
            {
                "Trumpet 1": part_xml(line, signs={0: start, 7: stop}),
                "Alto Sax 1": part_xml(line.replace("5/", "4/")),
            }
        ),
    )
    _, after = _mark(d)
    assert _hairpins(after) == [[(0, 8)], [(0, 8)]]
