"""The marked score, and back."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sectionprep.cli.app import app, asked, beside
from sectionprep.cli.arguments import (
    Decisions,
    Hits,
    PlanPath,
    Printed,
    RosterFile,
    Score,
    Section,
    Style,
    Tune,
    out_to,
)
from sectionprep.cli.telling import counted, say, say_taken_out, say_unfit


@app.command()
def mark(
    chart: Score,
    out: Annotated[
        Path | None, out_to("The marked score; by default CHART_marked beside the chart.")
    ] = None,
    style: Style = None,
    printed: Printed = None,
    section: Section = "match",
    rhythm_hits: Hits = False,
    plan: PlanPath = None,
    decisions: Decisions = None,
    roster: RosterFile = None,
    tune: Tune = None,
    undo: Annotated[
        bool, typer.Option("--undo", help="CHART is a marked score: write the original again.")
    ] = False,
    record: Annotated[
        Path | None,
        typer.Option(help="With --undo: the change record (by default beside the score)."),
    ] = None,
) -> None:
    """Write the marked score and its change record, or undo them."""
    from sectionprep import stages
    from sectionprep.errors import BadArgument

    if record is not None and not undo:
        raise BadArgument(
            "--record goes with --undo.", remedy="Give both, or leave the record out."
        )
    if undo:
        from sectionprep.outputs.files import write_file
        from sectionprep.outputs.reports.marked_score import undo as undo_marks

        pairs = [
            (
                chart,
                record or chart.with_name(f"{chart.stem}.changes.json"),
                out or chart.with_name(f"{chart.stem}_original{chart.suffix}"),
            )
        ]
        if chart.is_dir():
            target = out or chart.with_name(f"{chart.name}_original")
            pairs = [
                (file, file.with_name(f"{file.stem}.changes.json"), target / file.name)
                for file in sorted(chart.iterdir())
                if file.with_name(f"{file.stem}.changes.json").exists()
                and not file.name.endswith(".changes.json")
            ]
            if not pairs:
                raise BadArgument(
                    f"{chart} holds no change records.", remedy="Name the folder that `mark` wrote."
                )
        originals = [
            (target, undo_marks(marked_file, beside, target.suffix), marked_file)
            for marked_file, beside, target in pairs
        ]
        for target, data, marked_file in originals:
            write_file(target, data, source=marked_file)
            say(f"Written: {target}")
        return
    options = asked(
        style=style,
        printed=printed,
        section=section,
        rhythm_hits=rhythm_hits,
        plan=plan,
        decisions=decisions,
        roster=roster,
        tune=tune,
    )
    marked = stages.mark_score(stages.read_score(chart, options), options, readings=False)
    say_unfit(marked.unfit)
    suffix = "" if marked.score.bundle.is_folder else marked.score.bundle.suffix
    target = out or beside(chart, tune, f"_marked{suffix}")
    paths = stages.write_marked(marked, target)
    say_taken_out(marked)
    for path in paths:
        say(f"Written: {path}")
    say(
        f"{counted(len(marked.marking.written), 'change')} in "
        f"{counted(len(marked.marking.edits), 'note')}."
    )
