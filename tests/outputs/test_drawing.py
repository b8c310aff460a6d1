"""How sheets and study pages come to be drawn: by other processes, in lines that a reader would
choose."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from build import document

from sectionprep.drawing.engraver.toolkit import EngravingFailed, load, quiet
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.parts.part_job import PartJob, SheetStyle
from sectionprep.outputs.parts.sheets import Basis, draw_all, part_jobs


@pytest.mark.parametrize(("letter_at", "lines"), [(None, [4, 4]), (3, [3, 5]), (5, [5, 3])])
def test_lines_of_a_study_page_are_balanced_and_begin_with_sections(
    letter_at: int | None, lines: list[int]
) -> None:
    """Eight bars that move together: four and four, or a new line where a section begins (J. Gates:
    sections start at the left)."""
    from sectionprep.drawing.engraver.excerpts import engrave_bars
    from sectionprep.drawing.scene.drawing import read_systems
    from sectionprep.musicxml.copies.excerpt import extract_excerpt
    from sectionprep.outputs.director.staves import pick_staff

    tune = "D5/8 E5/8 F5/8 G5/8 A5/4 G5/4 " * 8
    d = document({"Alto Sax 1": tune, "Tenor Sax 1": tune})
    if letter_at is not None:
        letter = b"<direction><direction-type><rehearsal>A</rehearsal></direction-type></direction>"
        bars = d.data.split(b"<measure ")
        for n in (1 + letter_at, 9 + letter_at):
            first, tag, rest = bars[n].partition(b">")
            bars[n] = first + tag + letter + rest
        d = parse_document(d.path, b"<measure ".join(bars))
    c = read_chart(d)
    excerpt = extract_excerpt(
        d,
        [pick_staff(c, n, "sounding", 0, c.bars[-1].end, label=f"Part {n}") for n in (0, 1)],
        0,
        7,
    )
    systems, _ = read_systems(engrave_bars(excerpt, 190, 5.0, "x"))
    assert [len(system.measures) for system in systems] == lines


class _Deadly:
    """Brings down the process that takes it up, as a bar might that the engraver does not
    survive."""

    def __reduce__(self) -> tuple[object, tuple[int]]:
        return os._exit, (9,)


def test_a_part_that_brings_its_process_down_is_named_and_all_others_are_drawn(
    tmp_path: Path,
) -> None:
    """Whether it goes down while the next parts are still being cut out of the score, or later."""
    d = document(
        dict.fromkeys(
            ("Alto Sax 1", "Alto Sax 2", "Tenor Sax 1", "Baritone Sax"), "C5/4 D5/4 E5/4 F5/4"
        )
    )
    jobs = list(part_jobs(Basis(document=d, chart=read_chart(d)), tmp_path, SheetStyle()))
    deadly = replace(jobs[0], overlays={"n0": (_Deadly(),)})  # type: ignore[dict-item]

    def slowly() -> Iterator[PartJob]:
        yield deadly
        time.sleep(0.5)
        yield from jobs[1:]

    for coming in (slowly(), [deadly, *jobs[1:]]):
        reports = draw_all(coming)
        assert [bool(report.failed) for report in reports] == [True, False, False, False]
        assert "Alto Sax 1" in reports[0].failed
        assert all(report.path.exists() for report in reports[1:])


def test_no_process_and_no_thread_is_left_to_end_by_itself(tmp_path: Path) -> None:
    """A pool that nobody waits for can lose its pipe while Python ends: a traceback, "Bad file
    descriptor", in a few of a hundred runs (measured: 3 of 150; none of 150 with waiting)."""
    import threading
    from multiprocessing import active_children

    before, threads = set(active_children()), set(threading.enumerate())
    d = document({"Alto Sax 1": "C5/1"})
    draw_all(part_jobs(Basis(document=d, chart=read_chart(d)), tmp_path, SheetStyle()))
    assert set(active_children()) <= before
    assert set(threading.enumerate()) <= threads


def test_the_engraver_finds_its_data_in_a_thread_that_has_not_loaded_it() -> None:
    """A page in a browser is drawn by other threads than the one that met the engraver first, and
    what they start draws too. Run apart, since a process meets the engraver once."""
    code = (
        "import threading\n"
        "from sectionprep.drawing.engraver.toolkit import toolkit\n"
        "first = threading.Thread(target=lambda: __import__('verovio').toolkit())\n"
        "first.start(); first.join()\n"
        "tool = toolkit()\n"
        "assert tool.getResourcePath().endswith('data'), tool.getResourcePath()\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_long_bars_are_counted_together() -> None:
    """Nine bars of up to 577 notes, each within its limit, took 11 to 13 seconds of the engraver
    (found by fuzzing)."""

    def bars(count: int) -> str:
        return "".join(f'<measure number="{n}">{"<note/>" * 350}</measure>' for n in range(count))

    with pytest.raises(EngravingFailed, match="7 of its bars hold 200 notes or more, 2,450 in all"):
        load(bars(7), {}, "Alto Sax 1", list)
    with quiet(), pytest.raises(EngravingFailed, match="cannot be drawn"):
        load(bars(6), {}, "Alto Sax 1", list)  # counted, and left to the engraver
