"""Sound."""

from __future__ import annotations

import os
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
    Style,
    Tune,
    out_to,
)
from sectionprep.cli.telling import say, say_not_applied, say_strangers

Instruments = Annotated[
    str,
    typer.Option(
        help="A General MIDI sound font (.sf2) to play with; auto takes the system's where the "
        "extra 'sound' and FluidSynth are there; own is our synthesiser."
    ),
]


def _font(instruments: str) -> Path | None:
    """The sound font that a person wants. Raises BadArgument."""
    from sectionprep.outputs.audition.sampled import font_at, usual_font

    if instruments == "auto":
        return usual_font()
    return None if instruments == "own" else font_at(instruments)


@app.command()
def practice(
    chart: Score,
    out: Annotated[
        Path | None, out_to("Folder for the pages; by default CHART_practice beside the chart.")
    ] = None,
    names: Annotated[
        bool, typer.Option("--names", help="Players' names from the roster on the pages.")
    ] = False,
    instruments: Instruments = "own",
    style: Style = None,
    printed: Printed = None,
    plan: PlanPath = None,
    house: House = None,
    bpm: Bpm = None,
    decisions: Decisions = None,
    roster: RosterFile = None,
    tune: Tune = None,
    force: Force = False,
) -> None:
    """A page for each player to practise with at home: their part, their passages, and sound."""
    from sectionprep import stages
    from sectionprep.outputs.folder import Run
    from sectionprep.practice import practice_folder

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
    folder = out or beside(chart, tune, "_practice")
    score = stages.read_score(chart, options)
    say_strangers(score)
    marked = stages.mark_score(score, options)
    run = Run(
        chart=chart,
        title=score.chart.title,
        kind="practice",
        reads=score.reads(options),
        force=force,
    )
    made = practice_folder(marked, folder, run, names=names, font=_font(instruments))
    say_not_applied(marked.unfit)
    for line in made.notes:
        say(line)
    say(
        f"Written: {folder / 'index.html'} ({len(made.files)} files). Copy the whole folder to a "
        f"telephone or a web space, or send it as a zip."
    )


@app.command()
def audition(
    chart: Score,
    out: Annotated[
        Path | None, out_to("Folder for the files; by default CHART_audition beside the chart.")
    ] = None,
    passage: Annotated[
        list[str] | None,
        typer.Option(metavar="<word>", help="Only this passage (P3); may be given several times."),
    ] = None,
    part: Annotated[
        str,
        typer.Option(help="Your part (or all): adds it with the lead, and the section without it."),
    ] = "",
    tempos: Annotated[
        str, typer.Option(help="Percent of the chart's tempo, as in 60,75,90,100.")
    ] = "100",
    loops: Annotated[
        int, typer.Option(min=1, max=50, help="Play each this often, a bar apart.")
    ] = 1,
    sound: Annotated[str, typer.Option(help="Kind of sound file: wav, flac, ogg or mp3.")] = "wav",
    instruments: Instruments = "auto",
    click: Annotated[
        bool, typer.Option("--click", help="A quiet click along, not only in the count-in.")
    ] = False,
    rhythm: Annotated[
        bool,
        typer.Option(help="Time and chords generated where the rhythm section has only slashes."),
    ] = True,
    many: Annotated[
        bool, typer.Option("--many", help="Also more than 200 files, or three hours of sound.")
    ] = False,
    style: Style = None,
    printed: Printed = None,
    plan: PlanPath = None,
    house: House = None,
    bpm: Bpm = None,
    decisions: Decisions = None,
    roster: RosterFile = None,
    tune: Tune = None,
    force: Force = False,
) -> None:
    """Hear each lead line flat and shaped, and the section as planned: WAV and MIDI."""
    from sectionprep import one_output
    from sectionprep.errors import BadArgument
    from sectionprep.outputs.audition import SOUNDS, Wish

    try:
        shares = tuple(float(t) / 100 for t in tempos.split(","))
    except ValueError as error:
        raise BadArgument(
            f"--tempos cannot be {tempos!r}.", remedy="Write percent, as in 60,75,90,100."
        ) from error
    if not all(0.2 <= share <= 2 for share in shares):
        raise BadArgument(
            f"--tempos cannot be {tempos!r}.", remedy="Stay between 20 and 200 percent."
        )
    if sound not in SOUNDS:
        raise BadArgument(
            f"--sound cannot be {sound!r}.", remedy=f"Choose one of: {', '.join(SOUNDS)}."
        )
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
    folder = out or beside(chart, tune, "_audition")
    wish = Wish(
        passages=tuple(p.upper() for p in passage or ()),
        part=part,
        tempos=shares,
        loops=loops,
        click=click,
        sound=sound,
        rhythm=rhythm,
        font=_font(instruments),
        many=many,
    )
    written, unfit, remarks = one_output.audition(chart, folder, options, wish)
    say_not_applied(unfit)
    for line in remarks:
        say(line)
    say(
        f"Written: {folder}{os.sep} ({len(written)} files). Start quietly: headphones harm "
        f"ears too."
    )
