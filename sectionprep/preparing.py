"""What is made of the stages' results: everything a director takes to rehearsal, in one folder
that is there whole or not at all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from sectionprep.checks import Finding
from sectionprep.checks.versions import PartChange, compare_versions
from sectionprep.garbage import collector_at_rest, give_back
from sectionprep.music.chart import Chart
from sectionprep.music.naming import Players, find_players
from sectionprep.music.roster import Roster
from sectionprep.one_output import (
    Progress,
    book_of,
    counter,
    day_of,
    no_progress,
    sheet_style,
    workbook_bytes,
)
from sectionprep.outputs.earlier import EarlierRun, earlier_run
from sectionprep.outputs.edited_files import keep_own_things, plan_place, workbook_place
from sectionprep.outputs.folder import Run, files_of, finish_killed, staged
from sectionprep.outputs.names import safe_name, stem_of
from sectionprep.outputs.reports.agreement import older_text
from sectionprep.outputs.settled import read_settled, settled_beside
from sectionprep.phrasing.plan_file import write_plan
from sectionprep.results import Marked, Options
from sectionprep.stages import bars_without_cues, mark_score, read_score, write_marked

if TYPE_CHECKING:
    from sectionprep.outputs.parts.part_job import SheetReport
    from sectionprep.outputs.parts.reprint import Printed
    from sectionprep.outputs.parts.sheet_remarks import SheetRemark
    from sectionprep.outputs.parts.sheets import Drawing
    from sectionprep.outputs.workbook import Typed
    from sectionprep.outputs.workbook.rows import Book


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


@dataclass(frozen=True, slots=True, kw_only=True)
class _Desk:
    """What every step of a run has at hand. stage: where its files stand until all are there.
    workbook, plan: their names; the plan's is empty where the one that was given stays. typed: what
    a person has put into the workbook before."""

    stage: Path
    stem: str
    workbook: str
    plan: str
    typed: Typed | None
    options: Options
    drawing: Drawing
    progress: Progress


def _prepare(
    path: Path, folder: Path, options: Options, progress: Progress, drawing: Drawing
) -> Prepared:
    """The stages, then all that is drawn and written; what takes longest to draw is begun first."""
    from sectionprep.outputs.parts.printed import not_as_written, not_printed

    finish_killed(folder)
    earlier = earlier_run(options.before) if options.before is not None else None
    options = _with_earlier(options, earlier)
    stem = safe_name(stem_of(path), "chart")
    progress("reading", 0, 1)
    score = read_score(path, options)
    players = _study_for(score.chart, options)  # a wrong name is said before anything is drawn
    progress("planning and marking", 0, 1)
    place = folder / f"{stem}_rehearsal.xlsx"
    workbook, typed, notes = workbook_place(place, options.decisions, score.chart.title)
    plan, more = plan_place(folder / f"{stem}_plan.toml", options.plan)
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
        typed_in={workbook, place.name, plan, f"{stem}_plan.toml"},
        force=options.force,
        say=notes.append,
    )
    with staged(folder, run) as stage:
        desk = _Desk(
            stage=stage,
            stem=stem,
            workbook=workbook,
            plan=plan,
            typed=typed,
            options=options,
            drawing=drawing,
            progress=progress,
        )
        _begin_sheets(desk, marked, printed)
        marked, not_drawn = _draw_for_the_director(desk, marked, players)
        if plan:
            _write_plan(desk, marked)
        settled_before = read_settled(settled_beside(options.plan or folder / f"{stem}_plan.toml"))
        # only now: it loads the library of workbooks, while the parts are drawn
        from sectionprep.outputs.workbook.findings import open_findings

        book = book_of(marked, options, typed, settled_before)
        reports = drawing.reports(counter("drawing parts", len(drawing.jobs), progress))
        changed = _bind_and_report(desk, marked, reports, printed, book)
        notes += keep_own_things(folder / workbook, typed)
        left, settled = open_findings(marked, typed, settled_before)
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


def _with_earlier(options: Options, earlier: EarlierRun | None) -> Options:
    """The options, with the decisions and the plan of an earlier run where no others are named."""
    if earlier is None:
        return options
    return replace(
        options,
        decisions=options.decisions or earlier.workbook,
        plan=options.plan or earlier.plan,
    )


def _printed_before(
    marked: Marked, folder: Path, earlier: EarlierRun | None, options: Options
) -> Printed:
    """What stands in the folder of an earlier run, and which bars differ from the marked score
    there. earlier: the one that was named; else the last into this folder, whose bars are compared
    only where that is to be shown."""
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


def _begin_sheets(desk: _Desk, marked: Marked, printed: Printed) -> None:
    """Have the parts drawn."""
    from sectionprep.outputs.parts.reprint import stamped
    from sectionprep.outputs.parts.sheets import Basis, part_jobs

    folder = desk.stage / "parts"
    folder.mkdir()
    jobs = part_jobs(Basis.of_marked(marked), folder, sheet_style(desk.options))
    desk.drawing.draw(stamped(jobs, day_of(marked.score), printed))


def _draw_for_the_director(
    desk: _Desk, marked: Marked, players: list[Players]
) -> tuple[Marked, tuple[str, ...]]:
    """The scores, the map and the study pages. Returns the results without the trees that nobody
    needs any more, and why music is missing on these pages."""
    from sectionprep.outputs.director.pages import shown_studies, write_pages

    options = desk.options
    shown = shown_studies(marked, options.study, players)
    missing = _write_scores(desk, marked)
    if not options.practice:  # else its pages are still to be cut out
        marked = marked.without_trees()
        give_back()
    desk.progress("drawing the director's pages", 0, 1)
    names, footer = desk.stage / desk.stem, _footer(marked)
    not_drawn = write_pages(marked, shown, names, options.paper, footer, desk.drawing.beside)
    return marked, (*not_drawn, *missing)


def _write_scores(desk: _Desk, marked: Marked) -> tuple[str, ...]:
    """The marked score, and the small one for the director where that is wanted. Returns why music
    is missing in it."""
    from sectionprep.outputs.director.small_score import small_score_pdf
    from sectionprep.outputs.parts.rhythm_choice import worth_catching

    options, bundle, again = desk.options, marked.score.bundle, marked.again
    ending = "" if bundle.is_folder else bundle.suffix
    write_marked(marked, desk.stage / f"{desk.stem}_marked{ending}")
    if not options.score:
        return ()
    desk.progress("drawing the score", 0, 1)
    small = small_score_pdf(
        again,
        paper=options.paper,
        footer=_footer(marked),
        pitch=options.score,
        caught=worth_catching(again.chart, again.together, bars_without_cues(options))
        if options.rhythm_cues_in_score
        else (),
        apart=desk.drawing.beside,
    )
    (desk.stage / f"{desk.stem}_score.pdf").write_bytes(small.pdf)
    return small.not_drawn


def _footer(marked: Marked) -> str:
    """What stands at the foot of what is printed of the whole chart."""
    from sectionprep.outputs.parts.reprint import stamp_of

    again = marked.again
    return stamp_of(again.chart.title, again.document.data, day_of(marked.score))


def _study_for(chart: Chart, options: Options) -> list[Players]:
    """Whose study pages were asked for by themselves, each once."""
    return list(dict.fromkeys(find_players(chart.parts, words) for words in options.study_for))


def _write_plan(desk: _Desk, marked: Marked) -> None:
    """The plan, to be edited by hand."""
    options = desk.options
    printed, without_cues = options.printed or "keep", bars_without_cues(options)
    text = write_plan(marked.score.chart, marked.plan, printed, without_cues)
    (desk.stage / desk.plan).write_text(text, encoding="utf-8")


def _bind_and_report(
    desk: _Desk, marked: Marked, reports: Sequence[SheetReport], printed: Printed, book: Book
) -> Sequence[SheetReport]:
    """The print sets, bound while report and workbook are written. Returns the sheets that differ
    from those printed before."""
    from sectionprep.outputs.parts.print_set import all_sets, bind
    from sectionprep.outputs.parts.reprint import changed_sheets

    score, sets = marked.score, desk.stage / "sets"
    changed = changed_sheets(reports, printed)
    sets.mkdir()
    jobs = all_sets(score.chart, reports, _copies(score.roster, desk.typed), sets, changed)
    bound = [desk.drawing.also(bind, job) for job in jobs]
    desk.progress("writing the workbook", 0, 1)
    report = _report(marked, reports) + older_text(printed.versions)
    (desk.stage / f"{desk.stem}_agreement.txt").write_text(report, encoding="utf-8")
    (desk.stage / desk.workbook).write_bytes(workbook_bytes(book, desk.typed, reports))
    for wait in bound:
        wait()
    return changed


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


def _copies(roster: Roster, typed: Typed | None) -> dict[str, int]:
    """Sheets to print for each part: what was typed into the workbook, else what the roster
    says."""
    from sectionprep.outputs.workbook import copies_of

    return {seat.part: seat.copies for seat in roster.seats} | (
        copies_of(typed) if typed is not None else {}
    )
