"""Look, listen and decide in a browser."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sectionprep.cli.app import app, asked, beside
from sectionprep.cli.arguments import (
    Bpm,
    Courtesy,
    Cues,
    Decisions,
    Help,
    House,
    Level,
    Minutes,
    Paper,
    PlanPath,
    Printed,
    Proof,
    RhythmCues,
    RosterFile,
    Score,
    Section,
    SmallScore,
    Staff,
    Study,
    Style,
    Syllables,
    Tune,
    out_to,
)
from sectionprep.cli.telling import say


@app.command()
def review(
    chart: Score,
    out: Annotated[
        Path | None,
        out_to("Folder for plan and sheets; by default CHART_prepared beside the chart."),
    ] = None,
    no_open: Annotated[
        bool, typer.Option("--no-open", help="Print the address and open no browser.")
    ] = False,
    port: Annotated[
        int, typer.Option(min=0, max=65535, help="Port to listen at; 0 takes any free one.")
    ] = 0,
    lan: Annotated[
        bool,
        typer.Option(
            "--lan",
            help="Others in your network may look and listen, with an address of their own; they "
            "can decide nothing.",
        ),
    ] = False,
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
    rhythm_cues: RhythmCues = True,
    plan: PlanPath = None,
    house: House = None,
    bpm: Bpm = None,
    decisions: Decisions = None,
    roster: RosterFile = None,
    tune: Tune = None,
) -> None:
    """Look, listen and decide on a page in your browser; this machine alone can open it."""
    from sectionprep.garbage import collector_at_rest

    with collector_at_rest():  # hundreds of modules are loaded, and nothing of them is rubbish
        from sectionprep.errors import BadArgument
        from sectionprep.review.serve import serve, serve_book
        from sectionprep.review.shelf import is_book

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
        rhythm_cues=rhythm_cues,
        plan=plan,
        house=house,
        bpm=bpm,
        decisions=decisions,
        roster=roster,
        tune=tune,
    )
    if is_book(chart, options):
        if lan or out or plan or decisions:
            raise BadArgument(
                "--lan, --out, --plan and --decisions are for one chart.",
                remedy="Name the chart, or leave them out.",
            )
        serve_book(chart, options, port=port, opens=not no_open, tell=say)
        return
    folder = out or beside(chart, tune, "_prepared")
    serve(chart, folder, options, port=port, opens=not no_open, lan=lan, tell=say)
