"""Part sheets."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated

import typer

from sectionprep.cli.app import app, asked, beside
from sectionprep.cli.arguments import (
    Bpm,
    Courtesy,
    Cues,
    Decisions,
    Force,
    Help,
    House,
    Paper,
    PlanPath,
    RhythmCues,
    RosterFile,
    Score,
    Staff,
    Syllables,
    Tune,
    out_to,
)
from sectionprep.cli.telling import progress_shown, say, say_remarks, say_sheets, say_strangers
from sectionprep.errors import NOT_PRINTED_EXIT_CODE


@app.command()
def sheets(
    chart: Score,
    out: Annotated[
        Path | None, out_to("Folder for the PDF files; by default CHART_parts beside the chart.")
    ] = None,
    part: Annotated[
        list[str] | None,
        typer.Option(metavar="<name>", help="Only this part; may be given several times."),
    ] = None,
    paper: Paper = "letter",
    staff: Staff = 7.5,
    section_help: Help = True,
    cues: Cues = True,
    rhythm_cues: RhythmCues = True,
    courtesy: Courtesy = True,
    syllables: Syllables = False,
    plan: PlanPath = None,
    decisions: Decisions = None,
    house: House = None,
    bpm: Bpm = None,
    roster: RosterFile = None,
    tune: Tune = None,
    force: Force = False,
) -> None:
    """Print the parts of a chart as they stand, one PDF each."""
    from sectionprep import one_output, stages
    from sectionprep.outputs.parts.printed import not_as_written, not_printed

    options = asked(
        paper=paper,
        staff=staff,
        section_help=section_help,
        cues=cues,
        rhythm_cues=rhythm_cues,
        courtesy=courtesy,
        syllables=syllables,
        plan=plan,
        decisions=decisions,
        house=house,
        bpm=bpm,
        roster=roster,
        tune=tune,
        force=force,
    )
    score = stages.read_score(chart, options)
    say_strangers(score)
    folder = out or beside(chart, tune, "_parts")
    with progress_shown() as progress:
        reports = one_output.write_sheets(score, folder, options, part or [], progress)
    wrong = not_printed(reports), not_as_written(score.chart, reports)
    say_sheets(*wrong)
    for report in reports:
        if report.failed:
            continue
        turns = "".join(f"; turn {t.where}: {t.free}" for t in report.turns)
        say(f"{report.name}: {report.pages} page{'s' if report.pages > 1 else ''}{turns}")
    say_remarks(remark for report in reports for remark in report.remarks)
    say(f"Written: {folder}{os.sep}")
    if any(wrong):
        raise typer.Exit(NOT_PRINTED_EXIT_CODE)
