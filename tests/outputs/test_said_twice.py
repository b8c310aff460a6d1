"""Signs that a file has twice at one place lie over each other on paper; they are drawn once."""

from __future__ import annotations

from pathlib import Path

from build import part_xml, score_xml
from lxml import etree

from sectionprep.drawing.engraver.excerpts import engrave_bars
from sectionprep.drawing.engraver.twice import said_once
from sectionprep.drawing.scene.drawing import read_systems
from sectionprep.musicxml.copies.excerpt import extract_excerpt
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.director.staves import pick_staff
from sectionprep.outputs.parts.laying_out import laid_out
from sectionprep.outputs.parts.part_job import SheetStyle
from sectionprep.outputs.parts.sheets import Basis, part_jobs

_MEI = 'xmlns="http://www.music-encoding.org/ns/mei"'


def _measure(inner: str, attributes: str = "") -> etree._Element:
    return etree.fromstring(f"<measure {_MEI} {attributes}>{inner}</measure>")


def _left(measure: etree._Element) -> list[str]:
    said_once(measure)
    return [etree.QName(child).localname for child in measure]


def test_a_chord_symbol_and_a_dynamic_are_drawn_once() -> None:
    measure = _measure(
        '<harm staff="1" tstamp="3">D</harm><harm staff="1" tstamp="3">D</harm>'
        '<dynam staff="1" tstamp="1" place="below">p</dynam>'
        '<dynam staff="1" tstamp="1" place="below">p</dynam>'
    )
    assert _left(measure) == ["harm", "dynam"]


def test_a_dynamic_that_lies_on_another_is_drawn_once_on_the_directors_pages() -> None:
    """Found in a quartet: there one is not told from the other, and one of them was put aside."""
    loud = "<direction><direction-type><dynamics><sf/></dynamics></direction-type></direction>"
    for signs, found in (({0: loud}, 1), ({0: loud * 2}, 1), ({0: loud, 1: loud}, 2)):
        score = score_xml({"Trumpet 1": part_xml("C5/2 D5/2", signs=signs)})
        d = parse_document(Path("x.musicxml"), score)
        pick = pick_staff(read_chart(d), 0, "sounding", 0, 1, label="T")
        drawn = engrave_bars(extract_excerpt(d, [pick], 0, 0), 120, 4.5, "x")
        (line,), _ = read_systems(drawn)
        assert len({i.owner for i in line.ink if "dynam" in i.classes}) == found


def test_what_differs_in_place_beat_staff_or_word_stays() -> None:
    measure = _measure(
        '<harm staff="1" tstamp="3">D</harm><harm staff="1" tstamp="3">E</harm>'
        '<harm staff="1" tstamp="4">D</harm><harm staff="2" tstamp="3">D</harm>'
        '<dynam staff="1" tstamp="1" place="above">p</dynam>'
        '<dynam staff="1" tstamp="1" place="below">p</dynam>'
    )
    assert len(_left(measure)) == 6


def test_of_two_hairpins_that_begin_as_one_the_longer_is_drawn() -> None:
    measure = _measure(
        '<hairpin staff="1" form="cres" tstamp="3.8155" tstamp2="0m+6" place="below"/>'
        '<hairpin staff="1" form="cres" tstamp="3.8452" tstamp2="1m+2" place="below"/>'
        '<hairpin staff="1" form="dim" tstamp="3.8155" tstamp2="0m+6" place="below"/>'
    )
    assert _left(measure) == ["hairpin", "hairpin"]
    assert measure[0].get("tstamp2") == "1m+2"
    assert measure[1].get("form") == "dim"


def test_two_rests_of_the_bar_are_one_and_the_bar_is_full() -> None:
    measure = _measure("<staff><layer><mRest/><mRest/></layer></staff>", 'metcon="false"')
    assert _left(measure) == ["staff"]
    assert len(measure[0][0]) == 1
    assert measure.get("metcon") is None


def test_a_rest_of_each_of_two_players_stays() -> None:
    measure = _measure(
        "<staff><layer><mRest/></layer><layer><mRest/></layer></staff>", 'metcon="false"'
    )
    said_once(measure)
    assert len(measure[0]) == 2
    assert measure.get("metcon") == "false"


def test_a_bar_of_rest_of_uncertain_length_is_as_wide_as_others(tmp_path: Path) -> None:
    """The lengths in a file may be rounded: a third of a quarter is no whole number."""
    short = "".join(
        f'<measure number="{n}"><note>{inner}</note></measure>'
        for n, inner in enumerate(
            (
                "<pitch><step>C</step><octave>5</octave></pitch><duration>49</duration>"
                "<type>half</type><dot/>",
                '<rest measure="yes"/><duration>49</duration>',
                "<pitch><step>C</step><octave>5</octave></pitch><duration>49</duration>"
                "<type>half</type><dot/>",
            ),
            start=1,
        )
    )
    head = (
        "<attributes><divisions>17</divisions><time><beats>6</beats><beat-type>8</beat-type>"
        "</time><clef><sign>G</sign><line>2</line></clef></attributes>"
    )
    score = (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Viola</part-name>'
        f'</score-part></part-list><part id="P1">{short}</part></score-partwise>'
    ).replace('<measure number="1">', f'<measure number="1">{head}')
    document = parse_document(Path("x.musicxml"), score.encode())
    (job,) = part_jobs(Basis(document=document, chart=read_chart(document)), tmp_path, SheetStyle())
    widths = [right - left for _, left, right in laid_out(job).engraving.systems[0].bar_edges]
    assert len(widths) == 3
    assert min(widths) > 1000  # a centimetre
