"""What has to be printed again: a sheet's stamp is made of its own content, so that a sheet which
comes out the same is the same file, byte for byte."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path

from sectionprep.checks.versions import PartChange
from sectionprep.drawing.proof.as_written import MustShow
from sectionprep.outputs.parts.part_job import PartJob, SheetReport
from sectionprep.version import __version__

_OWN_IDS = re.compile(rb' id="n\d+"')  # they count the notes of the whole chart, not of the part
_TITLE = 80  # characters of the footer: version and date must stay on the page


@dataclass(frozen=True, slots=True, kw_only=True)
class Printed:
    """What was printed before. sheets: the folder with its sheets, None on a first run;
    changed: by part, the printed numbers of bars that differ now, to be shown on its sheet;
    versions: what differs from the older version that was named."""

    sheets: Path | None = None
    changed: Mapping[str, frozenset[str]] = field(default_factory=dict)
    versions: tuple[PartChange, ...] = ()


def stamped(jobs: Iterable[PartJob], day: date, printed: Printed) -> Iterator[PartJob]:
    """The jobs with title, version and date at their foot. day: of the chart's file; a sheet whose
    version is that of the one printed before keeps its date."""
    for job in jobs:
        marked = replace(job, changed=printed.changed.get(job.name, frozenset()))
        version = version_of(marked)
        stamp = _stamp(job.title, version, day)
        earlier = _foot_of(printed.sheets / job.out.name) if printed.sheets is not None else ""
        same = f"version {version} " in earlier and earlier.startswith(stamp.partition("  ")[0])
        yield replace(marked, footer=earlier if same else stamp)


def stamp_of(title: str, content: bytes, day: date) -> str:
    """The foot of what is printed of the whole chart."""
    return _stamp(title, hashlib.sha256(content).hexdigest()[:6], day)


def _stamp(title: str, version: str, day: date) -> str:
    title = title if len(title) <= _TITLE else f"{title[:_TITLE]}\u2026"
    return f"{title}  \u00b7  version {version}  \u00b7  {day.isoformat()}"


def version_of(job: PartJob) -> str:
    """Six letters that stand for all that a sheet shows and for the program that draws it."""
    seen = replace(
        job,
        xml=b"",
        out=Path(),
        footer="",
        must=MustShow((), 1),
        overlays={},
        syllables={},
        proof=None,
        changed=frozenset(),
    )
    digest = hashlib.sha256(f"{__version__} {seen!r} {sorted(job.changed)}".encode())
    digest.update(_OWN_IDS.sub(b"", job.xml))
    for by_note in (job.overlays, job.syllables):
        digest.update(repr([says for _, says in sorted(by_note.items(), key=_order)]).encode())
    digest.update(repr(job.proof and job.proof.added).encode())
    return digest.hexdigest()[:6]


def _order(item: tuple[str, object]) -> int:
    return int(item[0].strip("n") or 0)


def _foot_of(sheet: Path) -> str:
    """What stands at the foot of a sheet of ours; "" where there is none."""
    from pikepdf import Pdf, PdfError

    if not sheet.is_file():
        return ""
    try:
        with sheet.open("rb") as stream, Pdf.open(stream) as pdf:
            return str(pdf.docinfo.get("/Subject", ""))
    except PdfError:
        return ""


def changed_sheets(reports: Sequence[SheetReport], printed: Printed) -> tuple[SheetReport, ...]:
    """The sheets that differ from those printed before, new ones among them."""
    if printed.sheets is None:
        return ()
    before = printed.sheets
    return tuple(r for r in reports if not r.failed and not _is_same(r.path, before / r.path.name))


def _is_same(sheet: Path, before: Path) -> bool:
    return before.is_file() and before.read_bytes() == sheet.read_bytes()
