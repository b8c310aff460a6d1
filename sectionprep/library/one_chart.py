"""One chart of a book: prepared, or kept where nothing has changed since."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from pathlib import Path

from sectionprep.apart import Died, alone
from sectionprep.errors import SectionprepError
from sectionprep.music.marks import say
from sectionprep.outputs.edited_files import is_edited_plan
from sectionprep.outputs.files import write_file
from sectionprep.outputs.folder import Run, finish_killed, whole
from sectionprep.outputs.library.summary import RECORD, ChartResult, as_json, key_of, recorded
from sectionprep.outputs.names import safe_name, stem_of
from sectionprep.passages.players import lead_label
from sectionprep.preparing import Prepared, prepare
from sectionprep.results import Options

#: path, name, folder of the results, wishes, and when the book was begun: what `prepare_for_book`
#: is given
Job = tuple[Path, str, Path, Options, float]


def prepare_for_book(
    path: Path, name: str, folder: Path, options: Options, began: float
) -> ChartResult:
    """One chart of a book, in a process that may do others too: never raises, so that one bad chart
    stops nobody. began: when the book was begun (seconds since the epoch): a chart done since then
    by a process that was lost afterwards is done, not unchanged."""
    try:
        finish_killed(folder)
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


def kept(job: Job) -> ChartResult | None:
    """What a worker that is gone had finished of this chart in this run."""
    path, _, folder, options, began = job
    own = with_what_is_there(path, folder, options)
    try:
        result = recorded(folder)
        fresh = (folder / RECORD).stat().st_mtime >= began
        return result if result is not None and fresh and result.key == _key(path, own) else None
    except OSError:
        return None


def lost(job: Job, reason: str) -> ChartResult:
    """A chart of which nothing came back."""
    return ChartResult(name=job[1], key="", status="failed", reason=reason)
