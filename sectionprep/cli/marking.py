"""The marked score, and back."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from sectionprep.cli.app import app, asked, beside
from sectionprep.cli.arguments import (
    Bpm,
    Decisions,
    Force,
    House,
    PlanPath,
    Printed,
    RosterFile,
    Score,
    Section,
    Style,
    Tune,
    out_to,
)
from sectionprep.cli.telling import (
    counted,
    say,
    say_aside,
    say_not_applied,
    say_strangers,
    say_taken_out,
)


@app.command()
def mark(
    chart: Score,
    out: Annotated[
        Path | None, out_to("The marked score; by default CHART_marked beside the chart.")
    ] = None,
    style: Style = None,
    printed: Printed = None,
    section: Section = "match",
    plan: PlanPath = None,
    house: House = None,
    bpm: Bpm = None,
    decisions: Decisions = None,
    roster: RosterFile = None,
    tune: Tune = None,
    force: Force = False,
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
        _undo(chart, out, record, force=force)
        return
    options = asked(
        style=style,
        printed=printed,
        section=section,
        plan=plan,
        house=house,
        bpm=bpm,
        decisions=decisions,
        roster=roster,
        tune=tune,
        force=force,
    )
    score = stages.read_score(chart, options)
    say_strangers(score)
    marked = stages.mark_score(score, options)
    say_not_applied(marked.unfit)
    suffix = "" if marked.score.bundle.is_folder else marked.score.bundle.suffix
    target = out or beside(chart, tune, f"_marked{suffix}")
    paths = stages.write_marked(marked, target, options, say_aside)
    say_taken_out(marked)
    for path in paths:
        say(f"Written: {path}")
    say(
        f"{counted(len(marked.marking.written), 'change')} in "
        f"{counted(len(marked.marking.edits), 'note')}."
    )


def _undo(chart: Path, out: Path | None, record: Path | None, *, force: bool) -> None:
    """Write the originals of a marked score, or of a folder of them."""
    from sectionprep.errors import BadArgument
    from sectionprep.outputs.files import unless_forced, write_file
    from sectionprep.outputs.reports.marked_score import refuse_edited, undo

    target = out or chart.with_name(f"{chart.stem}_original{chart.suffix}")
    records = {chart: (record or _record_of(chart), target)}
    if chart.is_dir():
        folder = out or chart.with_name(f"{chart.name}_original")
        files = [f for f in sorted(chart.iterdir()) if not f.name.endswith(".changes.json")]
        records = {f: (_record_of(f), folder / f.name) for f in files if _record_of(f).exists()}
        if not records:
            raise BadArgument(
                f"{chart} holds no change records.", remedy="Name the folder that `mark` wrote."
            )
    originals = [
        (target, undo(marked, changes, target.suffix), (marked, changes))
        for marked, (changes, target) in records.items()
    ]
    for target, data, _ in originals:
        with unless_forced(force, say_aside):
            refuse_edited(target, data)
    for target, data, reads in originals:
        write_file(target, data, reads=reads)
        say(f"Written: {target}")


def _record_of(score: Path) -> Path:
    return score.with_name(f"{score.stem}.changes.json")
