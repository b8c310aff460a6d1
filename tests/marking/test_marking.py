"""One plan in every part, checked from outside: the marked file is read with lxml alone, never
through our model."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import replace
from pathlib import Path
from typing import Literal

import pytest
from build import chart, document, transposed
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree

from sectionprep import stages
from sectionprep.checks import run_checks
from sectionprep.marking import mark_chart
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.editing.splices import apply_splices, splices_for, undo_splices
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.passages import find_passages
from sectionprep.phrasing import plan_passages
from sectionprep.results import Marked, Options

TUNE = "r/8 D5/8 F5/8 A5/8 C6/4 A5/8 F5/8 G5/4 E5/4 r/8 D5/8 F5/8 E5/8~ E5/4 D5/8 C5/8 B4/4 r/4"

#: More of the same passage: a few notes alone are not sure enough for anything to be taken out.
MORE = "r/8 G5/8 A5/4 C6/8 B5/8 G5/4 E5/8 G5/4 F5/8 D5/4 r/4 r/8 C5/8 E5/8 G5/8 B5/4 A5/8 F5/8"


def _independent(data: bytes) -> dict[str, dict[int, tuple[frozenset[str], str]]]:
    """part id -> onset in divisions -> (marks, sounding-free identity of the note): straight from
    the XML."""
    root = etree.fromstring(data)
    found: dict[str, dict[int, tuple[frozenset[str], str]]] = defaultdict(dict)
    for part in root.iter("part"):
        start = 0
        for measure in part.iter("measure"):
            now = longest = 0
            for element in measure:
                length = int(element.findtext("duration") or 0)
                if element.tag == "note" and element.find("grace") is None:
                    at = start + now
                    if (
                        element.find("pitch") is not None
                        and element.find("tie[@type='stop']") is None
                    ):
                        marks = {e.tag for e in element.iterfind("notations/articulations/*")}
                        head = element.find("notehead")
                        if head is not None and head.get("parentheses") == "yes":
                            marks.add("ghost")
                        found[part.get("id") or ""][at] = (
                            frozenset(marks),
                            etree.tostring(element.find("pitch")).decode(),
                        )
                    now += length
                elif element.tag == "backup":
                    now -= length
                elif element.tag == "forward":
                    now += length
                longest = max(longest, now)
            start += longest
    return found


def test_every_part_of_every_passage_has_the_same_marks(demo_marked: Marked) -> None:
    """But for the one accent that a single part has printed where the rest of the band has nothing:
    it stays, and is reported."""
    chart_, marked = demo_marked.score.chart, _independent(demo_marked.files[0].data)
    scale = 12 / chart_.resolution
    compared, unlike = 0, []
    for passage in demo_marked.score.together.passages:
        for tick in passage.attacks:
            seen = {}
            for index in passage.parts:
                here = marked[chart_.parts[index].id].get(round(tick * scale))
                if here is not None:
                    seen[chart_.parts[index].name] = here[0] - {"breath-mark", "falloff", "doit"}
            compared += len(seen)
            if len(set(seen.values())) > 1:
                unlike.append(
                    (str(chart_.place(tick)), sorted(name for name, marks in seen.items() if marks))
                )
    assert unlike == [("bar 63 beat 2", ["Trumpet 4"])]
    assert [chart_.parts[f.part].name for f in demo_marked.after if f.check == "marks-extra"] == [
        "Trumpet 4"
    ]
    assert compared > 1000


def test_no_note_is_changed(demo_marked: Marked) -> None:
    """Pitch, onset, duration and ties in every part are what they were."""

    def notes(data: bytes) -> list[tuple[str, ...]]:
        root = etree.fromstring(data)
        return [
            (
                etree.tostring(n.find("pitch")).decode() if n.find("pitch") is not None else "-",
                n.findtext("duration") or "",
                "".join(t.get("type") or "" for t in n.iterfind("tie")),
            )
            for n in root.iter("note")
        ]

    assert notes(demo_marked.files[0].data) == notes(demo_marked.score.document.data)


def test_the_marked_demo_is_valid_music_xml(demo_marked: Marked, schema: etree.XMLSchema) -> None:
    schema.assertValid(etree.fromstring(demo_marked.score.document.data))
    schema.assertValid(etree.fromstring(demo_marked.files[0].data))


def test_taking_the_insertions_out_restores_the_document(demo_marked: Marked) -> None:
    original = demo_marked.score.document.data
    back = undo_splices(demo_marked.files[0].data, demo_marked.files[0].splices)
    assert back == original
    assert etree.tostring(etree.fromstring(back), method="c14n") == etree.tostring(
        etree.fromstring(original), method="c14n"
    )


def test_a_second_run_inserts_nothing(demo_marked: Marked) -> None:
    again = stages.mark_score(demo_marked.again, Options())
    assert again.files[0].splices == ()
    assert again.files[0].data == demo_marked.files[0].data


def test_every_other_line_is_untouched(demo_marked: Marked) -> None:
    def others(data: bytes) -> list[str]:
        return [
            line
            for line in data.decode().splitlines()
            if not any(t in line for t in ("<notations>", "<direction", "<notehead"))
        ]

    assert others(demo_marked.files[0].data) == others(demo_marked.score.document.data)


notes = st.sampled_from(
    ["C5/8", "D5/8>", "E5/8", "G5/8!", "A5/4", "F5/4-", "r/8", "D5/8", "E5/8t( F5/8t G5/8t)"]
)


@given(st.lists(notes, min_size=8, max_size=16), st.sampled_from(["add", "match", "report"]))
@settings(max_examples=40, deadline=None)
def test_marking_any_unison_is_undone_exactly_and_done_once(tokens: list[str], policy: str) -> None:
    lead = "C5/4 D5/4 E5/4 F5/4 " + " ".join(tokens)
    bare = lead.translate(str.maketrans("", "", ">!-()^"))
    try:
        d = document({"Alto 1": lead, "Alto 2": bare, "Tenor 1": bare})
    except AssertionError:
        return
    c = read_chart(d)
    together = find_passages(c)
    marking = mark_chart(c, together, plan_passages(c, together), section=policy)
    splices = splices_for(d, marking.edits, marking.dropped)
    if policy == "report":
        assert splices == ()
    data = apply_splices(d.data, splices)
    assert undo_splices(data, splices) == d.data
    if policy == "match":
        again = parse_document(Path("x"), data)
        c2 = read_chart(again)
        t2 = find_passages(c2)
        second = mark_chart(c2, t2, plan_passages(c2, t2))
        assert splices_for(again, second.edits, second.dropped) == ()


def _marked(parts: dict[str, str], policy: str) -> frozenset[str]:
    c = chart(parts)
    together = find_passages(c)
    d = document(parts)
    marking = mark_chart(c, together, plan_passages(c, together), section=policy)
    out = read_chart(
        parse_document(
            Path("x"), apply_splices(d.data, splices_for(d, marking.edits, marking.dropped))
        )
    )
    return out.lines[1][1].marks


@pytest.mark.parametrize(
    ("policy", "mark", "expected"),
    [
        ("match", "!", {"accent"}),
        ("add", "!", {"staccato", "accent"}),
        ("report", "!", {"staccato"}),
        ("match", "^", {"accent"}),
        ("add", "^", {"strong-accent"}),
        ("match", "", {"accent"}),
        ("add", "", {"accent"}),
    ],
)
def test_section_policies(policy: str, mark: str, expected: set[str]) -> None:
    """Alto 2 has something else printed than the lead and the third part."""
    lead = f"C5/4 D5/8> E5/8 G5/8 F5/8 E5/4 {MORE}"
    other = lead.replace("D5/8>", f"D5/8{mark}")
    assert _marked({"Alto 1": lead, "Alto 2": other, "Tenor 1": lead}, policy) == expected


def test_every_change_is_listed_with_its_reason(demo_marked: Marked) -> None:
    assert demo_marked.marking.changes
    for change in demo_marked.marking.changes:
        assert change.why
        assert change.passage
        if change.applied:
            assert change.was != change.now


def test_a_hairpin_that_meets_the_parts_own_is_closed_and_written_once(tmp_path: Path) -> None:
    from build import part_xml, score_xml

    def wedge(kind: str) -> str:
        return (
            f'<direction placement="below"><direction-type><wedge type="{kind}" '
            f'number="1"/></direction-type></direction>'
        )

    line = "C5/8 D5/8 E5/8 G5/8 F5/8 E5/8 D5/8 C5/8 D5/8 E5/8 F5/8 G5/8 A5/4 r/4"
    path = tmp_path / "a.musicxml"
    path.write_bytes(
        score_xml(
            {
                "Alto Sax 1": part_xml(line, signs={1: wedge("crescendo"), 4: wedge("stop")}),
                "Alto Sax 2": part_xml(line, signs={4: wedge("diminuendo"), 8: wedge("stop")}),
            }
        )
    )
    options = Options()
    first = stages.mark_score(stages.read_score(path, options), options)
    assert any(c.kind == "hairpin" and c.part == 1 for c in first.marking.changes)
    again = tmp_path / "b.musicxml"
    again.write_bytes(first.files[0].data)
    second = stages.mark_score(stages.read_score(again, options), options)
    assert not [c for c in second.marking.changes if c.kind == "hairpin" and c.part == 1]


def test_a_slur_that_enters_a_passage_is_not_crossed(tmp_path: Path) -> None:
    tail = "F5/8 E5/8 D5/8 C5/8 D5/8 E5/8 F5/8 G5/8 A5/4 r/4"
    d = document(
        {
            "Alto Sax 1": f"r/1 r/1 C5/8 D5/8( E5/8 G5/8) {tail}",
            "Alto Sax 2": f"r/1 r/2 A4/2( C5/8 D5/8 E5/8) G5/8 {tail}",
        }
    )
    path = tmp_path / "a.musicxml"
    for _ in range(2):
        path.write_bytes(d.data)
        marked = stages.mark_score(stages.read_score(path, Options()), Options())
        part = marked.again.chart.parts[1]
        assert [
            (n.slur_starts, n.slur_stops) for n in part.notes if n.slur_starts or n.slur_stops
        ] == [((1,), ()), ((), (1,))]
        d = parse_document(path, marked.files[0].data)


@pytest.mark.parametrize(
    ("kind", "seed"),
    [("ordinary", 9), ("ordinary", 11), ("ordinary", 13), ("dense", 0), ("dense", 4)],
)
def test_a_second_run_inserts_nothing_on_whole_charts(
    tmp_path: Path, kind: Literal["ordinary", "dense"], seed: int
) -> None:
    """Charts on which marks that we had written were once carried on to their look-alikes."""
    from charts import plant_chart

    path = tmp_path / "chart.musicxml"
    path.write_bytes(plant_chart(seed, kind=kind)[0])
    options = Options()
    first = stages.mark_score(stages.read_score(path, options), options)
    assert any(c.applied for c in first.marking.changes)
    path.write_bytes(first.files[0].data)
    second = stages.mark_score(stages.read_score(path, options), options)
    assert [c for c in second.marking.changes if c.applied] == []
    assert second.files[0].data == first.files[0].data


def test_a_slur_goes_round_a_note_that_a_section_part_repeats(tmp_path: Path) -> None:
    """Lead: D E F under one slur. Alto 2 repeats its first note (tongue it, slur the rest), Tenor 1
    its last, Tenor 2 all three (no slur). Common practice, no source. Nothing is left to find, and
    a second run writes nothing."""
    path = tmp_path / "x.musicxml"
    tail = " r/4 E4/8 G4/8 A4/8 G4/8 E4/4 D4/4"
    parts = {
        "Alto Sax 1": "D5/8( E5/8 F5/8) E5/8 D5/4" + tail.replace("4/", "5/", 6),
        "Alto Sax 2": "B4/8 B4/8 C5/8 B4/8 A4/4" + tail,
        "Tenor Sax 1": "G4/8 A4/8 A4/8 G4/8 F4/4" + tail,
        "Tenor Sax 2": "E4/8 E4/8 E4/8 D4/8 C4/4" + tail,
    }
    path.write_bytes(document(parts).data)
    marked = stages.mark_score(stages.read_score(path, Options()), Options())
    after = marked.again.chart
    eighth = after.resolution // 2
    assert [list(after.slurs(part)) for part in range(4)] == [
        [(0, 2 * eighth)],
        [(eighth, 2 * eighth)],
        [(0, eighth)],
        [],
    ]
    assert not [f for f in marked.after if f.check in ("slur", "repeated-under-slur")]
    stages.write_marked(marked, tmp_path / "y.musicxml")
    again = stages.mark_score(stages.read_score(tmp_path / "y.musicxml", Options()), Options())
    assert not [c for c in again.marking.changes if c.applied]


@pytest.mark.parametrize("left", [False, True])
def test_a_slur_of_a_section_part_stays_where_the_director_leaves_the_note(left: bool) -> None:
    """Alto 2 slurs otherwise than all others: its slur goes, unless the director decided that the
    note stays as it is printed."""
    tail = f"r/4 E5/8 G5/8 A5/8 G5/8 E5/4 D5/4 r/2 r/4 {MORE}"
    lead = f"r/4 C5/4( D5/4 G5/4) {tail}"
    c = chart(
        {"Alto Sax 1": lead, "Alto Sax 2": f"r/4 C5/4 D5/4( G5/4) {tail}", "Tenor Sax 1": lead}
    )
    together = find_passages(c)
    plan = plan_passages(c, together)
    at = [2 * c.resolution, 3 * c.resolution]
    if left:
        plan = replace(
            plan,
            passages=tuple(
                replace(p, notes=tuple(n._replace(hands_off=n.tone.onset in at) for n in p.notes))
                for p in plan.passages
            ),
        )
    marking = mark_chart(c, together, plan)
    dropped = [
        change.tick
        for change in marking.changes
        if change.applied and change.kind == "slur" and change.taken and change.part == 1
    ]
    assert dropped == ([] if left else at[:1])


def _joined(print_in_trumpet: str = "") -> dict[str, str]:
    """Four saxes in unison rhythm; a trumpet doubles the lead for five bars of eighteen."""
    saxes = {
        name: transposed(" ".join([GUEST_TUNE] * 6), -n)
        for n, name in enumerate(("Alto 1", "Alto 2", "Tenor 1", "Tenor 2"))
    }
    joins = f"E5/4 D5/8 C5/8 B4/4 r/4 {GUEST_TUNE} r/8 D5/8 F5/8 A5/8 C6/4 A5/8 F5/8"
    joins = joins.replace("C6/4", f"C6/4{print_in_trumpet}")
    walking = "C3/4 E3/4 G3/4 A3/4 D3/4 F3/4 A3/4 B3/4 " * 9
    return {**saxes, "Trumpet 1": f"{'r/1 ' * 5}{joins}{' r/1' * 8}", "Bass": walking}


GUEST_TUNE = (
    "r/8 D5/8 F5/8 A5/8 C6/4 A5/8 F5/8 G5/4 E5/4 r/8 D5/8 F5/8 E5/8 E5/4 D5/8 C5/8 B4/4 r/4"
)


def _marked_bytes(data: bytes) -> bytes:
    d = parse_document(Path("x"), data)
    c = read_chart(d)
    together = find_passages(c)
    marking = mark_chart(c, together, plan_passages(c, together))
    return apply_splices(data, splices_for(d, marking.edits, marking.dropped))


@pytest.mark.parametrize("printed", ["", "!", "^"])
def test_a_guest_gets_the_marks_of_what_it_plays_with_the_passage(printed: str) -> None:
    """Note for note as in the lead, nothing elsewhere, what it has printed stays, and a second run
    inserts nothing."""
    data = document(_joined(printed)).data
    marked, again = _marked_bytes(data), _marked_bytes(_marked_bytes(data))
    before, after = (read_chart(parse_document(Path("x"), d)) for d in (data, marked))
    (passage,) = find_passages(before).passages
    ((guest,),) = (passage.guests,)
    lead = {t.onset: t for t in after.lines[passage.lead]}
    theirs = {t.onset: t.marks for t in after.lines[guest.part]}
    own = {t.onset: t.marks for t in before.lines[guest.part]}
    shared = [onset for onset in theirs if guest.start <= onset < guest.end and onset in lead]
    assert sum(bool(lead[onset].marks) for onset in shared) >= 4
    for onset in shared:
        assert theirs[onset] == lead[onset].marks or own[onset]
    assert all(marks <= theirs[onset] for onset, marks in own.items())
    assert {onset for onset in theirs if theirs[onset] - own[onset]} <= set(shared)
    assert again == marked


def test_a_guest_is_held_against_the_passage_that_it_joins() -> None:
    """An accent in the lead that the guest lacks is found, in the name of the passage."""
    parts = _joined()
    for name in ("Alto 1", "Alto 2", "Tenor 1", "Tenor 2"):
        parts[name] = parts[name].replace("8 E5/8 E5/4", "8 E5/8 E5/4>", 4)
    parts["Alto 1"] = parts["Alto 1"].replace("C6/4", "C6/4>")
    c = chart(parts)
    together = find_passages(c)
    found = [f for f in run_checks(c, together) if f.part == 4 and f.check == "marks-missing"]
    assert found
    assert {f.passage for f in found} == {together.passages[0].id}


def test_a_chart_without_its_trees_keeps_what_was_found(demo_marked: Marked) -> None:
    """Who draws nothing more of it needs no second tree, and no second run of the checks."""
    before, after = demo_marked.before, demo_marked.after
    bare = demo_marked.without_trees()
    assert bare.before is before
    assert bare.after is after
    documents = [bare.again.document, bare.score.document, *(file.source for file in bare.files)]
    assert not any(len(document.root) or document.tree_notes for document in documents)
    assert len(demo_marked.again.document.root)
