"""An evening over several charts."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from sectionprep.cli.app import app, asked
from sectionprep.cli.arguments import AsJson, Bpm, Force, House, Level, Paper, RosterFile, out_to
from sectionprep.cli.telling import clean, say

if TYPE_CHECKING:
    from sectionprep.evening import Night
    from sectionprep.evening.order import Evening

_START = re.compile(r"([01]?\d|2[0-3])[:.]([0-5]\d)")


@app.command()
def evening(
    charts: Annotated[
        list[Path],
        typer.Argument(
            help="Charts, folders that `prepare` has filled, or folders of charts.",
            metavar="CHART_OR_FOLDER...",
            show_default=False,
        ),
    ],
    out: Annotated[
        Path, out_to("Folder for the workbook and the page of the evening.", show_default=False)
    ],
    minutes: Annotated[
        int, typer.Option("--minutes", min=15, max=480, help="How long the evening is.")
    ] = 120,
    start: Annotated[str, typer.Option("--start", help="When it begins, as in 19:30.")] = "19:30",
    keep_order: Annotated[
        bool, typer.Option("--keep-order", help="Take the charts in the order named.")
    ] = False,
    missing: Annotated[
        list[str] | None,
        typer.Option(
            metavar="<name>",
            help="Who is not there tonight: part, chair or player's name; may be given several "
            "times.",
        ),
    ] = None,
    covers: Annotated[
        bool,
        typer.Option(
            "--covers",
            help="With --missing: print cover sheets for those who take over, with the bars "
            "they borrow small over their own part.",
        ),
    ] = False,
    level: Level = "pro",
    paper: Paper = "letter",
    house: House = None,
    bpm: Bpm = None,
    roster: RosterFile = None,
    as_json: AsJson = False,
    force: Force = False,
) -> None:
    """Plan an evening over several charts: what when, with whom, and why."""
    from sectionprep import stages
    from sectionprep.errors import BadArgument
    from sectionprep.evening import make_evening

    match = _START.fullmatch(start.strip())
    if match is None:
        raise BadArgument(f"--start names no time: {start!r}.", remedy="Write it as in 19:30.")
    if covers and not missing:
        raise BadArgument("--covers covers nobody.", remedy="Say who is not there with --missing.")
    begin = 60 * int(match[1]) + int(match[2])
    night = make_evening(
        charts,
        out,
        asked(level=level, paper=paper, house=house, bpm=bpm, roster=roster, force=force),
        minutes=minutes,
        start=begin,
        keep_order=keep_order,
        missing=missing or (),
        covers=covers,
    )
    if as_json:
        uncovered = [
            {
                "chart": gap.chart, "part": gap.part, "bars": gap.bars, "what": gap.what,
                "takers": [str(taker) for taker in gap.takers],
            }
            for gap in night.gaps
        ]  # fmt: skip
        told = {"uncovered": uncovered, "not_read": night.failed, "notes": night.notes}
        print(stages.to_json({**_json(night.evening, begin), **told}))
    else:
        _show(night.evening, begin)
        _show_missing(night)
        for words in night.failed:
            say(f"LEFT OUT: {words}")
        for words in night.notes:
            say(f"note: {words}")
        say("Written:")
        for file in night.files:
            say(f"  {file}")
    if night.failed:
        raise typer.Exit(3)


@app.command()
def rehearsed(
    folder: Annotated[
        Path,
        typer.Argument(
            help="The folder of your evenings, as `evening` got it with -o.",
            metavar="FOLDER",
            show_default=False,
        ),
    ],
    as_json: AsJson = False,
    force: Force = False,
) -> None:
    """Tell what was rehearsed when, and write it as a workbook (rehearsed.xlsx in the folder)."""
    from sectionprep import stages
    from sectionprep.evening import write_rehearsed
    from sectionprep.evening.told import BOOK

    lines, notes = write_rehearsed(folder, force=force)
    if as_json:
        told = [
            {
                "day": line.day.isoformat(), "line": line.line, "chart": line.chart,
                "what": line.what, "bars": line.bars, "done": line.done,
                "rating": line.rating or None, "note": line.note,
            }
            for line in lines
        ]  # fmt: skip
        print(stages.to_json({"rehearsed": told, "notes": notes}))
        return
    for line in lines:
        words = [line.chart, line.what or line.line, line.bars and f"bars {line.bars}"]
        words += ["done" if line.done else "", f"rated {line.rating}" if line.rating else ""]
        words.append(line.note)
        say(f"{line.day.isoformat()}  {', '.join(word for word in words if word)}")
    for note in notes:
        say(f"note: {note}")
    say(f"Written: {folder / BOOK}")


def _show_missing(night: Night) -> None:
    from sectionprep.evening.paper import said_takers

    for chart in night.charts:
        for part in chart.missing.values():
            mine = [gap for gap in chart.gaps if gap.part == part]
            for gap in mine:
                where = f"{chart.title}, bars {gap.bars}"
                say(f"Without {part}: {where}: {gap.what}. Could take it: {said_takers(gap)}.")
            if not mine:
                say(f"Without {part}: {chart.title}: no lead, exposed entry or chord tone is lost.")
        for cover in chart.covers:
            say(f"Cover sheet for {cover.player}: {chart.title}, bars {', '.join(cover.bars)}")


def _show(made: Evening, begin: int) -> None:
    from rich.console import Console
    from rich.table import Table

    from sectionprep.evening.paper import clock, who_when

    table = Table(box=None, pad_edge=False)
    for heading in ("time", "min", "chart", "what", "bars", "who"):
        table.add_column(heading, overflow="fold")
    for block in made.blocks:
        cells = (
            clock(begin, block.at), str(block.minutes), block.chart, block.what, block.bars,
            block.who,
        )  # fmt: skip
        table.add_row(*map(clean, cells))
    Console(highlight=False, markup=False).print(table)
    for words in made.advice:
        say(words)
    for part, _, _, words in who_when(made, begin):
        if words:
            say(f"{part}: {words}")
    for words in made.left_out:
        say(f"No time for {words}")


def _json(made: Evening, begin: int) -> dict[str, Any]:
    from sectionprep.evening.paper import clock, who_when

    return {
        "minutes": made.minutes,
        "blocks": [
            {
                "time": clock(begin, b.at),
                "at": b.at,
                "minutes": b.minutes,
                "chart": b.chart,
                "what": b.what,
                "bars": b.bars,
                "who": b.who,
                "why": b.why,
                "parts": sorted(b.parts),
                "heavy": b.heavy,
                "rated": b.rated,
            }
            for b in made.blocks
        ],
        "left_out": list(made.left_out),
        "advice": list(made.advice),
        "needed": [
            {"part": part, "from": first, "until": last, "words": words}
            for part, first, last, words in who_when(made, begin)
        ],
    }
