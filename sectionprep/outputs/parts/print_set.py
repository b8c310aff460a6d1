"""The print set: all sheets of a section, and of the whole band with copies from the roster, each
in one PDF."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path

from pikepdf import Array, Dictionary, Name, OutlineItem, Pdf, String

from sectionprep.music.chart import Chart
from sectionprep.music.instruments import SECTIONS
from sectionprep.outputs.parts.part_job import SheetReport


@dataclass(frozen=True, slots=True, kw_only=True)
class SetJob:
    """One print set to bind: where to, its title, and each sheet with its number of copies."""

    out: Path
    title: str
    sheets: tuple[tuple[SheetReport, int], ...]


def bind(job: SetJob) -> None:
    """One PDF out of several sheets, each as many times as said, with a bookmark and page labels
    for each. For printing on both sides: every sheet begins on a right-hand page, after a blank one
    where the sheet before has an odd number."""
    labels: list[object] = []
    with ExitStack() as open_files:
        pdf = open_files.enter_context(Pdf.new())
        with pdf.open_outline() as outline:
            for report, copies in job.sheets:
                # as a stream: the library cannot say names that are no text
                stream = open_files.enter_context(report.path.open("rb"))
                sheet = open_files.enter_context(Pdf.open(stream))
                for _ in range(copies):
                    if len(pdf.pages) % 2:
                        labels += [len(pdf.pages), Dictionary(P=String("blank"))]
                        _, _, width, height = sheet.pages[0].mediabox
                        pdf.add_blank_page(page_size=(float(width), float(height)))
                    labels += [len(pdf.pages), Dictionary(S=Name.D, P=String(f"{report.name} "))]
                    outline.root.append(OutlineItem(report.name, len(pdf.pages)))
                    pdf.pages.extend(sheet.pages)
        pdf.Root.PageLabels = Dictionary(Nums=Array(labels))
        pdf.docinfo = pdf.make_indirect(
            Dictionary(Title=String(job.title), Creator=String("sectionprep"))
        )
        # in memory: on a full disk the library would end its process; the sheets are compressed
        out = io.BytesIO()
        pdf.save(out, compress_streams=False, deterministic_id=True)
    job.out.write_bytes(out.getbuffer())


def all_sets(
    chart: Chart,
    reports: Sequence[SheetReport],
    copies: Mapping[str, int],
    folder: Path,
    changed: Sequence[SheetReport],
) -> list[SetJob]:
    """The print sets of a run. copies: as of `set_jobs`; changed: sheets that differ from those
    printed before."""
    drawn = [report for report in reports if not report.failed]
    return set_jobs(chart, drawn, copies, folder) + changed_set(chart, changed, folder)


def changed_set(chart: Chart, changed: Sequence[SheetReport], folder: Path) -> list[SetJob]:
    """One set of the sheets that differ from those printed before; none where none does."""
    sheets = tuple((report, 1) for report in changed)
    title = f"{chart.title} - changed"
    return [SetJob(out=folder / "changed.pdf", title=title, sheets=sheets)] if sheets else []


def set_jobs(
    chart: Chart, reports: Sequence[SheetReport], copies: Mapping[str, int], folder: Path
) -> list[SetJob]:
    """One set for each section with more than one part, and "band" for all with the wanted copies
    (1 where none are named, 0 leaves a part out)."""
    by_label = {part.label: part for part in chart.parts}
    jobs = []
    for section in SECTIONS:
        mine = tuple((r, 1) for r in reports if by_label[r.name].chair.section == section)
        if len(mine) > 1:
            jobs.append(
                SetJob(
                    out=folder / f"{section}.pdf", title=f"{chart.title} - {section}", sheets=mine
                )
            )
    counted = tuple((r, copies.get(r.name, 1)) for r in reports if copies.get(r.name, 1) > 0)
    if not counted:
        return []
    return [*jobs, SetJob(out=folder / "band.pdf", title=f"{chart.title} - band", sheets=counted)]
