"""Undoing a marked score gives the director's own bytes back, or is refused with a remedy. Breaks
when an edited score is undone into something that was never anybody's."""

from __future__ import annotations

import io
import json
import zipfile
from pathlib import Path
from typing import Any

import pytest
from build import document

from sectionprep import stages
from sectionprep.errors import UnusableSettings
from sectionprep.outputs.reports.marked_score import undo
from sectionprep.results import Options

TUNE = "r/8 D5/8 F5/8 A5/8 C6/4> A5/8 F5/8 G5/4 E5/4 r/8 D5/8 F5/8> E5/8 E5/4 D5/8 C5/8 B4/4 r/4"


@pytest.fixture
def written(tmp_path: Path) -> tuple[Path, Path, bytes]:
    """Marked score, its record, and the original's bytes."""
    source = tmp_path / "a.musicxml"
    source.write_bytes(document({"Alto Sax 1": TUNE, "Alto Sax 2": TUNE.replace(">", "")}).data)
    marked = stages.mark_score(stages.read_score(source, Options()), Options())
    score, record = stages.write_marked(marked, tmp_path / "a_marked.musicxml")
    return score, record, source.read_bytes()


def test_an_untouched_score_comes_back_byte_by_byte(written: tuple[Path, Path, bytes]) -> None:
    score, record, original = written
    assert score.read_bytes() != original
    assert undo(score, record, ".musicxml") == original


@pytest.mark.parametrize(
    ("old", "new"),
    [
        (
            b"<step>C</step>",
            b"<step>B</step>",
        ),  # as long as before: every insertion is still in its place
        (b"</score-partwise>", b"<!-- proofread --></score-partwise>"),  # behind all insertions
        (b"<part-list>", b"<!-- proofread --><part-list>"),  # before them
        (b"<accent/>", b"<tenuto/>"),  # one of ours
        (b"\n<score-partwise", b"\r\n<score-partwise"),  # saved with other line ends
    ],
)
def test_an_edited_score_is_refused_and_nothing_is_touched(
    written: tuple[Path, Path, bytes], old: bytes, new: bytes
) -> None:
    score, record, _ = written
    data = score.read_bytes()
    assert old in data
    edited = data.replace(old, new)
    score.write_bytes(edited)
    with pytest.raises(UnusableSettings) as caught:
        undo(score, record, ".musicxml")
    assert "edited since" in str(caught.value)
    assert caught.value.remedy
    assert score.read_bytes() == edited


@pytest.mark.parametrize(
    "damage",
    ["a splice gone", "a splice moved", "another original", "no splices", "not JSON", "a list"],
)
def test_a_damaged_record_is_refused(written: tuple[Path, Path, bytes], damage: str) -> None:
    score, record, _ = written
    data = json.loads(record.read_text(encoding="utf-8"))
    if damage == "a splice gone":
        del data["splices"][0]
    elif damage == "a splice moved":
        data["splices"][-1][0] += 1
    elif damage == "another original":
        data["original_sha256"] = "0" * 64
    elif damage == "no splices":
        del data["splices"]
    text = {"not JSON": "{", "a list": "[]"}.get(damage, json.dumps(data))
    record.write_text(text, encoding="utf-8")
    with pytest.raises(UnusableSettings) as caught:
        undo(score, record, ".musicxml")
    assert caught.value.remedy


def _pack(path: Path, score: bytes, *, level: int, streamed: bool, comment: bytes) -> bytes:
    """An archive as other programs make it: another level, written as it comes, with a note."""

    class Pipe(io.RawIOBase):
        def __init__(self) -> None:
            self.made = bytearray()

        def writable(self) -> bool:
            return True

        def write(self, data: Any) -> int:
            self.made += data
            return len(data)

    out: Any = Pipe() if streamed else io.BytesIO()
    container = '<container><rootfiles><rootfile full-path="s.xml"/></rootfiles></container>'
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED, compresslevel=level) as archive:
        archive.comment = comment
        archive.writestr("META-INF/container.xml", container)
        archive.writestr("s.xml", score)
        archive.writestr("picture.png", bytes(range(256)))
    path.write_bytes(bytes(out.made) if streamed else out.getvalue())
    return path.read_bytes()


@pytest.mark.parametrize("level", [1, 6, 9])
@pytest.mark.parametrize("streamed", [False, True])
def test_an_archive_comes_back_byte_by_byte(level: int, streamed: bool, tmp_path: Path) -> None:
    data = document({"Alto Sax 1": TUNE, "Alto Sax 2": TUNE.replace(">", "")}).data
    source = tmp_path / "a.mxl"
    original = _pack(source, data, level=level, streamed=streamed, comment=b"by hand")
    marked = stages.mark_score(stages.read_score(source, Options()), Options())
    score, record = stages.write_marked(marked, tmp_path / "a_marked.mxl")
    assert undo(score, record, ".mxl") == original
    assert undo(score, record, ".musicxml") == data
    kept = json.loads(record.read_text())
    if "archive" in kept:
        kept["archive"] = "bm8gYXJjaGl2ZQ=="
        record.write_text(json.dumps(kept))
        with pytest.raises(UnusableSettings, match="damaged"):
            undo(score, record, ".mxl")
