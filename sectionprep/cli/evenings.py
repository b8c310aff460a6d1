"""An evening over several charts."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Annotated, Any

import typer

from sectionprep.cli.app import app, asked
from sectionprep.cli.arguments import AsJson, Bpm, House, Level, Paper, RosterFile, out_to
from sectionprep.cli.telling import clean, say

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
    level: Level = "pro",
    paper: Paper = "letter",
    house: House = None,
    bpm: Bpm = None,
    roster: RosterFile = None,
    as_json: AsJson = False,
) -> None:
    """Plan an evening over several charts: what when, with whom, and why."""
    from dataclasses import asdict
    from datetime import date

    from sectionprep import evening as evenings
    from sectionprep import stages
    from sectionprep.errors import BadArgument, SectionprepError
    from sectionprep.evening import paper as papers
    from sectionprep.outputs.files import write_file

    match = _START.fullmatch(start.strip())
    if match is None:
        raise BadArgument(f"--start names no time: {start!r}.", remedy="Write it as in 19:30.")
    begin = 60 * int(match[1]) + int(match[2])
    options = asked(level=level, paper=paper, house=house, bpm=bpm, roster=roster)
    out.mkdir(parents=True, exist_ok=True)
    today = out / f"evening_{date.today():%Y-%m-%d}.xlsx"
    rated = _rated(out)
    tonight, failed = [], []
    for path in evenings.charts_of(charts, out):
        try:
            tonight.append(evenings.gather(path, options, rated, missing or ()))
        except SectionprepError as error:
            failed.append(str(error))
    if not tonight:
        raise BadArgument(f"none of the charts can be read: {failed[0]}")
    known = {label for chart in tonight for label in chart.missing}
    if missing and not known:
        raise BadArgument(
            f"no chart of tonight knows {' or '.join(missing)}.",
            remedy=f"Chairs: {', '.join(dict.fromkeys(p for c in tonight for p in c.parts))}.",
        )
    gaps = [gap for chart in tonight for gap in chart.gaps]
    made = evenings.plan_evening(tonight, minutes, keep_order=keep_order)
    typed = papers.typed_in(today) if today.exists() else {}
    reads = [chart.path for chart in tonight]
    write_file(today, papers.workbook(made, begin, typed, gaps), reads=reads)
    page = today.with_suffix(".pdf")
    title = f"{date.today():%A, %d %B %Y}: {', '.join(c.title for c in tonight)}"
    write_file(page, papers.page(made, begin, title[:120], paper), reads=reads)
    if as_json:
        print(stages.to_json({**_json(made, begin), "uncovered": [asdict(gap) for gap in gaps]}))
        return
    _show(made, begin)
    for gap in gaps:
        who = papers.said_takers(gap)
        say(f"Without {gap.part}: {gap.chart}, bars {gap.bars}: {gap.what}. Could take it: {who}.")
    for chart in tonight:
        for part in chart.missing:
            if all(gap.part != part for gap in chart.gaps):
                say(f"Without {part}: {chart.title}: no lead, exposed entry or chord tone is lost.")
    for words in failed:
        say(f"LEFT OUT: {words}")
    say("Written:")
    for file in (today, page):
        say(f"  {file}")


def _rated(out: Path) -> dict[str, int]:
    """Ratings typed into the evenings of this folder, the latest last."""
    from sectionprep.errors import UnusableSettings
    from sectionprep.evening.paper import typed_in
    from sectionprep.outputs.workbook.tables import RATINGS

    found: dict[str, int] = {}
    for path in sorted(out.glob("evening_*.xlsx")):
        try:
            typed = typed_in(path)
        except UnusableSettings as error:
            say(f"  note: {error} Its ratings are not counted.")
            continue
        for key, cells in typed.items():
            value = str(cells.get("Rating 1-5", "")).strip()
            if value in RATINGS:
                found[key] = int(value)
    return found


def _show(made: Any, begin: int) -> None:
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


def _json(made: Any, begin: int) -> dict[str, Any]:
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
