"""Mutated files, 300 of them: refused with a reason or carried through every stage, never an
uncaught exception, never a hang, never a changed input. `python tests/fuzz.py --cases N` runs any
number."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path


def test_three_hundred_mutated_files() -> None:
    fuzz = Path(__file__).with_name("fuzz.py")
    done = subprocess.run(
        [sys.executable, str(fuzz), "--cases", "300", "--seed", "7000"],
        capture_output=True,
        text=True,
        timeout=600,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-2000:]


def test_numbers_that_would_hang_or_crash(tmp_path: Path) -> None:
    """Found by fuzzing: huge exponents, superscript digits, absurd tempo, a pipe where a file
    should be."""
    import os

    import pytest
    from build import part_xml, score_xml

    from sectionprep import preparing, stages
    from sectionprep.errors import DestinationError, NotAScore, UnreadableFile
    from sectionprep.outputs.files import write_file
    from sectionprep.results import Options

    good = score_xml(
        {"Alto Sax 1": part_xml("C4/4 D4/4 E4/2"), "Alto Sax 2": part_xml("C4/4 D4/4 E4/2")}
    )
    path = tmp_path / "a.musicxml"
    for old, new in (
        (b"<divisions>24", b"<divisions>1e999999999"),
        (b"<duration>48", b"<duration>1e5000"),
    ):
        path.write_bytes(good.replace(old, new))
        with pytest.raises(NotAScore):
            stages.read_score(path, Options())
    path.write_bytes(good.replace(b"<voice>1", "<voice>\u00b2".encode()))
    assert stages.read_score(path, Options()).chart.lines[0]
    tempo = (
        b"<direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>"
        + b"9" * 400
        + b"</per-minute></metronome></direction-type></direction>"
    )
    path.write_bytes(good.replace(b"<note>", tempo + b"<note>", 1))
    done = preparing.prepare(path, tmp_path / "out", Options())
    assert done.marked.score.chart.tempo is None
    assert done.pages == 2
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(UnreadableFile):
        stages.read_score(tmp_path / "pipe", Options())
    with pytest.raises(DestinationError):
        write_file(tmp_path / "pipe", b"x")


def test_a_part_that_cannot_be_drawn_stops_nobody_else(tmp_path: Path) -> None:
    from build import part_xml, score_xml

    from sectionprep import stages
    from sectionprep.outputs.parts.part_job import SheetStyle
    from sectionprep.outputs.parts.sheets import Basis, draw_all, part_jobs
    from sectionprep.results import Options

    path = tmp_path / "a.musicxml"
    path.write_bytes(
        score_xml(
            {"Alto Sax 1": part_xml("C4/4 D4/4 E4/2"), "Alto Sax 2": part_xml("C4/4 D4/4 E4/2")}
        )
    )
    score = stages.read_score(path, Options())
    jobs = list(
        part_jobs(Basis(document=score.document, chart=score.chart), tmp_path, SheetStyle())
    )
    from dataclasses import replace

    reports = draw_all([replace(jobs[0], xml=b"<score-partwise/>"), jobs[1]])
    assert reports[0].failed
    assert reports[1].pages == 1
