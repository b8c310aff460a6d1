"""The stages over a whole library of charts: spread over processes, resumable, one bad chart stops
nobody."""

from __future__ import annotations

import hashlib
import os
import re
import shutil
import time
import warnings
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from queue import Empty, Queue
from typing import Any

from sectionprep.apart import Died, alone
from sectionprep.errors import BadArgument, DestinationError, SectionprepError, UnreadableFile
from sectionprep.music.marks import say
from sectionprep.outputs.edited_files import is_edited_plan
from sectionprep.outputs.files import write_file
from sectionprep.outputs.folder import Run, refuse_foreign, staged, whole
from sectionprep.outputs.library.summary import (
    BOOK,
    RECORD,
    SUMMARY,
    ChartResult,
    as_json,
    book_json,
    charts_in,
    key_of,
    recorded,
    summary_workbook,
    without_lists,
)
from sectionprep.outputs.names import safe_name, stem_of
from sectionprep.passages.players import lead_label
from sectionprep.preparing import Prepared, prepare
from sectionprep.results import Options

_PRACTICE = "practice.html"
_BOOKS = "a book of charts"  # to whom a folder of books belongs
# seconds; judgements
_LOOK = 5.0  # between two looks whether a cluster has workers
_PATIENCE = 60.0  # without any worker: one that is started again takes less
_STATE = 5.0  # between two writings of the book's state
_SHARE = 20.0  # times as long as the last writing took, so that it costs no more than a twentieth
_ROOM = 5_000_000  # bytes that are free where a chart can still be written; judgement
_LONGEST = 3600.0  # without any result: the longest charts take minutes


def prepare_for_book(
    path: Path, name: str, folder: Path, options: Options, began: float
) -> ChartResult:
    """One chart of a book, in a process that may do others too: never raises, so that one bad chart
    stops nobody. began: when the book was begun (seconds since the epoch): a chart done since then
    by a process that was lost afterwards is done, not unchanged."""
    try:
        own = with_what_is_there(path, folder, options)
        key = _key(path, own)
        kept = (folder / RECORD).stat().st_mtime if (folder / RECORD).exists() else 0.0
    except OSError as error:
        return ChartResult(
            name=name, key="", status="failed", reason=f"cannot be opened ({error.strerror})"
        )
    earlier = recorded(folder)
    if earlier is not None and earlier.key == key and earlier.status != "failed" and whole(folder):
        return earlier if kept >= began else replace(earlier, status="unchanged")
    try:
        done = prepare(path, folder, own, workers=1)
        if options.practice:
            _practice(path, folder / "practice", done, own)
        key = _key(path, with_what_is_there(path, folder, options))  # the workbook is new
        result = _book_result(name, key, done)
        write_file(folder / RECORD, as_json(result))
    except SectionprepError as error:
        return ChartResult(name=name, key=key, status="failed", reason=str(error))
    except (
        Exception
    ) as error:  # a fault of ours in one chart must not stop the others; the summary shows it
        return ChartResult(
            name=name,
            key=key,
            status="failed",
            reason=f"unexpected: {type(error).__name__}: {error}",
        )
    return result


def prepare_alone(
    path: Path, name: str, folder: Path, options: Options, began: float
) -> ChartResult:
    """The same in a process of its own: whatever it does there, the worker of the cluster lives."""
    try:
        return alone(prepare_for_book, path, name, folder, options, began)
    except Died as why:
        reason = "it brought down every process that tried it"
        reason += f" ({why})" if why.hopeless else ""
        return ChartResult(name=name, key="", status="failed", reason=reason)


def with_what_is_there(path: Path, folder: Path, options: Options) -> Options:
    """The wishes for one chart: where none is given, its plan, decisions and roster beside it
    (CHART_plan.toml, CHART_rehearsal.xlsx, CHART_roster.toml or roster.toml, house.toml), or a
    workbook and an edited plan among its results."""
    stem = safe_name(stem_of(path), "chart")
    workbook, plan = f"{stem}_rehearsal.xlsx", f"{stem}_plan.toml"
    edited = folder / plan if is_edited_plan(folder / plan) else None
    return replace(
        options,
        decisions=options.decisions or _first(path.with_name(workbook), folder / workbook),
        plan=options.plan or _first(path.with_name(plan), edited),
        roster=options.roster
        or _first(path.with_name(f"{stem}_roster.toml"), path.with_name("roster.toml")),
        house=options.house or _first(path.with_name("house.toml")),
    )


def _first(*places: Path | None) -> Path | None:
    return next((place for place in places if place is not None and place.is_file()), None)


def _practice(path: Path, folder: Path, done: Prepared, options: Options) -> None:
    """The practice pages of a chart, in a folder beside its sheets."""
    from sectionprep.practice import practice_folder

    score = done.marked.score
    run = Run(chart=path, title=score.chart.title, kind="practice", reads=score.reads(options))
    practice_folder(done.marked, folder, run)


def _key(path: Path, options: Options) -> str:
    """Where plan, roster and decisions lie does not matter, only what is in them."""
    named = {name: getattr(options, name) for name in ("plan", "decisions", "roster", "house")}
    given = [name for name, file in named.items() if file is not None]
    bare = replace(options, plan=None, decisions=None, roster=None, house=None, force=False)
    return key_of(path, f"{bare!r} with {given}", [named[name] for name in given])


def _book_result(name: str, key: str, done: Prepared) -> ChartResult:
    marked = done.marked
    chart = marked.score.chart
    figures: dict[str, str] = {}
    for planned in marked.plan.passages:
        for start, end in planned.phrases:
            notes = [n for n in planned.notes if start <= n.tone.onset < end]
            if len(notes) >= 4:
                first = notes[0].tone
                figure = " ".join(
                    f"{n.tone.pitch - first.pitch:+d}@{chart.quarters(n.tone.onset - first.onset)}"
                    for n in notes
                )
                figures[figure] = " | ".join(say(n.marks) for n in notes)
    return ChartResult(
        name=name,
        key=key,
        status="done",
        not_printed=len(done.not_printed),
        wrong_sheets=[*done.not_printed, *done.not_as_written],
        title=chart.title,
        passages=len(marked.score.together.passages),
        before=len(marked.before),
        after=len(marked.after),
        marks=sum(c.applied for c in marked.marking.changes),
        pages=done.pages,
        checks=dict(Counter(f.check for f in marked.before)),
        chairs=dict(Counter(chart.parts[f.part].chair.says for f in marked.before)),
        figures=figures,
        listed={
            "Passages": [
                [
                    p.id,
                    str(chart.place(p.start)),
                    str(chart.end_place(p.end)),
                    p.scope,
                    p.texture,
                    lead_label(chart, p),
                ]
                for p in marked.score.together.passages
            ],
            "Findings": [
                [
                    "still there" if f in marked.after else "mended",
                    f.severity,
                    str(chart.place(f.tick)),
                    chart.parts[f.part].label,
                    f.message,
                ]
                for f in marked.before
            ],
        },
    )


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
    jobs = [
        (path, name, out / _book_folder(name), options, began)
        for path, name in zip(charts, names, strict=True)
    ]
    results: list[ChartResult] = []
    written = began
    pause = _STATE
    for result in _spread(jobs, cluster):
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


_Job = tuple[Path, str, Path, Options, float]


def _spread(jobs: Sequence[_Job], cluster: str) -> Iterator[ChartResult]:
    """Run the jobs over this machine's processes, or over a cluster; results come as they end."""
    yield from _on_cluster(jobs, cluster) if cluster else _on_this_machine(jobs)


def _on_this_machine(jobs: Sequence[_Job]) -> Iterator[ChartResult]:
    """A process that is killed from outside takes the pool with it; what was not done then is tried
    again, each chart in a process of its own."""
    from joblib import Parallel, delayed
    from joblib.externals.loky.process_executor import BrokenProcessPool

    left = {job[1]: job for job in jobs}
    try:
        with warnings.catch_warnings():  # on a full disk the work is left undone on purpose
            warnings.filterwarnings("ignore", ".*unnecessary computation time")
            for result in Parallel(n_jobs=-1, return_as="generator_unordered")(
                delayed(prepare_for_book)(*job) for job in jobs
            ):
                del left[result.name]
                yield result
    except BrokenProcessPool:
        for job in left.values():
            try:
                yield from Parallel(n_jobs=2)(
                    [delayed(prepare_for_book)(*job)]
                )  # one would run in this very process
            except BrokenProcessPool as error:
                how = re.search(r"\{(.+?)\}", str(error))  # the exit codes of the processes
                yield _lost(job, f"its process was ended twice, by {how[1] if how else 'another'}")


def _on_cluster(jobs: Sequence[_Job], address: str) -> Iterator[ChartResult]:
    """A worker that dies gives its charts to the others. Charts that were on too many dead workers
    are tried again, one after the other and each in a process of its own, so that only the one that
    kills them is reported, and no further worker dies of it."""
    try:
        from dask.distributed import Client
    except ImportError as error:
        raise BadArgument(
            "--cluster needs the extra 'cluster'.", remedy="Install sectionprep[cluster]."
        ) from error
    try:
        client = Client(address, timeout="20s")  # type: ignore[no-untyped-call]
    except (OSError, ValueError) as error:
        raise UnreadableFile(
            f"no scheduler answers at {address}.",
            remedy="Start one, and workers that see the same folders.",
        ) from error
    with client:
        left = {job[1]: job for job in jobs}
        try:
            for careful in (False, True):
                for result in _round(client, list(left.values()), careful):
                    del left[result.name]
                    yield result
        except _NothingComes as why:
            for job in left.values():
                yield _kept(job) or _lost(
                    job,
                    f"{why} at {address}. Finished charts are kept: run the same command again.",
                )


def _round(client: Any, jobs: Sequence[_Job], careful: bool) -> Iterator[ChartResult]:
    """The results of all jobs at once, or (careful) one after the other and apart; then those that
    fail are reported. Raises _NothingComes."""
    for together in [[job] for job in jobs] if careful else [jobs]:
        futures = {
            client.submit(
                prepare_alone if careful else prepare_for_book,
                *job,
                pure=False,
                retries=0 if careful else 2,
            ): job
            for job in together
        }
        for done in _as_they_end(client, futures):
            try:
                yield done.result(timeout=_PATIENCE)
            except Exception as error:  # whatever became of the worker, the other charts go on
                if careful:
                    yield _lost(futures[done], f"lost on the cluster: {type(error).__name__}")


class _NothingComes(Exception):
    """The cluster gives no more results, and why."""


def _as_they_end(client: Any, futures: Iterable[Any]) -> Iterator[Any]:
    """Futures in the order in which they end. Raises _NothingComes when there are no workers to
    wait for, or nothing has ended for very long."""
    ended: Queue[Any] = Queue()
    waiting = 0
    for future in futures:
        future.add_done_callback(ended.put)
        waiting += 1
    heard = manned = time.monotonic()
    while waiting:
        try:
            yield ended.get(timeout=_LOOK)
            waiting -= 1
            heard = manned = time.monotonic()
        except Empty:
            now = time.monotonic()
            if _has_workers(client):
                manned = now
            if now - manned > _PATIENCE:
                raise _NothingComes("no worker is left on the cluster") from None
            if now - heard > _LONGEST:
                raise _NothingComes(
                    f"nothing was finished for {_LONGEST / 60:.0f} minutes on the cluster"
                ) from None


def _has_workers(client: Any) -> bool:
    try:
        return bool(client.nthreads())
    except Exception:  # the scheduler has gone, too
        return False


def _kept(job: _Job) -> ChartResult | None:
    """What a worker that is gone had finished of this chart in this run."""
    path, _, folder, options, began = job
    own = with_what_is_there(path, folder, options)
    try:
        result = recorded(folder)
        fresh = (folder / RECORD).stat().st_mtime >= began
        return result if result is not None and fresh and result.key == _key(path, own) else None
    except OSError:
        return None


def _lost(job: _Job, reason: str) -> ChartResult:
    return ChartResult(name=job[1], key="", status="failed", reason=reason)
