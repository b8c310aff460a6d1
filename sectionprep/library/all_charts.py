"""A whole library of charts: resumable, its state told by a workbook and by a file for machines."""

from __future__ import annotations

import hashlib
import os
import shutil
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

from sectionprep.errors import BadArgument, DestinationError, UnreadableFile
from sectionprep.library.one_chart import Job
from sectionprep.library.spread import spread
from sectionprep.outputs.folder import Run, refuse_foreign, staged
from sectionprep.outputs.library.summary import (
    BOOK,
    SUMMARY,
    ChartResult,
    book_json,
    charts_in,
    recorded,
    summary_workbook,
    without_lists,
)
from sectionprep.outputs.names import safe_name
from sectionprep.results import Options

_PRACTICE = "practice.html"
_BOOKS = "a book of charts"  # to whom a folder of books belongs
# judgements
_STATE = 5.0  # seconds between two writings of the book's state
_SHARE = 20.0  # times as long as the last writing took, so that it costs no more than a twentieth
_ROOM = 5_000_000  # bytes that are free where a chart can still be written


def book(
    library: Path,
    out: Path,
    options: Options,
    *,
    cluster: str = "",
    tell: Callable[[ChartResult, int], None] = lambda _result, _of: None,
) -> list[ChartResult]:
    """Prepare every chart of a library; `tell` is called as each one ends, with the number of
    charts in all. The results that are returned have no lists; those stand in the charts' folders.
    cluster: address of a Dask scheduler."""
    if not library.is_dir():
        raise UnreadableFile(
            "is no folder.", where=str(library), remedy="Name the folder that holds the charts."
        )
    if out.resolve() == library.resolve():
        raise BadArgument(
            "the results would be mixed with the charts.", remedy="Name another folder with --out."
        )
    charts = charts_in(library, out)
    if not charts:
        raise UnreadableFile(
            "holds no charts.", where=str(library), remedy="Put MusicXML files into it."
        )
    run = Run(chart=Path(_BOOKS), kind="book", whole=False, force=options.force)
    refuse_foreign(out, (BOOK, SUMMARY, _PRACTICE), run)
    names = ["/".join(path.relative_to(library).parts) for path in charts]
    began = time.time()
    jobs: list[Job] = [
        (path, name, out / _book_folder(name), options, began)
        for path, name in zip(charts, names, strict=True)
    ]
    results: list[ChartResult] = []
    written = began
    pause = _STATE
    for result in spread(jobs, cluster):
        results.append(without_lists(result))
        tell(result, len(jobs))
        if result.status == "failed":
            _stop_when_full(out, len(results), len(jobs))
        if time.time() - written > pause:
            start = time.time()
            with suppress(DestinationError):  # it is said when all are done
                _write(out, run, {BOOK: book_json(results, len(jobs))})
            written = time.time()
            pause = max(_STATE, _SHARE * (written - start))
    results.sort(key=lambda r: r.name)
    files = {
        BOOK: book_json(results, len(jobs)),
        SUMMARY: summary_workbook(lambda: _with_lists(results, out)),
    }
    if options.practice:
        files[_PRACTICE] = _practice_page(results, out)
    _write(out, run, files)
    return results


def _write(out: Path, run: Run, files: Mapping[str, bytes]) -> None:
    with staged(out, run) as stage:
        for name, data in files.items():
            (stage / name).write_bytes(data)


def _practice_page(results: Iterable[ChartResult], out: Path) -> bytes:
    """The page that leads to the practice pages of all charts, by title."""
    from sectionprep.practice.book import book_page

    charts = []
    for result in results:
        place = f"{_book_folder(result.name)}/practice/index.html"
        if result.status != "failed" and (out / place).exists():
            charts.append((place, result.title or result.name))
    return book_page(sorted(charts, key=lambda one: one[1].casefold()))


def _with_lists(results: Iterable[ChartResult], out: Path) -> Iterator[ChartResult]:
    """Each result with what its chart's folder tells of it."""
    for result in results:
        kept = recorded(out / _book_folder(result.name)) if result.status != "failed" else None
        if kept is not None:
            result = replace(result, figures=kept.figures, listed=kept.listed)
        yield result


def _stop_when_full(out: Path, done: int, of: int) -> None:
    """A full disk would fail every chart that is left. Raises DestinationError."""
    if out.exists() and shutil.disk_usage(out).free < _ROOM:
        raise DestinationError(
            f"has no room left after {done} of {of} charts.",
            where=str(out),
            remedy="Make room there and run the same command again: what is done is kept.",
        )


def _book_folder(name: str) -> str:
    told_apart = hashlib.sha256(os.fsencode(name)).hexdigest()[:6]
    return f"{safe_name(name.rsplit('.', 1)[0], 'chart')}_{told_apart}"
