"""What the five commonest evenings cost a director: `python tests/measure_evenings.py CHART...`.

Types the commands over charts of your own (none named: three generated ones), with the decision put
into the workbook as in a spreadsheet program, and prints for each evening the commands, the cells,
the sheets that have to be printed again of all, and the seconds of processor time. With
--program PYTHON another state of this program is measured instead; where that has no command it
says so, with what would have to be done by hand: lines put in order, parts written out.

The arranger's new version is the chart with the pitch of one note in one part changed.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from charts import plant_chart
from lxml import etree
from openpyxl import load_workbook
from openpyxl.worksheet.worksheet import Worksheet
from pypdf import PdfReader

_SEEDS = (9101, 9102, 9103)
_STEPS = "CDEFGAB"
_PLANNED = ("accent", "rooftop accent", "tenuto", "staccato")


@dataclass(slots=True, kw_only=True)
class Told:
    """commands: typed; cells: filled in; again, sheets: to be printed anew, of all; seconds: of
    processor time; by_hand: what no command did."""

    evening: str
    commands: int
    cells: int = 0
    again: int = 0
    sheets: int = 0
    seconds: float = 0.0
    by_hand: str = ""


class Program:
    """A state of the program, by the Python that runs it."""

    def __init__(self, python: str) -> None:
        self._python = python

    def run(self, *words: object) -> tuple[bool, float, str]:
        """Whether a command was understood and done, its seconds, and what it printed."""
        begun = _processor()
        line = [self._python, "-P", "-m", "sectionprep", *map(str, words)]
        done = subprocess.run(line, capture_output=True, text=True, check=False)
        return done.returncode in (0, 9), _processor() - begun, done.stdout + done.stderr


def _processor() -> float:
    """Seconds of processor time of all commands so far."""
    spent = os.times()
    return spent.children_user + spent.children_system


def decide_one(book: Path) -> bool:
    """Make the first note with a planned mark plain: one cell, in the sheet Marks."""
    workbook = load_workbook(book)
    sheet, row, at = _table(workbook["Marks"], "Change to")
    for n in range(row + 1, sheet.max_row + 1):
        if str(sheet.cell(n, at["Planned"]).value).split(";")[0] in _PLANNED:
            sheet.cell(n, at["Change to"]).value = "plain"
            workbook.save(book)
            return True
    return False


def _table(sheet: Worksheet, heading: str) -> tuple[Worksheet, int, dict[str, int]]:
    row = next(r for r in range(1, 20) if any(c.value == heading for c in sheet[r]))
    return sheet, row, {str(cell.value): cell.column for cell in sheet[row] if cell.value}


def sheets_of(folder: Path) -> dict[str, bytes]:
    """The part sheets of a folder, by file name."""
    return {path.name: path.read_bytes() for path in sorted((folder / "parts").glob("*.pdf"))}


def other(before: dict[str, bytes], after: dict[str, bytes]) -> int:
    """Sheets whose file is another: what has to be printed, since its stamp is."""
    return sum(data != before.get(name) for name, data in after.items())


def new_version(chart: Path, out: Path) -> Path:
    """The chart with one note of its first part a step higher."""
    tree = etree.parse(str(chart))
    steps = tree.getroot().find("part").findall(".//pitch/step")  # type: ignore[union-attr]
    step = steps[len(steps) // 2]
    step.text = _STEPS[(_STEPS.index(str(step.text)) + 1) % len(_STEPS)]
    tree.write(str(out), xml_declaration=True, encoding="utf-8", doctype=tree.docinfo.doctype)
    return out


def measure(program: Program, charts: list[Path], room: Path, missing: str) -> list[Told]:
    """The five evenings, the first three over the first chart."""
    chart, made = charts[0], room / charts[0].stem
    book = made / f"{chart.stem}_rehearsal.xlsx"
    done, seconds, said = program.run("prepare", chart, "-o", made)
    assert done, said
    first = sheets_of(made)
    told = [Told(evening="a new chart", commands=1, seconds=seconds, sheets=len(first))]
    told[0].again = len(first)

    assert decide_one(book), "nothing to decide in this chart"
    done, seconds, said = program.run("prepare", chart, "-o", made, "--decisions", book)
    assert done, said
    second = sheets_of(made)
    told.append(Told(evening="one note decided", commands=1, cells=1, seconds=seconds))
    told[1].again, told[1].sheets = other(first, second), len(second)
    told[1].by_hand = _bound(made)

    told.append(_newer(program, chart, made, second, room))
    told.append(_rehearsal(program, charts, room))
    told.append(_missing(program, charts, room, missing))
    return told


def _bound(folder: Path) -> str:
    changed = folder / "sets" / "changed.pdf"
    return f"changed.pdf has {len(PdfReader(changed).pages)} pages" if changed.is_file() else ""


def _newer(program: Program, chart: Path, made: Path, second: dict[str, bytes], room: Path) -> Told:
    newer = new_version(chart, room / f"{chart.stem}_2.musicxml")
    out = room / "newer"
    told = Told(evening="a new version from the arranger", commands=1)
    done, told.seconds, said = program.run("prepare", newer, "-o", out, "--before", made)
    if not done:
        book = made / f"{chart.stem}_rehearsal.xlsx"
        _, one, _ = program.run("check", newer, "--against", chart)
        done, two, said = program.run("prepare", newer, "-o", out, "--decisions", book)
        assert done, said
        told.commands, told.seconds = 2, one + two
    after = sheets_of(out)
    told.again, told.sheets = other(second, after), len(after)
    return told


def _rehearsal(program: Program, charts: list[Path], room: Path) -> Told:
    told = Told(evening=f"a rehearsal of {len(charts)} charts", commands=1)
    done, told.seconds, _ = program.run("evening", *charts, "-o", room / "night", "--minutes", 120)
    if done:
        return told
    told.commands, told.seconds, lines = 0, 0.0, 0
    for chart in charts:
        made = room / chart.stem
        if not made.is_dir():
            program.run("prepare", chart, "-o", made)
        sheet, row, _ = _table(load_workbook(made / f"{chart.stem}_rehearsal.xlsx")["Rehearsal"],
                               "Minutes")  # fmt: skip
        lines += sum(
            isinstance(sheet.cell(n, 1).value, str) for n in range(row + 1, sheet.max_row + 1)
        )
    told.by_hand = f"no command: {lines} lines of {len(charts)} workbooks put in one order"
    return told


def _missing(program: Program, charts: list[Path], room: Path, missing: str) -> Told:
    told = Told(evening=f"{missing} is ill", commands=1)
    out = room / "ill"
    words = ["evening", *charts, "-o", out, "--missing", missing, "--covers", "--json"]
    done, told.seconds, said = program.run(*words)
    if done:
        gaps = json.loads(said[said.index("{") :])["uncovered"]
        covers = len(list(out.glob("*_*_*.pdf")))
        told.by_hand = f"{len(gaps)} stretches, {covers} cover sheets"
    else:
        told.commands, told.seconds, told.by_hand = 0, 0.0, "no command"
    return told


def main() -> None:
    """Print a line for each evening."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("charts", nargs="*", type=Path)
    parser.add_argument("--program", default=sys.executable, help="the Python of another state")
    parser.add_argument("--missing", default="Trumpet 1", help="who is ill")
    asked = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        room = Path(folder)
        charts = list(asked.charts)
        for seed in () if charts else _SEEDS:
            charts.append(room / f"chart{seed}.musicxml")
            charts[-1].write_bytes(plant_chart(seed, kind="dense")[0])
        for one in measure(Program(asked.program), charts, room, asked.missing):
            print(
                f"{one.evening:32} {one.commands} commands {one.cells} cells "
                f"{one.again:3} of {one.sheets:3} sheets {one.seconds:6.1f} s  {one.by_hand}",
                flush=True,
            )


if __name__ == "__main__":
    main()
