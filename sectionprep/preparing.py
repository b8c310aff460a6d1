"""What is made of the stages' results: everything a director takes to rehearsal, in one folder
that is there whole or not at all; or sheets, workbook or sound alone."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from sectionprep.checks import Finding
from sectionprep.checks.versions import PartChange, compare_versions
from sectionprep.garbage import collector_at_rest, give_back
from sectionprep.music.chart import Chart
from sectionprep.music.naming import Players, find_part, find_players
from sectionprep.music.roster import ROSTER, Roster
from sectionprep.phrasing.deciding import Unfit
from sectionprep.phrasing.plan_file import write_plan
from sectionprep.results import Marked, Options, Score
from sectionprep.stages import (
    Say,
    bars_without_cues,
    mark_score,
    no_word,
    plan_score,
    read_score,
    write_marked,
)

if TYPE_CHECKING:
    from sectionprep.outputs.audition import Wish
    from sectionprep.outputs.earlier import EarlierRun
    from sectionprep.outputs.parts.part_job import SheetReport, SheetStyle
    from sectionprep.outputs.parts.reprint import Printed
    from sectionprep.outputs.parts.sheet_remarks import SheetRemark
    from sectionprep.outputs.parts.sheets import Drawing
    from sectionprep.outputs.settled import Settled
    from sectionprep.outputs.workbook import Typed
    from sectionprep.outputs.workbook.rows import Book

Progress = Callable[[str, int, int], None]


def no_progress(_stage: str, _done: int, _of: int) -> None:
    """Say nothing."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepared:
    """What `prepare` wrote. marked: without the trees of its documents, unless practice pages were
    asked for, which are drawn from it; not_printed: why parts were not printed; not_as_written:
    bars that are not drawn as the file has them; notes: what a person must know about files that
    were there before; changed: parts whose sheets differ from those printed before, None on a first
    run; versions: what differs from the older version that was named; left: findings that nobody
    has settled; settled: those that a person has, in words."""

    marked: Marked
    folder: Path
    files: tuple[Path, ...]
    pages: int
    hard_turns: int
    not_printed: tuple[str, ...] = ()
    sheet_remarks: tuple[SheetRemark, ...] = ()
    not_as_written: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    changed: tuple[str, ...] | None = None
    versions: tuple[PartChange, ...] = ()
    left: tuple[Finding, ...] = ()
    settled: tuple[str, ...] = ()


@collector_at_rest()
def prepare(
    path: Path,
    folder: Path,
    options: Options,
    progress: Progress = no_progress,
    *,
    workers: int | None = None,
) -> Prepared:
    """The whole job: everything a director takes to rehearsal, in one folder. workers: processes
    that draw parts; by default as many as there are cores."""
    from sectionprep.outputs.parts.sheets import Drawing

    # they begin before the chart is read: whatever they inherit stays in memory as it was then
    with Drawing(workers, beside=True) as drawing:
        return _prepare(path, folder, options, progress, drawing)


def _prepare(
    path: Path, folder: Path, options: Options, progress: Progress, drawing: Drawing
) -> Prepared:
    from sectionprep.outputs.director.pages import shown_studies, write_pages
    from sectionprep.outputs.earlier import earlier_run
    from sectionprep.outputs.edited_files import keep_own_things, plan_place, workbook_place
    from sectionprep.outputs.folder import Run, staged
    from sectionprep.outputs.names import safe_name, stem_of
    from sectionprep.outputs.parts.print_set import all_sets, bind
    from sectionprep.outputs.parts.printed import not_as_written, not_printed
    from sectionprep.outputs.parts.reprint import changed_sheets
    from sectionprep.outputs.reports.agreement import older_text
    from sectionprep.outputs.settled import read_settled, settled_beside

    earlier = earlier_run(options.before) if options.before is not None else None
    if earlier is not None:
        options = replace(
            options,
            decisions=options.decisions or earlier.workbook,
            plan=options.plan or earlier.plan,
        )
    progress("reading", 0, 1)
    score = read_score(path, options)
    _study_for(score.chart, options)  # a wrong name is said before anything is drawn
    progress("planning and marking", 0, 1)
    stem = safe_name(stem_of(path), "chart")
    place = folder / f"{stem}_rehearsal.xlsx"
    workbook, typed, notes = workbook_place(place, options.decisions, score.chart.title)
    plan_file, more = plan_place(folder / f"{stem}_plan.toml", options.plan)
    notes += more
    marked = mark_score(score, options).without_old_trees()
    score = marked.score
    give_back()
    printed = _printed_before(marked, folder, earlier, options)
    run = Run(
        chart=path,
        title=score.chart.title,
        kind="prepare",
        reads=score.reads(options),
        typed_in={workbook, place.name, plan_file, f"{stem}_plan.toml"},
        force=options.force,
        say=notes.append,
    )
    with staged(folder, run) as stage:
        _begin_sheets(marked, stage, options, drawing, printed)
        shown = shown_studies(marked, options.study, _study_for(score.chart, options))
        missing = _write_scores(marked, stage, stem, options, drawing, progress)
        if not options.practice:  # else its pages are still to be cut out
            marked = marked.without_trees()
            give_back()
        progress("drawing the director's pages", 0, 1)
        names, footer = stage / stem, _footer(marked)
        not_drawn = write_pages(marked, shown, names, options.paper, footer, drawing.beside)
        not_drawn += missing
        del shown
        on_page = read_settled(settled_beside(options.plan or folder / f"{stem}_plan.toml"))
        if plan_file:
            (stage / plan_file).write_text(
                write_plan(
                    score.chart,
                    marked.plan,
                    options.printed or "keep",
                    bars_without_cues(options),
                ),
                encoding="utf-8",
            )
        # only now: it loads the library of workbooks, while the parts are drawn
        from sectionprep.outputs.workbook.findings import open_findings

        book = _book(marked, options, typed, on_page)
        reports = drawing.reports(_counter("drawing parts", len(drawing.jobs), progress))
        changed = changed_sheets(reports, printed)
        (stage / "sets").mkdir()
        sets = all_sets(score.chart, reports, _copies(score.roster, typed), stage / "sets", changed)
        bound = [drawing.also(bind, job) for job in sets]
        progress("writing the workbook", 0, 1)
        report = _report(marked, reports) + older_text(printed.versions)
        (stage / f"{stem}_agreement.txt").write_text(report, encoding="utf-8")
        (stage / workbook).write_bytes(_workbook(book, typed, reports))
        notes += keep_own_things(folder / workbook, typed)
        left, settled = open_findings(marked, typed, on_page)
        for wait in bound:
            wait()
        files = sorted(p.relative_to(stage) for p in stage.rglob("*") if p.is_file())
    return Prepared(
        marked=marked,
        folder=folder,
        files=tuple(folder / f for f in files),
        pages=sum(r.pages for r in reports),
        hard_turns=sum(not t.possible for r in reports for t in r.turns),
        not_printed=(*not_printed(reports), *not_drawn),
        not_as_written=not_as_written(marked.again.chart, reports),
        notes=tuple(notes),
        changed=tuple(r.name for r in changed) if printed.sheets is not None else None,
        versions=printed.versions,
        left=left,
        settled=tuple(settled),
        sheet_remarks=tuple(remark for r in reports for remark in r.remarks),
    )


def _printed_before(
    marked: Marked, folder: Path, earlier: EarlierRun | None, options: Options
) -> Printed:
    """What stands in the folder of an earlier run, and which bars differ from the marked score
    there. earlier: the one that was named; else the last into this folder, whose bars are compared
    only where that is to be shown."""
    from sectionprep.outputs.earlier import earlier_run
    from sectionprep.outputs.folder import files_of
    from sectionprep.outputs.parts.reprint import Printed

    named = earlier is not None
    if earlier is None:
        if not files_of(folder, "prepare"):
            return Printed()
        earlier = earlier_run(folder)
    versions: tuple[PartChange, ...] = ()
    if earlier.marked is not None and (named or options.show_changes):
        old = read_score(earlier.marked, Options(limits=options.limits, roster=options.roster))
        versions = compare_versions(old.chart, marked.again.chart)
    shown = versions if options.show_changes else ()
    return Printed(
        sheets=earlier.sheets,
        changed={c.part: frozenset((*c.notes, *c.marks)) for c in shown},
        versions=versions if named else (),
    )


def _begin_sheets(
    marked: Marked, stage: Path, options: Options, drawing: Drawing, printed: Printed
) -> None:
    """Have the parts drawn."""
    from sectionprep.outputs.parts.reprint import stamped
    from sectionprep.outputs.parts.sheets import Basis, part_jobs

    (stage / "parts").mkdir()
    jobs = part_jobs(Basis.of_marked(marked), stage / "parts", _sheet_style(options))
    drawing.draw(stamped(jobs, _day_of(marked.score), printed))


def _write_scores(
    marked: Marked, stage: Path, stem: str, options: Options, drawing: Drawing, progress: Progress
) -> tuple[str, ...]:
    """The marked score, and the small one for the director where that is wanted. Returns why music
    is missing in it."""
    from sectionprep.outputs.director.small_score import small_score_pdf
    from sectionprep.outputs.parts.rhythm_choice import worth_catching

    bundle, again = marked.score.bundle, marked.again
    write_marked(marked, stage / f"{stem}_marked{'' if bundle.is_folder else bundle.suffix}")
    if not options.score:
        return ()
    progress("drawing the score", 0, 1)
    small = small_score_pdf(
        again,
        paper=options.paper,
        footer=_footer(marked),
        pitch=options.score,
        caught=worth_catching(again.chart, again.together, bars_without_cues(options))
        if options.rhythm_cues_in_score
        else (),
        apart=drawing.beside,
    )
    (stage / f"{stem}_score.pdf").write_bytes(small.pdf)
    return small.not_drawn


def _footer(marked: Marked) -> str:
    """What stands at the foot of what is printed of the whole chart."""
    from sectionprep.outputs.parts.reprint import stamp_of

    again = marked.again
    return stamp_of(again.chart.title, again.document.data, _day_of(marked.score))


def _study_for(chart: Chart, options: Options) -> list[Players]:
    """Whose study pages were asked for by themselves, each once."""
    return list(dict.fromkeys(find_players(chart.parts, words) for words in options.study_for))


def _report(marked: Marked, reports: Sequence[SheetReport]) -> str:
    """The report with what is to be said of the sheets: right under its title where something is
    wrong with them, else at its end."""
    from sectionprep.outputs.parts.printed import sheets_text
    from sectionprep.outputs.reports.agreement import agreement_text, remarks_text, turns_text

    text, sheets = agreement_text(marked), sheets_text(marked.again.chart, reports)
    if any(r.failed or r.differences for r in reports):
        title, _, rest = text.partition("\n\n")
        text = f"{title}\n\n{sheets}{rest}"
    else:
        text = f"{text}\n{sheets.rstrip()}\n"
    return text + turns_text(reports) + remarks_text(reports)


def _sheet_style(options: Options) -> SheetStyle:
    from sectionprep.outputs.parts.part_job import SheetStyle

    return SheetStyle(
        paper=options.paper,
        staff=options.staff,
        section_help=options.section_help,
        rhythm_cues=options.rhythm_cues,
        no_rhythm_cues_in=bars_without_cues(options),
        cues=options.cues,
        courtesy=options.courtesy,
        syllables=options.syllables,
        proof=options.proof,
    )


def _copies(roster: Roster, typed: Typed | None) -> dict[str, int]:
    """Sheets to print for each part: what was typed into the workbook, else what the roster
    says."""
    from sectionprep.outputs.workbook import copies_of

    return {seat.part: seat.copies for seat in roster.seats} | (
        copies_of(typed) if typed is not None else {}
    )


def _book(
    marked: Marked,
    options: Options,
    typed: Typed | None,
    settled: Mapping[str, Settled] | None = None,
) -> Book:
    """All that goes into the workbook but what is to be said of the sheets."""
    from sectionprep.outputs.workbook.rehearsal_plan import plan_rehearsal
    from sectionprep.outputs.workbook.rows import build_book

    items = plan_rehearsal(marked, options.minutes)
    applied = options.decisions is not None
    return build_book(marked, items, typed, applied=applied, settled=settled)


def _workbook(book: Book, typed: Typed | None, reports: Sequence[SheetReport] = ()) -> bytes:
    from sectionprep.outputs.workbook import write_workbook
    from sectionprep.outputs.workbook.rows import with_sheets

    return write_workbook(with_sheets(book, reports), typed)


def audition(
    path: Path, folder: Path, options: Options, wish: Wish
) -> tuple[tuple[Path, ...], Unfit, tuple[str, ...]]:
    """Write MIDI and sound of every passage, flat and shaped. The files, decisions that fit
    nowhere, and what a listener must know."""
    from sectionprep.outputs.audition import remarks, write_audition
    from sectionprep.outputs.folder import Run, staged

    score = read_score(path, options).without_trees()
    give_back()
    plan, unfit = plan_score(score, options)
    run = Run(
        chart=path,
        title=score.chart.title,
        kind="audition",
        reads=score.reads(options),
        whole=not wish.passages and not wish.part,
        force=options.force,
    )
    with staged(folder, run) as stage:
        said = [f"roster: {r.what}" for r in score.chart.remarks if r.where == ROSTER]
        said += remarks(score.chart, wish)
        files = write_audition(score.chart, score.together, plan, stage, wish, said.append)
        return tuple(folder / p.relative_to(stage) for p in files), unfit, tuple(said)


@collector_at_rest()
def write_checklist(marked: Marked, out: Path, options: Options, say: Say = no_word) -> Path:
    """Write the workbook alone; its path. say: is told of what stood there."""
    from sectionprep.outputs.edited_files import keep_own_things, typed_before
    from sectionprep.outputs.files import write_file

    typed = typed_before(out, options.decisions, marked.score.chart.title)
    made = _workbook(_book(marked, options, typed), typed)
    for line in keep_own_things(out, typed):
        say(line)
    reads = [read for read in marked.score.reads(options) if read != options.decisions]
    write_file(out, made, reads=reads)
    return out


@collector_at_rest()
def write_sheets(
    score: Score, folder: Path, options: Options, parts: Sequence[str], progress: Progress
) -> tuple[SheetReport, ...]:
    """Draw the parts of a chart as it stands. parts: names; empty means all."""
    from sectionprep.outputs.folder import Run, staged
    from sectionprep.outputs.parts.reprint import Printed, stamped
    from sectionprep.outputs.parts.sheets import Basis, draw_all, part_jobs

    chart = score.chart
    chosen = [find_part(chart.parts, name).index for name in parts] or None
    run = Run(
        chart=score.document.path,
        title=score.chart.title,
        kind="sheets",
        reads=score.reads(options),
        whole=chosen is None,
        force=options.force,
    )
    with staged(folder, run) as stage:
        plan = plan_score(score, options)[0] if options.syllables else None
        jobs = part_jobs(Basis.of_score(score, plan), stage, _sheet_style(options), parts=chosen)
        printed = Printed(sheets=folder if folder.is_dir() else None)
        return tuple(
            draw_all(
                stamped(jobs, _day_of(score), printed),
                _counter("drawing parts", len(chart.parts if chosen is None else chosen), progress),
            )
        )


def _counter(stage: str, of: int, progress: Progress) -> Callable[[], None]:
    """Counts finished jobs into a progress display."""
    done = 0
    progress(stage, 0, of)

    def tick() -> None:
        nonlocal done
        done += 1
        progress(stage, done, of)

    return tick


def _day_of(score: Score) -> date:
    """The date of the chart's file."""
    return date.fromtimestamp(max(source.path.stat().st_mtime for source in score.bundle.sources))
