"""The print set: all sheets of a section, and of the whole band with copies from the roster, each in one PDF."""

from __future__ import annotations

import io
from collections.abc import Sequence

from sectionprep.music.chart import Chart
from sectionprep.music.instruments import SECTIONS
from sectionprep.music.roster import Roster
from sectionprep.outputs.part_sheet import SheetReport


def bound_together(title: str, reports: Sequence[tuple[SheetReport, int]]) -> bytes:
    """One PDF out of several sheets, each as many times as said, with a bookmark and page labels for each."""
    from pypdf import PdfReader, PdfWriter
    from pypdf.constants import PageLabelStyle

    writer = PdfWriter()
    writer.metadata = {"/Title": title, "/Creator": "sectionprep"}
    page = 0
    for report, copies in reports:
        reader = PdfReader(report.path)
        for _ in range(copies):
            for sheet in reader.pages:
                writer.add_page(sheet)
            writer.add_outline_item(title=report.name, page_number=page)
            writer.set_page_label(page, page + report.pages - 1, prefix=f"{report.name} ", style=PageLabelStyle.DECIMAL, start=1)
            page += report.pages
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


def print_sets(chart: Chart, reports: Sequence[SheetReport], roster: Roster) -> dict[str, bytes]:
    """File stem -> PDF: one for each section with more than one part, and "band" for all."""
    by_name = {part.name: part for part in chart.parts}
    counted = [(r, (seat.copies if (seat := roster.seat(r.name)) else 1)) for r in reports]
    sets: dict[str, bytes] = {}
    for section in SECTIONS:
        mine = [(r, 1) for r in reports if by_name[r.name].chair.section == section]
        if len(mine) > 1:
            sets[section] = bound_together(f"{chart.title} - {section}", mine)
    sets["band"] = bound_together(f"{chart.title} - band", counted)
    return sets
