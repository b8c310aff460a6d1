"""Facts that anyone can check in published scores: bars in unison or octaves in quartets of the
music21 corpus, and a wrong note in one encoding (computed by us; bar
numbers are those of the encodings)."""

from __future__ import annotations

from pathlib import Path

import pytest

from sectionprep.checks import run_checks
from sectionprep.music.chart import Chart
from sectionprep.musicxml.document import open_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.passages import Together, find_passages

FACTS = {
    "beethoven/opus18no1/movement3": [(86, 89), (118, 121)],
    "beethoven/opus18no1/movement4": [(28, 30), (32, 33), (262, 267)],
    "beethoven/opus133": [(1, 2), (5, 16), (666, 681)],
    "beethoven/opus59no1/movement2": [(62, 67), (298, 303)],
    "beethoven/opus59no3/movement4": [(384, 387), (423, 424)],
    "beethoven/opus74": [(441, 448), (613, 620), (792, 798), (1105, 1109)],
    "haydn/opus74no1/movement1": [(55, 56), (149, 151)],
    "mozart/k155/movement3": [(99, 102)],
    "mozart/k156/movement1": [(64, 67), (173, 176)],
    "mozart/k80/movement4": [(43, 46)],
}


def _corpus(name: str) -> Path:
    import music21

    return Path(music21.__file__).parent / "corpus" / f"{name}.mxl"


def _read(name: str) -> tuple[Chart, Together]:
    chart = read_chart(open_document(_corpus(name)))
    return chart, find_passages(chart)


@pytest.mark.parametrize("name", FACTS)
def test_octave_passages_of_quartets_are_found(name: str) -> None:
    chart, together = _read(name)
    numbers = {bar.number: bar.index for bar in reversed(chart.bars)}
    for first, last in FACTS[name]:
        start, end = chart.bars[numbers[str(first)]].start, chart.bars[numbers[str(last)]].end
        inside = [
            p
            for p in together.passages
            if p.texture in ("unison", "octaves")
            and p.start <= start + 2 * chart.resolution
            and p.end >= end - 3 * chart.resolution
            and len(p.parts) == 4
        ]
        covered = inside or [
            p
            for p in together.passages
            if p.texture in ("unison", "octaves")
            and len(p.parts) == 4
            and p.start < end
            and start < p.end
        ]
        assert covered, (name, first, last)
        if last - first >= 2:
            length = sum(min(p.end, end) - max(p.start, start) for p in covered)
            assert length >= 0.75 * (end - start), (name, first, last)


def test_nothing_is_called_unison_that_is_not() -> None:
    for name in ("haydn/opus74no1/movement1", "mozart/k156/movement1"):
        chart, together = _read(name)
        lines = [{t.onset: t.pitch for t in line} for line in chart.lines]
        for passage in together.passages:
            if passage.texture == "soli":
                continue
            same = total = 0
            for tick in passage.attacks:
                pitches = [lines[p][tick] for p in passage.parts if tick in lines[p]]
                total += 1
                same += len({p % 12 for p in pitches}) == 1
            assert same / total >= 0.75, (name, passage.id)


def test_the_wrong_note_in_opus_18_no_1_is_found() -> None:
    """Bar 11: the viola's last note is G3 in this encoding and F3 in the other; it breaks the
    octaves."""
    chart, together = _read("beethoven/opus18no1/movement1")
    found = [
        f
        for f in run_checks(chart, together)
        if f.check == "wrong-note" and chart.place(f.tick).bar == "11"
    ]
    assert [(chart.parts[f.part].name, "F3" in f.message) for f in found] == [("Viola", True)]


def test_opening_of_opus_18_no_1() -> None:
    chart, together = _read("beethoven/opus18no1/movement1")
    first, *_ = together.passages
    assert first.texture == "octaves"
    assert first.parts == (0, 1, 2, 3)
    assert (chart.place(first.start).bar, chart.end_place(first.end).bar) == ("1", "4")
