"""What a person must know about the sheets: parts that were not printed, and bars that are not
drawn as the file has them."""

from __future__ import annotations

from collections.abc import Sequence

from sectionprep.music.chart import Chart
from sectionprep.outputs.parts.part_job import SheetReport

_ROW = 150  # characters of one row of the workbook's first sheet


def not_printed(reports: Sequence[SheetReport]) -> tuple[str, ...]:
    """Why parts were not printed, one line each."""
    return tuple(report.failed for report in reports if report.failed)


def not_as_written(chart: Chart, reports: Sequence[SheetReport]) -> tuple[str, ...]:
    """Bars that are not drawn as the file has them: part, bar, what is wrong."""
    return tuple(
        f"{report.name}, bar {bar_number(chart, difference.bar)}: {difference.what}"
        for report in reports
        for difference in report.differences
    )


def bar_number(chart: Chart, index: int) -> str:
    """The printed number of a bar."""
    return chart.bars[index].number if 0 <= index < len(chart.bars) else "?"


def one_line(chart: Chart, reports: Sequence[SheetReport]) -> str:
    """All of it in one line: what is wrong, or that nothing is."""
    if not reports:
        return ""
    said = []
    failed = [report.name for report in reports if report.failed]
    if failed:
        said.append(f"NOT PRINTED: {', '.join(failed)}.")
    odd = [
        f"{report.name} bar{'s' * (len(report.differences) > 1)} "
        + ", ".join(bar_number(chart, difference.bar) for difference in report.differences)
        for report in reports
        if report.differences
    ]
    if odd:
        said.append(f"Not drawn as the file has it, check against the score: {'; '.join(odd)}.")
    line = " ".join(said) or (
        f"All {len(reports)} parts are printed; "
        f"each of their {sum(r.heads for r in reports):,} note heads "
        "was compared with the file."
    )
    return (
        line
        if len(line) <= _ROW
        else f"{line[: _ROW - 40]} ... (all of it: see the agreement report)"
    )


def sheets_text(chart: Chart, reports: Sequence[SheetReport]) -> str:
    """The same for the report, in full; it stands first there where something is wrong."""
    lines = [f"  NOT PRINTED: {why}" for why in not_printed(reports)]
    lines += [
        f"  Not as the file has it: {what}. "
        "Compare that bar with the score, and correct the sheet by hand."
        for what in not_as_written(chart, reports)
    ]
    return "\n".join(["THE SHEETS", "", *(lines or [f"  {one_line(chart, reports)}"]), "", ""])
