"""The stages in order. The only place where they run one after the other.

read -> find passages -> plan phrasing -> mark every part -> check agreement -> sheets, workbook,
marked score
"""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

from sectionprep.checks import Finding, run_checks
from sectionprep.checks.versions import PartChange, compare_versions
from sectionprep.errors import BadArgument, DestinationError
from sectionprep.garbage import collector_at_rest
from sectionprep.marking import mark_chart
from sectionprep.music.chart import Chart, Remark, same_music
from sectionprep.music.naming import Players, find_part, find_players
from sectionprep.music.roster import EMPTY, Roster, read_roster
from sectionprep.musicxml.editing.bundle import mark_bundle, open_bundle, reread
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.passages import Together, find_passages
from sectionprep.phrasing import PRINTED, Plan, plan_line, plan_passages
from sectionprep.phrasing.agreed import agreed_plan
from sectionprep.phrasing.directives import Directive, apply_directives
from sectionprep.phrasing.plan_file import PlanFile, read_plan, write_plan
from sectionprep.results import Marked, Options, Score
from sectionprep.version import __version__

if TYPE_CHECKING:
    from sectionprep.outputs.audition import Wish
    from sectionprep.outputs.earlier import EarlierRun
    from sectionprep.outputs.parts.reprint import Printed
    from sectionprep.outputs.parts.sheet import SheetReport, SheetStyle
    from sectionprep.outputs.parts.sheet_remarks import SheetRemark
    from sectionprep.outputs.parts.sheets import Drawing
    from sectionprep.outputs.workbook import Typed


@dataclass(frozen=True, slots=True, kw_only=True)
class Prepared:
    """What `prepare` wrote. not_printed: why parts were not printed; not_as_written: bars that are
    not drawn as the file has them; notes: what a person must know about files that were there
    before; changed: parts whose sheets differ from those printed before, None on a first run;
    versions: what differs from the older version that was named; left: findings that nobody has
    settled; settled: those that a person has, in words."""

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


Progress = Callable[[str, int, int], None]
_PLAIN = Options()


def no_progress(_stage: str, _done: int, _of: int) -> None:
    """Say nothing."""


@collector_at_rest()
def read_score(path: Path, options: Options) -> Score:
    """Read a chart and find its passages."""
    roster = read_roster(options.roster) if options.roster else EMPTY
    bundle = open_bundle(path, options.limits, options.tune)
    chart = read_chart(bundle.document, options.limits, roster)
    roster = roster.of(chart.parts)
    if bundle.remark:
        chart = replace(
            chart, remarks=(Remark(where=path.name, what=bundle.remark), *chart.remarks)
        )
    together = find_passages(chart, roster)
    strangers = _strangers(roster, chart, together)
    if strangers:
        chart = replace(chart, remarks=(*strangers, *chart.remarks))
    return Score(bundle=bundle, chart=chart, together=together, roster=roster)


def _strangers(roster: Roster, chart: Chart, together: Together) -> tuple[Remark, ...]:
    """Lines of the roster that fit nothing in this chart."""
    groups = {p.id for p in together.passages} | {p.scope for p in together.passages}
    groups |= {f"bar {chart.place(p.start).bar}" for p in together.passages}
    found = [
        f"a seat for {seat.part}: {_why_not(chart, seat.part)}"
        for seat in roster.seats
        if seat.part not in chart.labels
    ]
    found += [
        f"{wish.part} to lead {wish.of}: {_why_not(chart, wish.part)}"
        for wish in roster.leads
        if wish.part not in chart.labels
    ]
    found += [
        f"{wish.part} to lead {wish.of}: no passage is called that or begins there"
        for wish in roster.leads
        if wish.part in chart.labels and wish.of not in groups
    ]
    return tuple(Remark(where="roster", what=what) for what in found)


def _why_not(chart: Chart, words: str) -> str:
    try:
        return f"is {find_part(chart.parts, words).label}"
    except BadArgument as error:
        return error.what.rstrip(".")


def plan_score(
    score: Score, options: Options, *, readings: bool = True
) -> tuple[Plan, tuple[tuple[Directive, str], ...]]:
    """Plan all passages; the director's plan file and then the workbook's decisions come last and
    win. readings: with other ways to phrase each; who only marks the score needs none."""
    settled = read_plan(options.plan) if options.plan else PlanFile()
    plan = plan_rules(score, options, settled, readings=readings)
    plan, unfit = apply_directives(score.chart, plan, settled.directives)
    plan, more = apply_directives(score.chart, plan, workbook_decisions(options))
    return plan, unfit + more


def plan_rules(score: Score, options: Options, settled: PlanFile, *, readings: bool = True) -> Plan:
    """Plan all passages by the rules and the habits of the house, before any decision on single
    notes. settled: what the plan file settles; readings: as of `plan_score`."""
    return plan_passages(
        score.chart,
        score.together,
        style=options.style or settled.style or None,
        printed=_printed(options, settled),
        habits=settled.habits,
        readings=readings,
    )


def workbook_decisions(options: Options) -> tuple[Directive, ...]:
    """The decisions typed into the workbook that was named, if one was."""
    if options.decisions is None:
        return ()
    from sectionprep.outputs.workbook import read_typed, to_directives

    return to_directives(read_typed(options.decisions), options.decisions)


def _copied(options: Options) -> tuple[str, ...]:
    """Instructions that the director has asked to be copied to the parts they concern."""
    copied = read_plan(options.plan).copied if options.plan else ()
    if options.decisions is not None:
        from sectionprep.outputs.workbook.read import read_typed, to_copy

        copied += to_copy(read_typed(options.decisions), options.decisions)
    return copied


def _printed(options: Options, settled: PlanFile) -> str:
    printed = options.printed or settled.printed or "keep"
    if printed not in PRINTED:
        raise BadArgument(
            f"marks printed in the lead cannot be treated as {printed!r}.",
            remedy=f"Choose one of: {', '.join(PRINTED)}.",
        )
    return printed


def plan_part(score: Score, name: str, bars: str | None, options: Options) -> Plan:
    """Plan one part's line. bars: "17-24" in printed numbers, "17-" to the end."""
    chart = score.chart
    part = find_part(chart.parts, name)
    return plan_line(
        chart,
        part.index,
        bars=_bar_range(chart, bars),
        style=options.style,
        printed=_printed(options, PlanFile()),
    )


def _bar_range(chart: Chart, bars: str | None) -> tuple[int, int] | None:
    if not bars:
        return None
    first, dash, last = bars.partition("-")
    if dash and not last.strip():  # "17-": from there to the end
        last = chart.bars[-1].number
    numbers = {bar.number: bar.index for bar in reversed(chart.bars)}
    try:
        found = numbers[first.strip()], numbers[(last or first).strip()]
    except KeyError as error:
        raise BadArgument(
            f"there is no bar {error.args[0]}.",
            remedy=f"Bars run from {chart.bars[0].number} to {chart.bars[-1].number}.",
        ) from error
    if found[1] < found[0]:
        raise BadArgument(
            f"bars {bars!r} run backwards.", remedy="Say the first bar first, as in 17-24."
        )
    return found


@collector_at_rest()
def mark_score(score: Score, options: Options, *, readings: bool = True) -> Marked:
    """Mark every part, and read the result again for the checks. readings: as of `plan_score`."""
    plan, unfit = plan_score(score, options, readings=readings)
    return mark_planned(score, plan, options, unfit)


@collector_at_rest()
def fix_score(score: Score, options: Options) -> Marked:
    """Make the section agree with what is printed, without any phrasing of ours: the safe part of
    what `check` finds."""
    return mark_planned(score, agreed_plan(score.chart, score.together), options)


def mark_planned(
    score: Score,
    plan: Plan,
    options: Options,
    unfit: tuple[tuple[Directive, str], ...] = (),
) -> Marked:
    """Mark every part with this plan, and read the result again. unfit: decisions that fit
    nowhere, to be handed on."""
    marking = mark_chart(
        score.chart,
        score.together,
        plan,
        section=options.section,
        copied=_copied(options),
    )
    files = mark_bundle(score.bundle, marking.edits, marking.dropped)
    document = reread(score.bundle, files, options.limits)
    chart = read_chart(document, options.limits, score.roster)
    again = Score(
        bundle=replace(
            score.bundle,
            document=document,
            sources=(document,) if len(files) == 1 else score.bundle.sources,
        ),
        chart=chart,
        together=score.together
        if same_music(chart, score.chart)
        else find_passages(chart, score.roster),
        roster=score.roster,
    )
    return Marked(
        score=score,
        plan=plan,
        marking=marking,
        files=files,
        again=again,
        unfit=unfit,
        level=options.level,
    )


def write_plan_file(score: Score, plan: Plan, out: Path, options: Options) -> Path:
    """Write the plan as a file to edit by hand."""
    from sectionprep.outputs.edited_files import is_edited_plan
    from sectionprep.outputs.files import write_file

    if is_edited_plan(out) and not options.force:
        raise DestinationError(
            "was edited by hand.",
            where=str(out),
            remedy="Choose another name with -o, or replace it with --force.",
        )
    text = write_plan(score.chart, plan, options.printed or "keep")
    write_file(out, text.encode("utf-8"), reads=score.reads(options))
    return out


def check_score(score: Score, options: Options) -> tuple[Finding, ...]:
    """Run all checks on a chart as it is."""
    return run_checks(score.chart, score.together, level=options.level)


def write_marked(marked: Marked, out: Path, options: Options = _PLAIN) -> tuple[Path, ...]:
    """Write the marked score (for a folder of parts: a folder of marked files) and the change
    records."""
    from sectionprep.outputs.files import refuse_input, write_file
    from sectionprep.outputs.reports.agreement import changes_json
    from sectionprep.outputs.reports.marked_score import packed, record_json, refuse_foreign

    score = marked.score
    if not out.name and not score.bundle.is_folder:
        raise DestinationError(
            "names no file to write.",
            where=f"{str(out)!r}",
            remedy="Name one with -o, for example -o chart_marked.musicxml.",
        )
    if not score.bundle.is_folder and out.suffix.lower() not in _SCORE_ENDINGS:
        raise DestinationError(
            f"{out.suffix or 'no ending'} is no ending of a score.",
            where=str(out),
            remedy=f"End it with one of {', '.join(_SCORE_ENDINGS)}.",
        )
    changes = changes_json(score.chart, marked.marking)
    written: list[Path] = []
    places = [
        (file, target, target.with_name(f"{target.stem}.changes.json"))
        for file in marked.files
        for target in [out / file.source.path.name if score.bundle.is_folder else out]
    ]
    for _, target, record in places:
        refuse_input(target, score.reads(options))
        if not options.force:
            refuse_foreign(target, record)
    for file, target, record in places:
        body = record_json(file.source, file.data, file.splices, changes)
        reads = score.reads(options)
        write_file(target, packed(file.source, file.data, target.suffix), reads=reads)
        write_file(record, body.encode("utf-8"), reads=reads)
        written += [target, record]
    return tuple(written)


_SCORE_ENDINGS = (".musicxml", ".xml", ".mxl")


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
    from sectionprep.outputs.earlier import earlier_run
    from sectionprep.outputs.edited_files import plan_place, workbook_place
    from sectionprep.outputs.folder import Run, staged
    from sectionprep.outputs.names import safe_name, stem_of
    from sectionprep.outputs.parts.printed import not_as_written, not_printed
    from sectionprep.outputs.parts.sheets import Drawing
    from sectionprep.outputs.workbook import settled_in
    from sectionprep.outputs.workbook.rows import open_findings

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
    marked = mark_score(score, options)
    printed = _printed_before(marked, folder, earlier, options)
    run = Run(
        chart=path,
        kind="prepare",
        reads=score.reads(options),
        typed_in={workbook, place.name, plan_file, f"{stem}_plan.toml"},
        force=options.force,
        say=notes.append,
    )
    with staged(folder, run) as stage, Drawing(workers) as drawing:
        reports, not_drawn, changed = _write_everything(
            marked, stage, stem, options, drawing, typed, printed, progress
        )
        (stage / workbook).write_bytes(_workbook(marked, options, typed, reports))
        if plan_file:
            (stage / plan_file).write_text(
                write_plan(score.chart, marked.plan, options.printed or "keep"), encoding="utf-8"
            )
        files = sorted(p.relative_to(stage) for p in stage.rglob("*") if p.is_file())
    left, settled = open_findings(marked, settled_in(typed))
    return Prepared(
        marked=marked,
        folder=folder,
        files=tuple(folder / f for f in files),
        pages=sum(r.pages for r in reports),
        hard_turns=sum(not t.possible for r in reports for t in r.turns),
        not_printed=(*not_printed(reports), *not_drawn),
        not_as_written=not_as_written(marked.again.chart, reports),
        notes=tuple(notes),
        changed=changed if printed.sheets is not None else None,
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


def _write_everything(
    marked: Marked,
    stage: Path,
    stem: str,
    options: Options,
    drawing: Drawing,
    typed: Typed | None,
    printed: Printed,
    progress: Progress,
) -> _Drawn:
    """Marked score, sheets, print sets, director's pages, workbook and report. All else is made
    while the parts are drawn."""
    from sectionprep.outputs.director.pages import director_pdf, study_pdf, write_map
    from sectionprep.outputs.director.small_score import small_score_pdf
    from sectionprep.outputs.names import safe_name
    from sectionprep.outputs.parts.print_set import bind, changed_set, set_jobs
    from sectionprep.outputs.parts.reprint import changed_sheets, stamp_of, stamped
    from sectionprep.outputs.parts.sheets import part_jobs
    from sectionprep.outputs.reports.agreement import older_text

    score, again = marked.score, marked.again
    day = _day_of(score)
    footer = stamp_of(again.chart.title, again.document.data, day)
    (stage / "parts").mkdir()
    (stage / "sets").mkdir()
    jobs = part_jobs(
        again.document,
        again.chart,
        stage / "parts",
        style=_sheet_style(options),
        footer="",
        together=again.together,
        roster=score.roster,
        plan=marked.plan,
        marking=marked.marking,
    )
    drawing.draw(stamped(jobs, day, printed))
    write_marked(
        marked, stage / (f"{stem}_marked" + ("" if score.bundle.is_folder else score.bundle.suffix))
    )
    progress("drawing the director's pages", 0, 1)
    director = stage / f"{stem}_director.pdf"
    pages = director_pdf(marked, paper=options.paper, footer=footer, pitch=options.study)
    director.write_bytes(pages.pdf)
    not_drawn = pages.not_drawn
    write_map(director, stage / f"{stem}_map.png")
    for who in _study_for(again.chart, options):
        mine = study_pdf(marked, who, paper=options.paper, footer=footer, pitch=options.study)
        (stage / f"{stem}_study_{safe_name(who.name)}.pdf").write_bytes(mine.pdf)
        not_drawn += mine.not_drawn
    if options.score:
        progress("drawing the score", 0, 1)
        small = small_score_pdf(again, paper=options.paper, footer=footer, pitch=options.score)
        (stage / f"{stem}_score.pdf").write_bytes(small.pdf)
        not_drawn += small.not_drawn
    reports = drawing.reports(_counter("drawing parts", len(drawing.jobs), progress))
    good = [r for r in reports if not r.failed]
    changed = changed_sheets(good, printed)
    to_bind = set_jobs(score.chart, good, _copies(score.roster, typed), stage / "sets")
    to_bind += changed_set(score.chart, changed, stage / "sets")
    sets = [drawing.also(bind, job) for job in to_bind]
    progress("writing the workbook", 0, 1)
    report = _report(marked, reports) + older_text(printed.versions)
    (stage / f"{stem}_agreement.txt").write_text(report, encoding="utf-8")
    for wait in sets:
        wait()
    return _Drawn(reports, not_drawn, tuple(report.name for report in changed))


def _study_for(chart: Chart, options: Options) -> list[Players]:
    """Whose study pages were asked for by themselves, each once."""
    return list(dict.fromkeys(find_players(chart.parts, words) for words in options.study_for))


class _Drawn(NamedTuple):
    """reports: of the sheets; not_drawn: why music is missing in the director's pages; changed:
    parts whose sheets differ from those printed before."""

    reports: list[SheetReport]
    not_drawn: tuple[str, ...]
    changed: tuple[str, ...]


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
    from sectionprep.outputs.parts.sheet import SheetStyle

    return SheetStyle(
        paper=options.paper,
        staff=options.staff,
        section_help=options.section_help,
        rhythm_cues=options.rhythm_cues,
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


def _workbook(
    marked: Marked, options: Options, typed: Typed | None, reports: Sequence[SheetReport] = ()
) -> bytes:
    from sectionprep.outputs.workbook import settled_in, write_workbook
    from sectionprep.outputs.workbook.rehearsal_plan import plan_rehearsal
    from sectionprep.outputs.workbook.rows import build_book

    items = plan_rehearsal(marked, options.minutes)
    return write_workbook(build_book(marked, items, reports, settled_in(typed)), typed)


def audition(
    path: Path, folder: Path, options: Options, wish: Wish
) -> tuple[tuple[Path, ...], tuple[tuple[Directive, str], ...], tuple[str, ...]]:
    """Write MIDI and sound of every passage, flat and shaped. The files, decisions that fit
    nowhere, and what a listener must know."""
    from sectionprep.outputs.audition import remarks, write_audition
    from sectionprep.outputs.folder import Run, staged

    score = read_score(path, options)
    plan, unfit = plan_score(score, options)
    run = Run(
        chart=path,
        kind="audition",
        reads=score.reads(options),
        whole=not wish.passages and not wish.part,
        force=options.force,
    )
    with staged(folder, run) as stage:
        said = list(remarks(score.chart, wish))
        files = write_audition(score.chart, score.together, plan, stage, wish, said.append)
        return tuple(folder / p.relative_to(stage) for p in files), unfit, tuple(said)


@collector_at_rest()
def write_checklist(marked: Marked, out: Path, options: Options) -> Path:
    """Write the workbook alone."""
    from sectionprep.outputs.edited_files import typed_before
    from sectionprep.outputs.files import write_file

    typed = typed_before(out, options.decisions, marked.score.chart.title)
    write_file(
        out,
        _workbook(marked, options, typed),
        reads=[read for read in marked.score.reads(options) if read != options.decisions],
    )
    return out


@collector_at_rest()
def write_sheets(
    score: Score, folder: Path, options: Options, parts: Sequence[str], progress: Progress
) -> tuple[SheetReport, ...]:
    """Draw the parts of a chart as it stands. parts: names; empty means all."""
    from sectionprep.outputs.folder import Run, staged
    from sectionprep.outputs.parts.reprint import Printed, stamped
    from sectionprep.outputs.parts.sheets import draw_all, part_jobs

    chart = score.chart
    chosen = [find_part(chart.parts, name).index for name in parts] or None
    run = Run(
        chart=score.document.path,
        kind="sheets",
        reads=score.reads(options),
        whole=chosen is None,
        force=options.force,
    )
    with staged(folder, run) as stage:
        jobs = part_jobs(
            score.document,
            chart,
            stage,
            style=_sheet_style(options),
            footer="",
            parts=chosen,
            together=score.together,
            roster=score.roster,
            plan=plan_score(score, options)[0] if options.syllables else None,
        )
        printed = Printed(sheets=folder if folder.is_dir() else None)
        return tuple(
            draw_all(
                stamped(jobs, _day_of(score), printed),
                _counter("drawing parts", len(chart.parts if chosen is None else chosen), progress),
            )
        )


def to_json(data: dict[str, Any]) -> str:
    """The one way in which results are printed as JSON; the first field is our version."""
    data = {"sectionprep": __version__, **data}
    text = json.dumps(data, ensure_ascii=False, indent=1)
    # what steers a terminal or turns the reading direction is written as JSON's escape
    return "".join(c if c.isprintable() or c == "\n" else json.dumps(c)[1:-1] for c in text)
