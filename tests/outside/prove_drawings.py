"""Prove the drawings of scores that others made: every head of every part, as printed, against the
part as read.

    python tests/outside/prove_drawings.py                a spread of hundreds of files (20 min)
    python tests/outside/prove_drawings.py --every 1      all files
    python tests/outside/prove_drawings.py FILE ...       these files

The files come with music21: its corpus, and a suite of small test scores that try every corner of
MusicXML; with them go the charts of our own. For each group it says how many parts and heads there
are, how many heads are proved to be on the paper, how many of them are read as their pitch, and how
many of these by an accidental. Each difference that is left has a verdict in VERDICTS; the run ends
with 1 when a difference lacks a verdict, a verdict a difference, or a part is not printed.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from importlib.util import find_spec
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

import hard_parts

from sectionprep import stages
from sectionprep.errors import SectionprepError
from sectionprep.outputs.parts.part_job import SheetReport, SheetStyle
from sectionprep.outputs.parts.printed import bar_number
from sectionprep.outputs.parts.sheets import Basis, draw_all, part_jobs
from sectionprep.results import Options

_TESTS = Path(__file__).resolve().parent.parent
_MUSIC21 = Path((find_spec("music21") or sys.exit("music21 is missing")).origin or "").parent
CORPUS, SUITE = _MUSIC21 / "corpus", next((_MUSIC21 / "musicxml").glob("*TestSuite"))
_KINDS = (".mxl", ".xml", ".musicxml")
_EVERY = {
    "bach": 8,
    "trecento": 3,
    "monteverdi": 3,
}  # of these folders only each n-th file: they are many and alike

#: (file, part) -> what was found when a difference was looked at
VERDICTS: dict[tuple[str, str], str] = {
    ("12ac-Clefs-TAB-Switch", "*"): "the file asks for a staff without any clef: nobody can read a "
    "pitch there, and the sheet says so",
    ("12ad-Clefs-Extreme-Octave", "*"): "clefs that transpose by three octaves: the engraver knows "
    "two; the sheet says so",
}


@dataclass(slots=True)
class Group:
    """What became of the files of one kind. odd: (file, part, bar, what)."""

    name: str
    files: int = 0
    refused: list[str] = field(default_factory=list)
    reports: list[SheetReport] = field(default_factory=list)
    odd: list[tuple[str, str, str, str]] = field(default_factory=list)

    def row(self) -> str:
        """One row of the table."""
        failed = sum(bool(r.failed) for r in self.reports)
        sums = [
            sum(getattr(r, name) for r in self.reports)
            for name in ("heads", "proved", "pitches", "accidentals")
        ]
        return (
            f"{self.name:<14}{self.files:>6}{len(self.refused):>9}{len(self.reports):>7}"
            + "".join(f"{n:>12,}" for n in sums)
            + f"{failed:>13}{len(self.odd):>12}"
        )


HEADING = (
    f"{'':<14}{'files':>6}{'refused':>9}{'parts':>7}{'heads':>12}{'on paper':>12}"
    f"{'as pitches':>12}{'accidentals':>12}"
    f"{'not printed':>13}{'odd bars':>12}"
)


def scores_in(folder: Path) -> list[Path]:
    """The scores below a folder, in order of name."""
    return sorted(p for p in folder.rglob("*") if p.suffix in _KINDS)


def spread(every: int) -> list[Path]:
    """Files of the corpus, less of what is alike. every: 0 for the spread, n for each n-th file."""
    found = scores_in(CORPUS)
    if every:
        return found[::every]
    kept: list[Path] = []
    seen: dict[str, int] = {}
    for path in found:
        home = path.relative_to(CORPUS).parts[0]
        seen[home] = seen.get(home, 0) + 1
        if seen[home] % _EVERY.get(home, 1) == 0:
            kept.append(path)
    return kept


def own_charts(folder: Path) -> Iterator[Path]:
    """The demo chart, and the parts that are hard to draw."""
    yield _TESTS.parent / "demo_chart" / "late_tram_home.musicxml"
    for name, data in (
        hard_parts.WRONG_AS_THEY_STAND | hard_parts.RIGHT_ANYWAY | hard_parts.DEADLY
    ).items():
        path = folder / f"{name}.musicxml"
        path.write_bytes(data)
        yield path


def prove_file(path: Path, group: Group) -> None:
    """Draw all parts of a file and add what came of it."""
    group.files += 1
    try:
        score = stages.read_score(path, Options())
    except SectionprepError as error:
        group.refused.append(str(error))
        return
    with tempfile.TemporaryDirectory() as folder:
        reports = draw_all(
            part_jobs(
                Basis.of_score(score),
                Path(folder),
                SheetStyle(),
            )
        )
    group.reports += reports
    for report in reports:
        if report.failed:
            group.odd.append((path.stem, report.name, "all", report.failed))
        group.odd += [
            (path.stem, report.name, bar_number(score.chart, d.bar), d.what)
            for d in report.differences
        ]


def prove_group(name: str, paths: Sequence[Path]) -> Group:
    """Draw the files of one kind."""
    group = Group(name)
    for path in paths:
        prove_file(path, group)
        print(f"{name}: {group.files} of {len(paths)}, {path.stem}", file=sys.stderr)
    return group


def main() -> int:
    """Draw, compare, print the table and what is left."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("files", nargs="*", type=Path)
    parser.add_argument(
        "--every", type=int, default=0, help="each n-th file of the corpus; by default a spread"
    )
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        if given.files:
            groups = [prove_group("given", given.files)]
        else:
            groups = [
                prove_group("our charts", list(own_charts(Path(folder)))),
                prove_group("test suite", scores_in(SUITE)),
                prove_group("corpus", spread(given.every)),
            ]
    print(HEADING)
    for group in groups:
        print(group.row())
    without, met = [], set()
    for group in groups:
        for refused in group.refused:
            print(f"refused: {refused}")
        for file, part, bar, what in group.odd:
            verdict = VERDICTS.get((file, part)) or VERDICTS.get((file, "*"))
            met.add((file, part) if (file, part) in VERDICTS else (file, "*"))
            print(f"{file}, {part}, bar {bar}: {what}\n    {verdict or 'NO VERDICT'}")
            if verdict is None:
                without.append(file)
    idle = (
        [key for key in VERDICTS if key not in met]
        if not given.files and given.every in (0, 1)
        else []
    )
    for key in idle:
        print(f"verdict without a difference: {key}")
    return 1 if without or idle or any(r.failed for group in groups for r in group.reports) else 0


if __name__ == "__main__":
    sys.exit(main())
