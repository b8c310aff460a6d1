"""A whole library of charts."""

from __future__ import annotations

import itertools
import time
from pathlib import Path
from typing import Annotated, Any

import typer

from sectionprep.cli.app import app, asked
from sectionprep.cli.arguments import (
    Bpm,
    Force,
    House,
    Level,
    Minutes,
    Paper,
    PlanPath,
    Printed,
    RosterFile,
    Section,
    Staff,
    Style,
    out_to,
)
from sectionprep.cli.telling import counted, say
from sectionprep.errors import NOT_PRINTED_EXIT_CODE


@app.command()
def book(
    library: Annotated[
        Path, typer.Argument(help="The folder that holds the charts.", show_default=False)
    ],
    out: Annotated[
        Path,
        out_to("Folder for the results; run again to go on where it stopped.", show_default=False),
    ],
    style: Style = None,
    printed: Printed = None,
    section: Section = "match",
    level: Level = "pro",
    minutes: Minutes = 45,
    paper: Paper = "letter",
    staff: Staff = 7.5,
    plan: PlanPath = None,
    house: House = None,
    bpm: Bpm = None,
    roster: RosterFile = None,
    practice: Annotated[
        bool, typer.Option("--practice", help="With the practice pages of each chart.")
    ] = False,
    cluster: Annotated[
        str,
        typer.Option(
            help="Address of a Dask scheduler, as in tcp://host:8786 (needs the extra 'cluster')."
        ),
    ] = "",
    force: Force = False,
) -> None:
    """Prepare every chart of a library; unchanged ones are skipped, bad ones are listed and stop
    nothing."""
    from sectionprep.library import book as prepare_all
    from sectionprep.outputs.library.summary import SUMMARY

    options = asked(
        style=style,
        printed=printed,
        section=section,
        level=level,
        minutes=minutes,
        paper=paper,
        staff=staff,
        plan=plan,
        house=house,
        bpm=bpm,
        roster=roster,
        practice=practice,
        force=force,
    )

    told = itertools.count(1)
    began = time.monotonic()

    def tell(result: Any, of: int) -> None:
        done = next(told)
        more = (
            f": {result.reason}"
            if result.reason
            else f": {result.passages} passages, {result.before} findings, "
            f"{result.after} left, {result.pages} pages"
        )
        say(
            f"{done:>{len(str(of))}}/{of}  "
            f"{result.outcome:<10}{' ' * (len(result.outcome) > 9)}{result.name}{more}"
            f"{_time_left(time.monotonic() - began, done, of)}"
        )

    results = prepare_all(library, out, options, cluster=cluster, tell=tell)
    failed = sum(r.status == "failed" for r in results)
    say(f"{counted(len(results), 'chart')}, {failed} failed. Written: {out / SUMMARY}")
    if failed:
        raise typer.Exit(3)
    if any(r.wrong_sheets for r in results):
        raise typer.Exit(NOT_PRINTED_EXIT_CODE)


_OFTEN = 10  # the time that is left is said after so many charts


def _time_left(seconds: float, done: int, of: int) -> str:
    """How long the rest of a book will take, as its charts took so far."""
    if done == of or done % _OFTEN:
        return ""
    left = seconds / done * (of - done)
    return f"  (about {left / 60:.0f} min left)" if left >= 90 else f"  (about {left:.0f} s left)"
