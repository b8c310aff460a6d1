"""The print set: all sheets of a section, and of the whole band with copies from the roster, each in one PDF."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from pypdf import PdfReader, PdfWriter
from pypdf.constants import PageLabelStyle

from sectionprep.music.chart import Chart
from sectionprep.music.instruments import SECTIONS
from sectionprep.outputs.part_sheet import SheetReport


def bound_together(title: str, reports: Sequence[tuple[SheetReport, int]]) -> bytes:
    """One PDF out of several sheets, each as many times as said, with a bookmark and page labels for each. For printing on
    both sides: every sheet begins on a right-hand page, after a blank one where the sheet before has an odd number."""
    writer = PdfWriter()
    writer.metadata = {"/Title": title, "/Creator": "sectionprep"}
    page = 0
    for report, copies in reports:
        reader = PdfReader(report.path)
        for _ in range(copies):
            if page % 2:
                size = reader.pages[0].mediabox
                writer.add_blank_page(width=size.width, height=size.height)
                writer.set_page_label(page, page, prefix="blank")
                page += 1
            for sheet in reader.pages:
                writer.add_page(sheet)
            writer.add_outline_item(title=report.name, page_number=page)
            writer.set_page_label(page, page + report.pages - 1, prefix=f"{report.name} ", style=PageLabelStyle.DECIMAL, start=1)
            page += report.pages
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


@dataclass(frozen=True, slots=True, kw_only=True)
class SetJob:
    """One print set to bind: where to, its title, and each sheet with its number of copies."""

    out: Path
    title: str
    sheets: tuple[tuple[SheetReport, int], ...]


def bind(job: SetJob) -> None:
    """Write one print set."""
    job.out.write_bytes(bound_together(job.title, job.sheets))


def set_jobs(chart: Chart, reports: Sequence[SheetReport], copies: Mapping[str, int], folder: Path) -> list[SetJob]:
    """One set for each section with more than one part, and "band" for all with the wanted copies (1 where none
    are named, 0 leaves a part out)."""
    by_name = {part.name: part for part in chart.parts}
    jobs = []
    for section in SECTIONS:
        mine = tuple((r, 1) for r in reports if by_name[r.name].chair.section == section)
        if len(mine) > 1:
            jobs.append(SetJob(out=folder / f"{section}.pdf", title=f"{chart.title} - {section}", sheets=mine))
    counted = tuple((r, copies.get(r.name, 1)) for r in reports if copies.get(r.name, 1) > 0)
    if not counted:
        return []
    return [*jobs, SetJob(out=folder / "band.pdf", title=f"{chart.title} - band", sheets=counted)]
