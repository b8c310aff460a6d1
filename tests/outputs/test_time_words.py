"""What a drummer counts by over slashes. Common practice, no source: every fourth bar of a long
stretch is numbered, a rest of the band is said, and who solos."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from build import part_xml, score_xml
from test_rhythm_cues import _NAMES, PUNCH, _slashes

from sectionprep import stages
from sectionprep.drawing.scene.ink import Text
from sectionprep.outputs.parts.laying_out import laid_out
from sectionprep.outputs.parts.part_job import SheetStyle
from sectionprep.outputs.parts.rhythm_choice import rhythm_cues, worth_catching
from sectionprep.outputs.parts.sheet import draw_part
from sectionprep.outputs.parts.sheets import Basis, part_jobs
from sectionprep.outputs.parts.time_words import may_close, time_words
from sectionprep.results import Options, Score

_REST = "r/1 "
_NOTES = "C5/1 "


def _words(text: str) -> str:
    kind = f"<direction-type><words>{text}</words></direction-type>"
    return f'<direction placement="above">{kind}</direction>'


def _score(folder: Path, line: str, bars: int, drums: str = "", **signs: str) -> Score:
    """Six horns with one line; signs: words by the note of the first trumpet, as n0, n1 ..."""
    at = {int(name[1:]): _words(text) for name, text in signs.items()}
    horns = {name: part_xml(line, signs=at if n == 0 else None) for n, name in enumerate(_NAMES)}
    path = folder / "a.musicxml"
    path.write_bytes(score_xml({**horns, "Drums": drums or _slashes(bars)}))
    return stages.read_score(path, Options())


def _said(score: Score, cued: frozenset[int] = frozenset()) -> dict[str, str]:
    """Words by printed bar number."""
    chart = score.chart
    drums = next(part for part in chart.parts if part.label == "Drums")
    bars = {note.address: chart.bars[note.bar].number for note in drums.notes}
    return {bars[address]: text for address, text in time_words(chart, drums, cued).items()}


def test_every_fourth_bar_of_a_long_stretch_is_counted(tmp_path: Path) -> None:
    assert _said(_score(tmp_path, _NOTES * 13, 13)) == {"4": "(4)", "8": "(8)", "12": "(12)"}


def test_a_short_stretch_is_not(tmp_path: Path) -> None:
    assert _said(_score(tmp_path, _NOTES * 7, 7)) == {}


def test_a_figure_of_the_band_ends_a_stretch(tmp_path: Path) -> None:
    """Bar 4 is a cue: three bars before it are too few, nine after it are counted from there."""
    said = _said(_score(tmp_path, _NOTES * 13, 13), frozenset({3}))
    assert said == {"8": "(4)", "12": "(8)"}


def test_counting_begins_anew_at_a_letter(tmp_path: Path) -> None:
    letter = "<direction><direction-type><rehearsal>A</rehearsal></direction-type></direction>"
    drums = _slashes(16).replace('<measure number="7">', f'<measure number="7">{letter}')
    said = _said(_score(tmp_path, _NOTES * 16, 16, drums))
    assert said == {"10": "(4)", "14": "(8)"}


def test_a_rest_of_the_band_is_said_where_it_begins(tmp_path: Path) -> None:
    said = _said(_score(tmp_path, _NOTES * 2 + _REST * 2 + _NOTES + _REST + _NOTES, 7))
    assert said == {"3": "band out"}  # one bar of rest is not worth a word


def test_who_solos_is_said_and_how_long(tmp_path: Path) -> None:
    said = _said(_score(tmp_path, _NOTES * 6, 6, n1="Solo - 2 choruses", n4="solo open"))
    assert said == {"2": "Trumpet 1 solo, 2 choruses", "5": "Trumpet 1 solo, open"}


def test_soli_and_the_end_of_a_solo_are_no_solo(tmp_path: Path) -> None:
    assert _said(_score(tmp_path, _NOTES * 6, 6, n1="Soli", n4="solo end")) == {}


def test_a_part_with_chord_symbols_is_told_of_solos_alone(tmp_path: Path) -> None:
    chord = "<harmony><root><root-step>C</root-step></root><kind>major</kind></harmony>"
    drums = _slashes(12).replace('<measure number="2">', f'<measure number="2">{chord}')
    line = _NOTES * 2 + _REST * 4 + _NOTES * 6
    assert _said(_score(tmp_path, line, 12, drums, n1="Solo")) == {"2": "Trumpet 1 solo"}


def test_horns_are_told_nothing_of_it(tmp_path: Path) -> None:
    score = _score(tmp_path, _NOTES * 12, 12)
    assert all(not time_words(score.chart, part, ()) for part in score.chart.parts[:-1])


def test_it_stands_on_the_sheet_and_goes_with_the_cues(tmp_path: Path) -> None:
    score = _score(tmp_path, PUNCH * 2 + _NOTES * 10, 14)
    drums = score.chart.parts[-1]
    caught = worth_catching(score.chart, score.together)
    cued = {cue.bar for cue in rhythm_cues(score.chart, drums, caught)}
    for style, there in ((SheetStyle(), True), (SheetStyle(rhythm_cues=False), False)):
        *_, job = part_jobs(
            Basis.of_score(score),
            tmp_path,
            style,
        )
        assert (b"<words>(8)</words>" in job.xml) is there
        report = draw_part(job)
        assert report.differences == ()
    assert cued <= {0, 1, 2, 3}


# -- "play 8" --------------------------------------------------------------------------------------

_LETTER = "<direction><direction-type><rehearsal>{}</rehearsal></direction-type></direction>"


def _closed(score: Score, cued: frozenset[int] = frozenset()) -> list[tuple[str, int]]:
    """Printed number of the first bar, and length, of what may be closed up."""
    chart = score.chart
    drums = next(part for part in chart.parts if part.label == "Drums")
    return [(chart.bars[first].number, n) for first, n in may_close(chart, drums, cued)]


@pytest.mark.parametrize(
    ("bars", "closed"),
    [
        (7, []),
        (8, [("1", 8)]),
        (11, [("1", 8)]),  # the other three stay
        (20, [("1", 8), ("9", 8), ("17", 4)]),
    ],
)
def test_long_stretches_of_time_may_close_up_in_eights(
    tmp_path: Path, bars: int, closed: list[tuple[str, int]]
) -> None:
    assert _closed(_score(tmp_path, _NOTES * bars, bars)) == closed


def test_a_figure_in_them_is_never_closed_up(tmp_path: Path) -> None:
    assert _closed(_score(tmp_path, _NOTES * 20, 20), frozenset({9})) == [("1", 8), ("11", 8)]


def _drum_sheet(
    folder: Path, bars: int, style: SheetStyle, inside: str = "", instead: str = ""
) -> Any:
    """Drums with a letter at every sixteenth bar under held notes. inside: stands in bar 21 too;
    instead: of its slashes."""
    drums = _slashes(bars)
    if instead:
        before, number, after = drums.partition('<measure number="21">')
        drums = f"{before}{number}{instead}{after[after.index('</measure>') :]}"
    for n in range(0, bars, 16):
        mark = f'<measure number="{n + 1}">'
        drums = drums.replace(mark, mark + _LETTER.format(n // 16 + 1))
    drums = drums.replace('<measure number="21">', f'<measure number="21">{inside}')
    score = _score(folder, _NOTES * bars, bars, drums)
    return laid_out([*part_jobs(Basis.of_score(score), folder, style)][-1])


def test_a_drummer_gets_play_8_where_it_saves_a_page_and_else_every_bar(tmp_path: Path) -> None:
    """240 bars of time took four pages; 96 lie open on two. Every bar is drawn or stood for, and
    what is drawn is proved. Who wants no cues gets no such bars either."""
    for bars, style, closed in (
        (240, SheetStyle(), True),
        (96, SheetStyle(), False),
        (240, SheetStyle(rhythm_cues=False), False),
    ):
        sheet = _drum_sheet(tmp_path, bars, style)
        drawn = sheet.engraving
        assert any(bar.time for bar in drawn.bars) == closed
        assert sum(bar.bars for bar in drawn.bars) == bars
        assert not drawn.proved.differences
        said = [
            ink.shape.words
            for system in drawn.systems
            for ink in system.ink
            if isinstance(ink.shape, Text) and ink.shape.words.startswith("play")
        ]
        assert said == ["play 8"] * (bars // 8 if closed else 0)
        assert (len(sheet.fit.pages.starts) > 2) == (bars == 240 and not closed)


def _slash(ticks: int, kind: str, more: str = "") -> str:
    return (
        "<note><pitch><step>B</step><octave>4</octave></pitch>"
        f"<duration>{ticks}</duration><voice>1</voice><type>{kind}</type><stem>none</stem>"
        f"<notehead>slash</notehead>{more}</note>"
    )


@pytest.mark.parametrize(
    "bar",
    [
        _slash(48, "half") + _slash(24, "quarter") * 2,
        _slash(24, "quarter") * 3
        + _slash(24, "quarter", "<notations><articulations><accent/></articulations></notations>"),
        _slash(24, "quarter", "<lyric><text>hit</text></lyric>") + _slash(24, "quarter") * 3,
    ],
)
def test_only_bars_that_are_written_alike_close_up(tmp_path: Path, bar: str) -> None:
    """Slashes may be written as a rhythm, be marked, or carry a word: bar 21 is printed, and so
    are the others of its eight."""
    drawn = _drum_sheet(tmp_path, 240, SheetStyle(), instead=bar).engraving
    assert [bar.index for bar in drawn.bars if not bar.time] == list(range(16, 24))
    assert not drawn.proved.differences


def test_bars_with_a_sign_of_their_own_stay_open(tmp_path: Path) -> None:
    """A dynamic in bar 21: bars 17 to 24 are printed, all others closed up."""
    loud = "<direction><direction-type><dynamics><f/></dynamics></direction-type></direction>"
    drawn = _drum_sheet(tmp_path, 240, SheetStyle(), loud).engraving
    assert [bar.index for bar in drawn.bars if not bar.time] == list(range(16, 24))
    assert not drawn.proved.differences
