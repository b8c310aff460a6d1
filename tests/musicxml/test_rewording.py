"""What the engraver's copy says differently, and what is counted as not drawn."""

from __future__ import annotations

import pytest
from build import part_xml, score_xml
from lxml import etree

from sectionprep.musicxml.copies.enclosures import SHAPES, shape_of, without_frames
from sectionprep.musicxml.copies.part import extract_part
from sectionprep.musicxml.copies.rewording import reword
from sectionprep.musicxml.copies.undrawn import (
    CHORD_FRAMES,
    DASHES,
    FRETS,
    LYRIC_ON_REST,
    PLAYBACK,
    SWING,
    Undrawn,
)
from sectionprep.musicxml.document import parse_document

_TUNE = "C5/4 D5/4 E5/4 F5/4 G5/4 A5/4 B5/4 C6/4 "


def _extract(xml: str, clef: str = "G2") -> tuple[etree._Element, Undrawn]:
    from pathlib import Path

    undrawn = Undrawn()
    d = parse_document(Path("x.musicxml"), score_xml({"Guitar": xml}))
    return etree.fromstring(extract_part(d, "P1", undrawn=undrawn, clef=clef)), undrawn


def _direction(inside: str) -> str:
    return f"<direction><direction-type>{inside}</direction-type></direction>"


def test_the_shapes_are_those_of_the_standard(schema: etree.XMLSchema) -> None:
    """Type enclosure-shape of MusicXML 4.0 (W3C): each shape of ours is valid there, and there are
    thirteen beside "none"."""
    for shape in SHAPES:
        xml = score_xml(
            {
                "Guitar": part_xml(
                    _TUNE, signs={0: _direction(f'<words enclosure="{shape}">a</words>')}
                )
            }
        )
        assert schema.validate(etree.fromstring(xml)), schema.error_log
    assert len(SHAPES) == 13


def test_frames_travel_with_their_words() -> None:
    signs = {
        0: _direction('<words enclosure="oval"> solo </words>'),
        1: _direction('<rehearsal enclosure="circle">A</rehearsal>'),
        2: _direction('<rehearsal enclosure="square">B</rehearsal>'),
        3: _direction("<words>plain</words>"),
    }
    root, _ = _extract(part_xml(_TUNE, signs=signs))
    texts = [e.text or "" for e in root.iter("words", "rehearsal")]
    assert [shape_of(text[0]) for text in texts] == ["oval", "circle", "", ""]
    assert [without_frames(text) for text in texts] == ["solo", "A", "B", "plain"]
    assert [e.get("enclosure") for e in root.iter("words", "rehearsal")] == [
        "none",
        "none",
        "square",
        None,
    ]


@pytest.mark.parametrize("words", ["~C7,0", " ~C7,0 ", "~P33", "~B0,64", "~C91,40 ~C7,100"])
def test_playback_words_go_and_are_counted(words: str) -> None:
    root, undrawn = _extract(
        part_xml(
            _TUNE,
            signs={
                0: _direction(f"<words>{words}</words>"),
                4: _direction(f"<words>{words}</words>"),
            },
        )
    )
    assert undrawn.found == {PLAYBACK: (2, 0)}
    assert not list(root.iter("direction"))


@pytest.mark.parametrize("words", ["~ freely ~", "C7,0", "~", "C7", "ca. ~120", "~~~"])
def test_other_words_stay(words: str) -> None:
    root, undrawn = _extract(part_xml(_TUNE, signs={0: _direction(f"<words>{words}</words>")}))
    assert [e.text for e in root.iter("words")] == [words]
    assert not undrawn.found


def test_what_stands_beside_playback_words_stays() -> None:
    both = (
        "<direction><direction-type><words>~C7,0</words></direction-type><direction-type>"
        "<words>solo</words></direction-type></direction>"
    )
    root, _ = _extract(part_xml(_TUNE, signs={0: both}))
    assert [e.text for e in root.iter("words")] == ["solo"]


def test_places_are_counted_and_the_first_is_named() -> None:
    frame = (
        "<harmony><root><root-step>C</root-step></root><kind>major</kind><frame>"
        "<frame-strings>6</frame-strings>"
        "<frame-frets>4</frame-frets><frame-note><string>2</string><fret>1</fret>"
        "</frame-note></frame></harmony>"
    )
    swing = (
        "<metronome><metronome-note><metronome-type>eighth</metronome-type></metronome-note>"
        "</metronome>"
    )
    xml = part_xml(_TUNE, signs={4: frame, 5: frame, 6: _direction(swing)}) + (
        '<measure number="3"><note><rest/><duration>96</duration><voice>1</voice><lyric>'
        "<text>hm</text></lyric></note></measure>"
    )
    _, undrawn = _extract(xml)
    assert undrawn.found == {CHORD_FRAMES: (2, 1), SWING: (1, 1), LYRIC_ON_REST: (1, 2)}


def test_a_segno_on_a_bar_line_becomes_a_sign_of_its_own() -> None:
    """MusicXML 4.0 lets a bar line hold segno and coda; the engraver reads them only in
    directions."""
    xml = part_xml(_TUNE).replace(
        '<measure number="2">', '<measure number="2"><barline location="left"><segno/></barline>'
    )
    root, _ = _extract(xml)
    second = root.findall("part/measure")[1]
    assert [child.tag for child in second][:2] == ["direction", "barline"]
    assert second.find("direction/direction-type/segno") is not None


def test_plungers_and_strings_are_given_as_what_they_look_like() -> None:
    xml = part_xml(_TUNE)
    for sign in (
        "<open/>",
        "<harmon-mute><harmon-closed>yes</harmon-closed></harmon-mute>",
        "<string>4</string>",
    ):
        xml = xml.replace(
            "</type></note>",
            f"</type><notations><technical>{sign}</technical></notations></note>",
            1,
        )
    root, undrawn = _extract(xml)
    assert [e[0].tag for e in root.iter("technical")] == ["open-string", "stopped", "fingering"]
    assert shape_of((root.findtext(".//fingering") or " ")[0]) == "circle"
    assert not undrawn.found


def _tab(frets: bool, pitch: str = "") -> str:
    fretted = "<notations><technical><string>1</string><fret>0</fret></technical></notations>"
    first = (
        "<clef><sign>TAB</sign><line>5</line></clef><staff-details><staff-lines>6</staff-lines>"
        "</staff-details>"
    )
    xml = (
        part_xml(_TUNE)
        .replace("</attributes>", f"{first}</attributes>")
        .replace("</type></note>", f"</type>{fretted}</note>")
    )
    return xml if frets else xml.replace(fretted, "", 1)


def test_tablature_stays_where_every_note_has_a_fret() -> None:
    root, undrawn = _extract(_tab(True))
    assert root.findtext(".//clef/sign") == "TAB"
    assert len(list(root.iter("fret"))) == 8
    assert not undrawn.found


@pytest.mark.parametrize(("clef", "sign"), [("G2", "G"), ("F4", "F")])
def test_tablature_without_all_frets_is_printed_as_notes(clef: str, sign: str) -> None:
    root, undrawn = _extract(_tab(False), clef)
    assert [e.text for e in root.iter("sign")] == [sign]
    assert root.findtext(".//clef/clef-octave-change") == "-1"
    assert root.find(".//staff-details/staff-lines") is None
    assert undrawn.found == {FRETS: (7, 0)}
    assert len(list(root.iter("pitch"))) == 8


def test_restated_clefs_keys_and_meters_go_and_changes_stay() -> None:
    def state(fifths: int, beats: int = 4, sign: str = "G") -> str:
        return (
            f"<attributes><key><fifths>{fifths}</fifths></key><time><beats>{beats}</beats>"
            "<beat-type>4</beat-type></time>"
            f"<clef><sign>{sign}</sign><line>2</line></clef></attributes>"
        )

    rest = '<note><rest measure="yes"/><duration>96</duration><voice>1</voice></note>'
    bars = [state(0), state(0), "", state(2), state(2), state(0), state(0, 3), state(0, 4, "C")]
    xml = part_xml(_TUNE) + "".join(
        f'<measure number="{n}">{a}{rest}</measure>' for n, a in enumerate(bars, 3)
    )
    root, _ = _extract(xml)
    said = [
        [str(e.tag) for e in measure.iterfind("attributes/*")]
        for measure in root.findall("part/measure")
    ]
    assert said[0] == ["divisions", "key", "time", "clef"]
    assert said[1:] == [[], [], [], [], ["key"], [], ["key"], ["time"], ["time", "clef"]]


def test_staves_of_a_part_are_held_apart() -> None:
    """A clef restated on the lower staff is not compared with that of the upper one."""
    note = (
        "<note><pitch><step>C</step><octave>4</octave></pitch><duration>96</duration>"
        "<voice>1</voice><type>whole</type><staff>1</staff></note>"
    )
    clefs = (
        '<clef number="1"><sign>G</sign><line>2</line></clef><clef number="2"><sign>{}</sign>'
        "<line>4</line></clef>"
    )
    bars = [
        f"<attributes><divisions>24</divisions><staves>2</staves>{clefs.format('F')}</attributes>",
        f"<attributes>{clefs.format('F')}</attributes>",
        f"<attributes>{clefs.format('C')}</attributes>",
    ]
    root, _ = _extract(
        "".join(f'<measure number="{n}">{a}{note}</measure>' for n, a in enumerate(bars, 1))
    )
    assert [len(m.findall("attributes/clef")) for m in root.findall("part/measure")] == [2, 0, 1]


@pytest.mark.parametrize(
    ("ticks", "values"), [(24, ["quarter"]), (36, ["quarter."]), (60, ["half", "eighth"]), (96, [])]
)
def test_rests_of_a_pickup_bar_have_their_length(ticks: int, values: list[str]) -> None:
    """In a pick-up of one beat stands a quarter rest, not a whole one (common practice, no
    source)."""
    rest = f'<note><rest measure="yes"/><duration>{ticks}</duration><voice>1</voice></note>'
    pickup = (
        '<measure number="0" implicit="yes"><attributes><divisions>24</divisions><time>'
        "<beats>4</beats><beat-type>4</beat-type></time>"
        f"</attributes>{rest}</measure>"
    )
    root, _ = _extract(pickup + part_xml(_TUNE))
    notes = root.findall("part/measure")[0].findall("note")
    assert [
        (n.findtext("type") or "") + "." * len(n.findall("dot"))
        for n in notes
        if n.find("type") is not None
    ] == values
    assert sum(int(n.findtext("duration") or 0) for n in notes) == ticks


def test_dashes_join_the_words_that_they_follow() -> None:
    """As files write them: the words over one note, the dashes over the next."""
    signs = {
        1: _direction("<words>rit.</words>"),
        2: _direction("<dynamics><pp/></dynamics>") + _direction('<dashes type="start"/>'),
        5: _direction('<dashes type="stop"/>'),
    }
    root, undrawn = _extract(part_xml(_TUNE, signs=signs))
    (words,) = [d for d in root.iter("direction") if d.find("direction-type/words") is not None]
    assert words.find("direction-type/dashes") is not None
    assert not undrawn.found


def test_dashes_without_words_are_said_and_not_given_to_a_dynamic() -> None:
    signs = {1: _direction("<dynamics><pp/></dynamics>"), 2: _direction('<dashes type="start"/>')}
    root, undrawn = _extract(part_xml(_TUNE, signs=signs))
    assert undrawn.found == {DASHES: (1, 0)}
    assert root.find(".//dashes") is None


def test_a_tempo_said_on_both_staves_is_printed_once() -> None:
    tempo = "<metronome><beat-unit>quarter</beat-unit><per-minute>60</per-minute></metronome>"
    both = "".join(
        f"<direction><direction-type>{tempo}</direction-type><staff>{n}</staff></direction>"
        for n in (1, 2)
    )
    xml = part_xml(_TUNE, signs={0: both}).replace(
        "<divisions>24</divisions>", "<divisions>24</divisions><staves>2</staves>", 1
    )
    root, _ = _extract(
        xml.replace("<staves>2</staves>", "", 1).replace("</time>", "</time><staves>2</staves>", 1)
    )
    assert len(list(root.iter("metronome"))) == 1


@pytest.mark.parametrize(
    ("given", "height", "side"),
    [
        ("", "30", "above"),
        ("", "-62.5", "below"),
        ("", "-20", None),  # between the lines
        ("", "", None),
        ("", "far", None),
        (' placement="below"', "30", "below"),  # said is said
        (' directive="yes"', "", "above"),
    ],
)
def test_a_direction_stands_on_the_side_where_the_file_has_it(
    given: str, height: str, side: str | None
) -> None:
    """MusicXML 4.0, default-y: from the top line of the staff, upwards. 299 words, dynamics and
    hairpins of the music21 corpus say it in no other way; all of them were printed below."""
    at = f' default-y="{height}"' if height else ""
    words = (
        f"<direction{given}><direction-type><words{at}>pizz.</words></direction-type></direction>"
    )
    root, _ = _extract(part_xml(_TUNE, signs={0: words}))
    (direction,) = root.iter("direction")
    assert direction.get("placement") == side


def test_a_heap_of_words_at_one_place_is_written_as_one_text() -> None:
    """Found on scanned madrigals of the music21 corpus: thirty words one under the other at the
    first note, two pages tall. What stands over notes of its own, or is one of a few, stays."""
    words = [
        f'<direction placement="below"><direction-type><words>{word}</words></direction-type>'
        "</direction>"
        for word in ("pe-", "ne-", "tra", "ta,", "la")
    ]
    for count, said in ((5, ["pe- ne- tra ta, la"]), (4, ["pe-", "ne-", "tra", "ta,"])):
        measure = etree.fromstring(f"<measure>{''.join(words[:count])}<note/></measure>")
        reword(measure)
        assert [w.text for w in measure.iter("words")] == said
    measure = etree.fromstring(f"<measure>{'<note/>'.join(words)}<note/></measure>")
    reword(measure)
    assert len(list(measure.iter("words"))) == 5


def test_words_of_two_staves_are_no_heap() -> None:
    """Three over each of a piano's staves, at one place."""
    words = "".join(
        "<direction placement='above'><direction-type><words>a</words></direction-type>"
        f"<staff>{staff}</staff></direction>"
        for staff in (1, 1, 1, 2, 2, 2)
    )
    measure = etree.fromstring(f"<measure>{words}<note/></measure>")
    reword(measure)
    assert len(list(measure.iter("words"))) == 6


def test_a_tempo_that_stands_twice_at_one_place_is_printed_once() -> None:
    """Found on a rag of the music21 corpus. Another tempo, and the same one later, stay."""

    def tempo(beats: int) -> str:
        return (
            "<direction><direction-type><metronome><beat-unit>quarter</beat-unit>"
            f"<per-minute>{beats}</per-minute></metronome></direction-type></direction>"
        )

    measure = etree.fromstring(
        f"<measure>{tempo(100)}{tempo(100)}{tempo(90)}<note/>{tempo(100)}<note/></measure>"
    )
    reword(measure)
    assert [e.text for e in measure.iter("per-minute")] == ["100", "90", "100"]
