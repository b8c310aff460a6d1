"""What stands between the notes and round them, as a part reads it: cut-offs, dynamics, slurs, and
what is for the lead alone.

The marked bytes are read with lxml alone. That numbers tell slurs apart which are open at one time:
MusicXML 4.0, slur.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from build import part_xml, score_xml
from lxml import etree

from sectionprep.marking import Marking, mark_chart
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.editing.splices import apply_splices, splices_for
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.passages import Together, find_passages
from sectionprep.phrasing import PlannedNote, plan_passages

LINE = "C5/8 D5/8 E5/8 G5/8 F5/8 E5/8 D5/8 C5/8 D5/4 E5/4 C5/4 r/4"
SAXES = ("Alto Sax 1", "Alto Sax 2", "Tenor Sax 1", "Tenor Sax 2")


def _mark(
    parts: dict[str, str], decided: dict[int, dict[str, object]] | None = None
) -> tuple[Marking, etree._Element]:
    """Mark measures of parts in passages that are sure. decided: what the director changes, by
    number of the lead's note. The marking, and the marked file as a tree."""
    d = parse_document(Path("x.musicxml"), score_xml(parts))
    c = read_chart(d)
    found = find_passages(c)
    together = Together(
        bars=found.bars,
        hits=found.hits,
        passages=tuple(replace(p, confidence=1.0) for p in found.passages),
    )
    plan = plan_passages(c, together)
    assert len(plan.passages) == 1

    def change(n: int, note: PlannedNote) -> PlannedNote:
        return note._replace(**(decided or {}).get(n, {}))  # type: ignore[arg-type]

    passage = plan.passages[0]
    plan = replace(
        plan,
        passages=(
            replace(passage, notes=tuple(change(n, note) for n, note in enumerate(passage.notes))),
        ),
    )
    marking = mark_chart(c, together, plan)
    return marking, etree.fromstring(
        apply_splices(d.data, splices_for(d, marking.edits, marking.dropped))
    )


def _parts(root: etree._Element) -> list[etree._Element]:
    return list(root.iter("part"))


def _slurs(part: etree._Element) -> set[tuple[int, int]]:
    """Slurs as places of their first and last notes, joined by their numbers in the order of the
    document; one that begins while another of its number is open is refused."""
    begun: dict[str, int] = {}
    found = set()
    for n, note in enumerate(note for note in part.iter("note") if note.find("pitch") is not None):
        for slur in note.iterfind("notations/slur"):
            number = slur.get("number") or "1"
            if slur.get("type") == "stop":
                found.add((begun.pop(number), n))
            else:
                assert number not in begun, f"slur {number} begins at note {n} and is still open"
                begun[number] = n
    assert not begun
    return found


def _slurred(*pairs: tuple[int, int, int]) -> str:
    """LINE with slurs: (number, first note, last note)."""
    notes = part_xml(LINE).split("</note>")
    for number, first, last in pairs:
        for n, kind in ((first, "start"), (last, "stop")):
            notes[n] += f'<notations><slur type="{kind}" number="{number}"/></notations>'
    return "</note>".join(notes)


@pytest.mark.parametrize(("own", "other"), [((3, 5), (0, 3)), ((0, 3), (3, 5))])
def test_a_slur_that_meets_the_parts_own_is_told_apart(
    own: tuple[int, int], other: tuple[int, int]
) -> None:
    """Alto 2 has one of two slurs that meet on a note; the other, which lead and tenor have too,
    gets a number of its own."""
    both = _slurred((1, *other), (2, *own))
    _, root = _mark({"Alto Sax 1": both, "Alto Sax 2": _slurred((1, *own)), "Tenor Sax 1": both})
    assert [_slurs(part) for part in _parts(root)] == [{own, other}] * 3


def test_a_slur_inside_one_of_another_voice_is_told_apart() -> None:
    """Two players on a staff: the second's slur is open over the bar line when the first's
    begins."""
    line = "C5/4 D5/4 E5/4 G5/4 F5/8 E5/8 D5/8 C5/8 D5/4 r/4"
    slurred = part_xml(line.replace("F5/8", "F5/8(").replace("D5/8", "D5/8)"))

    def low(mark: str) -> str:
        note = (
            "<note><pitch><step>C</step><octave>4</octave></pitch><duration>96"
            "</duration><voice>2</voice>"
        )
        return (
            f"<backup><duration>96</duration></backup>{note}<notations><slur "
            f'type="{mark}" number="1"/></notations></note>'
        )

    first, second, _ = part_xml(line).split("</measure>")
    two = f"{first}{low('start')}</measure>{second}{low('stop')}</measure>"
    marking, root = _mark({"Alto Sax 1": slurred, "Alto Sax 2": two, "Tenor Sax 1": slurred})
    assert [c.part for c in marking.changes if c.kind == "slur"] == [1]
    assert _slurs(_parts(root)[1]) == {(4, 10), (5, 7)}


HELD = "C5/8 D5/8 E5/8 G5/8 F5/8 E5/8 D5/8 C5/8 E5/2. r/4"
#: the same held into an eighth on beat 3: everybody stops on that beat, where no rest is printed
TIED = HELD.replace("E5/2. r/4", "E5/2~ E5/8 r/8 r/4")


def _cut_offs(part: etree._Element) -> list[etree._Element]:
    """The cut-offs of a part, as they are printed."""
    return [e for e in part.iter("words") if (e.text or "").startswith("off ")]


def _words(part: etree._Element) -> list[str]:
    return [e.text or "" for e in _cut_offs(part)]


def _stands_at(part: etree._Element) -> list[tuple[str, str]]:
    """Offset of each cut-off, and length of the note it stands before."""
    directions = [next(e.iterancestors("direction")) for e in _cut_offs(part)]
    return [(d.findtext("offset", "0"), d.getnext().findtext("duration", "")) for d in directions]


def test_where_a_rest_says_it_no_cut_off_is_written() -> None:
    marking, root = _mark({name: part_xml(HELD) for name in SAXES[:2]})
    assert [_words(part) for part in _parts(root)] == [[], []]
    assert not [c for c in marking.changes if c.kind == "cut-off"]


def test_a_cut_off_is_written_only_where_the_part_releases_with_the_lead() -> None:
    """All hold the last note but Alto 2, who lets go after one beat: "off 3" would be a lie on that
    stand."""
    early = HELD.replace("E5/2. r/4", "E5/4 r/2.")
    _, root = _mark(
        {"Alto Sax 1": part_xml(TIED), "Alto Sax 2": part_xml(early), "Tenor Sax 1": part_xml(TIED)}
    )
    assert [_words(part) for part in _parts(root)] == [["off 3"], [], ["off 3"]]


def test_a_cut_off_stands_over_the_release_and_is_not_written_twice() -> None:
    """The tied eighth, not the attack, carries it (common practice, no source)."""
    said = (
        '<direction placement="above"><direction-type><words>off '
        "3</words></direction-type></direction>"
    )
    marking, root = _mark(
        {"Alto Sax 1": part_xml(TIED, signs={9: said}), "Alto Sax 2": part_xml(TIED)}
    )
    assert [_words(part) for part in _parts(root)] == [["off 3"], ["off 3"]]
    changes = [c for c in marking.changes if c.kind == "cut-off"]
    assert [(c.part, c.tick) for c in changes] == [(1, 6 * 24)]
    assert _stands_at(_parts(root)[1]) == [("0", "12")]


def test_a_release_inside_a_note_stands_where_it_is() -> None:
    """Stopped on beat 3 of a note of three beats: two beats after its beginning, 48 of the file's
    divisions (MusicXML 4.0, offset)."""
    _, root = _mark({name: part_xml(HELD) for name in SAXES[:2]}, {8: {"cutoff": 6 * 24}})
    assert [_words(part) for part in _parts(root)] == [["off 3"]] * 2
    assert [_stands_at(part) for part in _parts(root)] == [[("48", "72")]] * 2


def test_a_release_in_front_of_a_note_is_written_over_it() -> None:
    """A breath, and no rest, parts the held note from what follows."""
    on = HELD.replace("r/4", "C5/4")
    decided = {8: {"cutoff": 7 * 24, "release": "breath"}}
    _, root = _mark({name: part_xml(on) for name in SAXES[:2]}, decided)
    assert [_words(part) for part in _parts(root)] == [["off 4, air"]] * 2
    assert [_stands_at(part) for part in _parts(root)] == [[("0", "24")]] * 2


def test_a_release_by_the_breath_says_so() -> None:
    _, root = _mark({name: part_xml(TIED) for name in SAXES[:2]}, {8: {"release": "breath"}})
    assert [_words(part) for part in _parts(root)] == [["off 3, air"]] * 2


def test_a_shake_is_for_the_lead_alone() -> None:
    """The director asks for a shake on the held note: the lead trumpet shakes, the others do not,
    and the list says why (after Reinhardt, The Shake)."""
    parts = {f"Trumpet {n}": part_xml(HELD) for n in (1, 2, 3)}
    marking, root = _mark(parts, {8: {"marks": frozenset({"shake", "accent"}), "decided": True}})
    held = [
        next(note for note in part.iter("note") if note.findtext("duration") == "72")
        for part in _parts(root)
    ]
    assert [note.find("notations/ornaments/shake") is not None for note in held] == [
        True,
        False,
        False,
    ]
    assert all(note.find("notations/articulations/accent") is not None for note in held)
    assert [
        c.part for c in marking.changes if c.kind == "left" and c.why == "shake: for the lead alone"
    ] == [1, 2]


def test_a_shake_of_the_lead_goes_to_nobody() -> None:
    lead = part_xml(HELD).split("</note>")
    lead[8] += "<notations><ornaments><shake/></ornaments></notations>"
    _, root = _mark(
        {
            "Trumpet 1": "</note>".join(lead),
            "Trumpet 2": part_xml(HELD),
            "Trumpet 3": part_xml(HELD),
        }
    )
    assert [len(list(part.iter("shake"))) for part in _parts(root)] == [1, 0, 0]


@pytest.mark.parametrize(
    ("other", "reminded"), [("Trombone 2", True), ("Bass Trombone", True), ("Alto Sax 2", False)]
)
def test_a_trombone_that_gets_a_slur_is_reminded_of_the_legato_tongue(
    other: str, reminded: bool
) -> None:
    """W. Barrett, Playing the Trombone: a notated slur does not mean untongued. A saxophone needs
    no such words."""
    low = LINE.replace("5/", "4/", 8).replace("D5/4 E5/4 C5/4", "D4/4 E4/4 C4/4")
    slurred = low.replace("D4/8", "D4/8(", 1).replace("G4/8", "G4/8)", 1)
    lead = "Alto Sax 1" if other.startswith("Alto") else "Trombone 1"
    marking, root = _mark({lead: part_xml(slurred), other: part_xml(low)})
    assert _slurs(_parts(root)[1]) == {(1, 3)}
    (why,) = [c.why for c in marking.changes if c.kind == "slur" and c.part == 1]
    assert ("legato tongue" in why) is reminded


LOUD = "<direction-type><dynamics><ff/></dynamics></direction-type>"
SOFT = (
    "<direction "
    'placement="below"><direction-type><dynamics><p/></dynamics></direction-type></direction>'
)
MORE = {
    "words": f"<direction>{LOUD}<direction-type><words>solo</words></direction-type></direction>",
    "words in one type": "<direction><direction-type><words>solo</words></direction-type>"
    + LOUD
    + "</direction>",
    "a rehearsal mark": f"<direction><direction-type><rehearsal>B</rehearsal>"
    f"</direction-type>{LOUD}</direction>",
    "a tempo": f'<direction>{LOUD}<sound tempo="120"/></direction>',
    "a hairpin": f"<direction>{LOUD}<direction-type><wedge "
    f'type="stop"/></direction-type></direction>',
}


def _with_dynamic(sign: str) -> dict[str, str]:
    """Four saxes: three have p on the first note, Alto 2 has this instead."""
    return {
        name: part_xml(LINE, signs={0: sign if name == "Alto Sax 2" else SOFT}) for name in SAXES
    }


def test_a_dynamic_that_all_others_contradict_is_replaced() -> None:
    marking, root = _mark(_with_dynamic(f"<direction>{LOUD}</direction>"))
    assert [[e[0].tag for e in part.iter("dynamics")] for part in _parts(root)] == [["p"]] * 4
    assert [c.taken for c in marking.taken_out] == ["ff"]


@pytest.mark.parametrize(("offset", "count"), [(1, 1), (40, 2)])
def test_a_dynamic_that_hangs_a_little_behind_its_note_is_not_written_again(
    offset: int, count: int
) -> None:
    """Found on L. van Beethoven, op. 59 no. 2 iv of the music21 corpus: fp was printed twice. Where
    another note has begun it is another dynamic."""
    hanging = SOFT.replace("</direction>", f"<offset>{offset}</offset></direction>")
    _, root = _mark(_with_dynamic(hanging))
    assert [e[0].tag for e in _parts(root)[1].iter("dynamics")] == ["p"] * count


def test_nor_is_one_that_hangs_a_little_before_its_note() -> None:
    """In the rest before it: op. 133 of the same corpus, bar 11."""
    late = "r/8 " + LINE.split(" ", 1)[1]
    early = SOFT.replace("</direction>", "<offset>6</offset></direction>")
    parts = {
        name: part_xml(late, signs={0: early} if name == "Alto Sax 2" else {1: SOFT})
        for name in SAXES
    }
    _, root = _mark(parts)
    assert [[e[0].tag for e in part.iter("dynamics")] for part in _parts(root)] == [["p"]] * 4


@pytest.mark.parametrize("sign", MORE.values(), ids=MORE)
def test_a_direction_that_holds_more_than_a_dynamic_stays(sign: str) -> None:
    """With the dynamic its words, its rehearsal mark, its tempo or its hairpin would go."""
    marking, root = _mark(_with_dynamic(sign))
    before = etree.fromstring(score_xml({"x": part_xml(LINE, signs={0: sign})}))
    kept = next(_parts(root)[1].iter("direction"))
    assert etree.tostring(kept) == etree.tostring(next(before.iter("direction")))
    assert marking.taken_out == ()
    assert [e[0].tag for e in _parts(root)[1].iter("dynamics")] == ["ff"]


def test_a_dynamic_goes_to_a_part_that_has_none_and_strikes_there() -> None:
    """Tenor 2 rests where the others are told: nothing is written there."""
    late = "r/8 " + LINE.split(" ", 1)[1]
    parts = {
        name: part_xml(
            late if name == "Tenor Sax 2" else LINE, signs={0: SOFT} if name == "Alto Sax 1" else {}
        )
        for name in SAXES
    }
    _, root = _mark(parts)
    assert [[e[0].tag for e in part.iter("dynamics")] for part in _parts(root)] == [
        ["p"],
        ["p"],
        ["p"],
        [],
    ]
