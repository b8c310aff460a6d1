"""The whole job, and its workbook alone."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated, Any

import typer

from sectionprep.cli.app import app, asked, beside
from sectionprep.cli.arguments import (
    Before,
    Bpm,
    Courtesy,
    Cues,
    Decisions,
    Force,
    Help,
    House,
    Level,
    Minutes,
    NoRhythmCues,
    Paper,
    PlanPath,
    Printed,
    Proof,
    RhythmCuesIn,
    RosterFile,
    Score,
    Section,
    ShowChanges,
    SmallScore,
    Staff,
    Study,
    StudyFor,
    Style,
    Syllables,
    Tune,
    out_to,
)
from sectionprep.cli.telling import (
    counted,
    progress_shown,
    say,
    say_not_applied,
    say_remarks,
    say_sheets,
    say_strangers,
    say_taken_out,
)
from sectionprep.errors import NOT_PRINTED_EXIT_CODE


@app.command()
def prepare(
    chart: Score,
    out: Annotated[
        Path | None, out_to("Folder to write to; by default CHART_prepared beside the chart.")
    ] = None,
    style: Style = None,
    printed: Printed = None,
    section: Section = "match",
    level: Level = "pro",
    minutes: Minutes = 45,
    paper: Paper = "letter",
    staff: Staff = 7.5,
    section_help: Help = True,
    cues: Cues = True,
    courtesy: Courtesy = True,
    syllables: Syllables = False,
    proof: Proof = False,
    score: SmallScore = None,
    study: Study = "sounding",
    study_for: StudyFor = None,
    rhythm_cues: RhythmCuesIn = "sheets",
    no_rhythm_cues: NoRhythmCues = False,
    plan: PlanPath = None,
    house: House = None,
    bpm: Bpm = None,
    decisions: Decisions = None,
    roster: RosterFile = None,
    tune: Tune = None,
    before: Before = None,
    show_changes: ShowChanges = False,
    review_page: Annotated[
        bool,
        typer.Option(
            "--review-page",
            help="Also write CHART_review.html: one file in which a section leader looks, listens "
            "and comments without this program.",
        ),
    ] = False,
    force: Force = False,
) -> None:
    """Do the whole job: marked score, part sheets, workbook, agreement report."""
    from sectionprep import preparing, stages
    from sectionprep.errors import BadArgument

    if rhythm_cues == "score" and (no_rhythm_cues or score is None):
        asks = "--no-rhythm-cues wants none" if no_rhythm_cues else "no score is asked for"
        raise BadArgument(
            f"--rhythm-cues score shows them in the score, and {asks}.",
            remedy="Leave out --no-rhythm-cues." if no_rhythm_cues else "Add --score written.",
        )
    options = asked(
        style=style,
        printed=printed,
        section=section,
        level=level,
        minutes=minutes,
        paper=paper,
        staff=staff,
        section_help=section_help,
        cues=cues,
        courtesy=courtesy,
        syllables=syllables,
        proof=proof,
        score=score,
        study=study,
        study_for=tuple(study_for or ()),
        rhythm_cues=not no_rhythm_cues,
        rhythm_cues_in_score=rhythm_cues == "score",
        plan=plan,
        house=house,
        bpm=bpm,
        decisions=decisions,
        roster=roster,
        tune=tune,
        before=before,
        show_changes=show_changes,
        force=force,
    )
    folder = out or beside(chart, tune, "_prepared")
    with progress_shown() as progress:
        done = preparing.prepare(chart, folder, options, progress)
        if review_page:
            from sectionprep.review.leaf import write_leaf

            progress("drawing the review page", 0, 1)
            plan_made = next((f for f in done.files if f.suffix == ".toml"), options.plan)
            page = write_leaf(chart, folder, options, plan_made)
    summary(done)
    if review_page:
        say(f"  {page} ({page.stat().st_size / 1e6:.1f} MB: send it to your section leaders)")
    for words in stages.comments(options):
        say(f"Said of {words}")
    if done.not_printed or done.not_as_written:
        raise typer.Exit(NOT_PRINTED_EXIT_CODE)


@app.command()
def checklist(
    chart: Score,
    out: Annotated[
        Path | None, out_to("The workbook; by default CHART_rehearsal.xlsx beside the chart.")
    ] = None,
    style: Style = None,
    printed: Printed = None,
    section: Section = "match",
    level: Level = "pro",
    minutes: Minutes = 45,
    plan: PlanPath = None,
    house: House = None,
    bpm: Bpm = None,
    decisions: Decisions = None,
    roster: RosterFile = None,
    tune: Tune = None,
) -> None:
    """Write the rehearsal workbook alone."""
    from sectionprep import one_output, stages
    from sectionprep.errors import BadArgument

    if out is not None and out.suffix.lower() != ".xlsx":
        raise BadArgument(
            f"a workbook is a .xlsx file; --out names {str(out)!r}.", remedy="Give it that ending."
        )
    options = asked(
        style=style,
        printed=printed,
        section=section,
        level=level,
        minutes=minutes,
        plan=plan,
        house=house,
        bpm=bpm,
        decisions=decisions,
        roster=roster,
        tune=tune,
    )
    score = stages.read_score(chart, options)
    say_strangers(score)
    marked = stages.mark_score(score, options)
    target = out or beside(chart, tune, "_rehearsal.xlsx")
    say_not_applied(marked.unfit)
    say(f"Written: {one_output.write_checklist(marked, target, options, say)}")


def summary(done: Any) -> None:
    from sectionprep.outputs.reports.agreement import versions_text
    from sectionprep.outputs.workbook.findings import look_first
    from sectionprep.phrasing.deciding import say_unfit

    marked = done.marked
    say_sheets(done.not_printed, done.not_as_written)
    chart, passages = marked.score.chart, marked.score.together.passages
    kinds = {t: sum(p.texture == t for p in passages) for t in ("unison", "octaves", "soli")}
    say(
        f"{chart.title}: {len(chart.parts)} parts, {len(chart.bars)} bars, phrased as "
        f"{marked.plan.style} ({marked.plan.style_why})."
    )
    say_taken_out(marked)
    for remark in chart.remarks[:5]:
        say(f"  note: {remark.where}: {remark.what}")
    if len(chart.remarks) > 5:
        say(f"  note: and {len(chart.remarks) - 5} more; `passages --json` lists them all.")
    say(
        f"Found {counted(len(passages), 'passage')}: "
        + ", ".join(f"{n} {t}" for t, n in kinds.items())
        + "."
    )
    say(
        f"Wrote {len(marked.marking.written)} marks; findings: {len(marked.before)} before, "
        f"{len(marked.after)} left."
    )
    for decision, why in marked.unfit:
        say(f"  decision not applied: {say_unfit(decision, why)}")
    for note in done.notes:
        say(f"  note: {note}")
    first = look_first(marked.again.chart, done.left)
    if first:
        say("Look at these first:")
        for line in first:
            say(f"  {line}")
        taken = counted(len(marked.marking.taken_out), "printed mark")
        say(f"  Taken out: {taken}. Not printed: {counted(len(done.not_printed), 'part')}.")
    if done.settled:
        say(f"Settled by you: {counted(len(done.settled), 'finding')}.")
    if done.pages:
        turns = f", {done.hard_turns} turns without time" if done.hard_turns else ""
        say(f"Printed {done.pages} pages{turns}.")
    _say_changed(done)
    for line in versions_text(done.versions):
        say(f"  {line}")
    say_remarks(done.sheet_remarks)
    say("Written:")
    for path in done.files:
        if path.parent == done.folder:
            say(f"  {path}")
    for name, says in (
        ("parts", "part sheets"),
        ("sets", "print sets: a section or the band in one file"),
    ):
        inside = [f for f in done.files if f.parent == done.folder / name and f.suffix == ".pdf"]
        if inside:
            say(f"  {inside[0].parent}{os.sep} ({len(inside)} {says})")


_NAMED = 6  # so many sheets are named


def _say_changed(done: Any) -> None:
    """Which sheets have to be printed again, where there was an earlier run."""
    if done.changed is None:
        return
    of = len(done.marked.score.chart.parts)
    if not done.changed:
        say(f"None of {of} sheets changed: nothing to print again.")
        return
    names = ", ".join(done.changed[:_NAMED]) + (" ..." if len(done.changed) > _NAMED else "")
    place = done.folder / "sets" / "changed.pdf"
    say(f"{len(done.changed)} of {of} sheets changed: {names}. They are in {place}.")
