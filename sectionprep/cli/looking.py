"""What is there: passages, the plan with its reasons, findings."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sectionprep.cli.app import app, asked
from sectionprep.cli.arguments import (
    AsJson,
    Bpm,
    Decisions,
    Force,
    House,
    Level,
    MaybeScore,
    PlanPath,
    Printed,
    RosterFile,
    Score,
    Style,
    Tune,
    out_to,
    place_option,
)
from sectionprep.cli.telling import (
    clean,
    counted,
    say,
    say_aside,
    say_not_applied,
    say_strangers,
    say_taken_out,
)
from sectionprep.errors import FINDINGS_EXIT_CODE

if TYPE_CHECKING:
    from sectionprep.results import Options


@app.command()
def passages(
    chart: Score, roster: RosterFile = None, tune: Tune = None, as_json: AsJson = False
) -> None:
    """Show where the parts move together."""
    from sectionprep import stages
    from sectionprep.outputs.reports.agreement import passages_json

    score = stages.read_score(chart, asked(roster=roster, tune=tune))
    say_strangers(score)
    if as_json:
        print(stages.to_json(passages_json(score.chart, score.together)))
        return
    from sectionprep.outputs.reports.terminal import passages_table

    passages_table(score.chart, score.together)


@app.command("plan")
def plan_command(
    chart: MaybeScore = None,
    out: Annotated[Path | None, out_to("Write the plan as a file to edit by hand.")] = None,
    part: Annotated[str | None, typer.Option(help="Plan this part's line, passage or not.")] = None,
    bars: Annotated[
        str | None, typer.Option(help="With --part: only these bars, as in 17-24.")
    ] = None,
    style: Style = None,
    printed: Printed = None,
    plan: PlanPath = None,
    house: House = None,
    bpm: Bpm = None,
    decisions: Decisions = None,
    roster: RosterFile = None,
    tune: Tune = None,
    as_json: AsJson = False,
    force: Force = False,
    learn: Annotated[
        Path | None,
        typer.Option(
            "--learn",
            help="Instead of a chart: a folder of charts that you have marked, or decided on; "
            "proposes the habits of your band for [house] (-o writes them).",
        ),
    ] = None,
) -> None:
    """Show how each lead line would be phrased, and why."""
    from sectionprep import stages
    from sectionprep.errors import BadArgument
    from sectionprep.outputs.reports.agreement import plan_json

    options = asked(
        style=style,
        printed=printed,
        plan=plan,
        house=house,
        bpm=bpm,
        decisions=decisions,
        roster=roster,
        tune=tune,
        force=force,
    )
    if (chart is None) == (learn is None):
        raise BadArgument(
            "plan needs a chart, or --learn with a folder, and not both.",
            remedy="Write plan CHART, or plan --learn FOLDER.",
        )
    decided = {"--plan": plan, "--decisions": decisions}
    if learn is not None:
        idle = {**decided, "--part": part, "--bars": bars, "--tune": tune}
        _refuse_idle("--learn", "goes by the charts of its folder", idle)
        _learn(learn, out, as_json=as_json, options=options)
        return
    assert chart is not None
    if bars and not part:
        raise BadArgument("--bars goes with --part.", remedy="Name the part as well.")
    if part is not None:
        _refuse_idle("--part", "plans a line by the rules", {**decided, "--house": house})
    score = stages.read_score(chart, options)
    say_strangers(score)
    unfit: tuple[Any, ...] = ()
    if part is not None:
        planned = stages.plan_part(score, part, bars, options)
    else:
        planned, unfit = stages.plan_score(score, options)
    say_not_applied(unfit)
    if out is not None:
        path = stages.write_plan_file(score, planned, out, options, say_aside)
        print(f"Written: {clean(path)}", file=sys.stderr if as_json else sys.stdout)
    if as_json:
        print(stages.to_json(plan_json(score.chart, planned)))
    if as_json or out is not None:
        return
    from sectionprep.outputs.reports.terminal import plan_lines

    plan_lines(score.chart, planned)


def _refuse_idle(option: str, does: str, given: Mapping[str, object]) -> None:
    """Nothing that was given is passed over in silence. given: what has no say beside this option,
    by name."""
    from sectionprep.errors import BadArgument

    idle = ", ".join(name for name, value in given.items() if value not in (None, []))
    if idle:
        raise BadArgument(
            f"{option} {does} alone, without {idle}.", remedy=f"Leave out {option}, or {idle}."
        )


def _learn(folder: Path, out: Path | None, *, as_json: bool, options: Options) -> None:
    """Propose the habits of the house."""
    from sectionprep.learned import in_words, learn_habits
    from sectionprep.outputs.edited_files import replace_plan
    from sectionprep.phrasing.learning import as_file
    from sectionprep.phrasing.plan_file import as_written
    from sectionprep.stages import to_json

    learned = learn_habits(folder, options)
    if out is not None:
        text = as_written(as_file(learned.proposals))
        replace_plan(out, text, learned.reads, force=options.force, say=say_aside)
        print(f"Written: {clean(out)}", file=sys.stderr if as_json else sys.stdout)
    if as_json:
        habits = [
            {"habit": p.habit.says, "times": p.times, "of": p.of, "evidence": p.evidence}
            for p in learned.proposals
        ]
        print(
            to_json(
                {
                    "habits": habits,
                    "notes": learned.notes,
                    "charts": learned.charts,
                    "silent": learned.silent,
                    "unread": learned.unread,
                }
            )
        )
        return
    for line in in_words(learned):
        say(line)


def _list_checks(*, as_json: bool) -> None:
    from sectionprep.checks import all_checks
    from sectionprep.stages import to_json

    if as_json:
        checks = [{"check": name, "says": says} for name, says in all_checks().items()]
        print(to_json({"checks": checks}))
        return
    for name, says in all_checks().items():
        say(f"{name:<20} {says}")


@app.command()
def check(
    chart: MaybeScore = None,
    level: Level = "pro",
    decisions: Decisions = None,
    bpm: Bpm = None,
    roster: RosterFile = None,
    tune: Tune = None,
    as_json: AsJson = False,
    force: Force = False,
    fix: Annotated[
        Path | None,
        place_option(
            "--fix",
            words="Write a score with the safe ones mended (the section gets what "
            "the lead has printed).",
        ),
    ] = None,
    against: Annotated[
        Path | None,
        typer.Option(
            "--against", help="An older version: say which parts differ and need printing again."
        ),
    ] = None,
    everything: Annotated[
        bool,
        typer.Option(
            "--all", help="List every finding by itself, with what to do, instead of one screen."
        ),
    ] = False,
    strict: Annotated[
        bool,
        typer.Option(
            "--strict", help=f"End with exit code {FINDINGS_EXIT_CODE} when anything was found."
        ),
    ] = False,
    listing: Annotated[
        bool,
        typer.Option("--list", help="Say what is looked for, and nothing else."),
    ] = False,
) -> None:
    """Check that lead and section agree, and that the parts can be played."""
    if listing:
        _list_checks(as_json=as_json)
        return
    from sectionprep import stages
    from sectionprep.errors import BadArgument

    if chart is None:
        raise BadArgument("check needs a chart.", remedy="Write check CHART, or check --list.")
    from sectionprep.outputs.reports.agreement import findings_json, versions_json

    options = asked(
        level=level, decisions=decisions, bpm=bpm, roster=roster, tune=tune, force=force
    )
    score = stages.read_score(chart, options)
    say_strangers(score)
    findings, settled = stages.left_to_settle(score, options)
    changes = None
    if against is not None:
        from sectionprep.checks.versions import are_strangers, compare_versions

        old = stages.read_score(against, options).chart
        if are_strangers(old, score.chart):
            raise BadArgument(
                f"{against} is another chart, not an older version of {chart}.",
                remedy="Name the older version with --against.",
            )
        changes = compare_versions(old, score.chart)
    fixed = stages.fix_score(score, options) if fix is not None else None
    if fix is not None and fixed is not None:
        from sectionprep.outputs.files import refuse_input

        refuse_input(fix, [against] if against is not None else [])
        for path in stages.write_marked(fixed, fix, options, say_aside):
            print(f"Written: {clean(path)}", file=sys.stderr if as_json else sys.stdout)
    if as_json:
        print(stages.to_json({**findings_json(score.chart, findings), **versions_json(changes)}))
    else:
        from sectionprep.outputs.reports.terminal import (
            findings_screen,
            findings_table,
            versions_table,
        )

        show = findings_table if everything else findings_screen
        if changes is not None:
            versions_table(score.chart, changes)
        if fixed is not None:
            say_taken_out(fixed)
            say(
                f"Mended: {len(findings) - len(fixed.after)} of "
                f"{counted(len(findings), 'finding')}. Left:"
            )
            show(fixed.again.chart, fixed.after)
        else:
            show(score.chart, findings)
        for words in settled:
            say(f"Settled by you: {words}")
    if strict and findings:
        raise typer.Exit(FINDINGS_EXIT_CODE)
