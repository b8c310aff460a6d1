"""The director's first page: the chart as a map, its passages, and what is left to settle."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sectionprep.checks import Finding
from sectionprep.drawing.text import fonts
from sectionprep.music.chart import Chart
from sectionprep.music.roadmap import say_order
from sectionprep.music.timing import say_beat
from sectionprep.outputs.director.map_facts import PartBars, solos, tired_lips
from sectionprep.outputs.director.map_page import draw_maps
from sectionprep.outputs.director.pen import Pen
from sectionprep.passages import Passage, Together
from sectionprep.passages.players import lead_label
from sectionprep.phrasing import Plan

_LEFT = 8  # findings that are named; judgement
_SOME = 12.0  # points of a list that stand under its heading


def write_summary(
    canvas: Any,
    width: float,
    height: float,
    chart: Chart,
    together: Together,
    plan: Plan,
    after: Sequence[Finding],
    footer: str,
) -> None:
    page = Pen(canvas, width, height, footer)
    page.text(chart.title, 18, fonts.BOLD)
    tempo = f", {chart.tempo:g} beats per minute" if chart.tempo else ""
    page.text(
        f"{len(chart.parts)} parts, {len(chart.bars)} bars{tempo}, phrased as {plan.style}. "
        f"Played: {say_order(chart)}."
    )
    page.heading = f"{chart.title}, the map continued"
    page.space(3)
    lists = _lists(chart, together, after)
    draw_maps(page, chart, together, sum(_tall(page, entries) for _, entries, _ in lists))
    page.space(4)
    for heading, entries, more in lists:
        page.text(heading, 10, fonts.BOLD, keep=_SOME)
        page.columns(entries)
        if more:
            page.text(more, 8, fonts.ITALIC)
    page.end()


def _lists(
    chart: Chart, together: Together, after: Sequence[Finding]
) -> list[tuple[str, list[str], str]]:
    """What stands under the map: heading, entries, and what is said of those that are left out."""
    errors = [f for f in after if f.severity != "note"]
    named = [
        f"{chart.place(f.tick)}, {chart.parts[f.part].label}: {f.message}" for f in errors[:_LEFT]
    ]
    left_out = len(errors) - len(named)
    more = f"and {left_out} more, in the workbook" if left_out else ""
    watched = [*_solo_lines(chart, together), *_lip_lines(chart)]
    passages = [_passage_line(chart, p) for p in together.passages]
    lists = [("Left for you", named, more), ("Solos and lips", watched, "")]
    return [one for one in (*lists, ("Passages", passages, "")) if one[1]]


def _tall(page: Pen, entries: Sequence[str]) -> float:
    """Points that a list takes with its heading, at the most."""
    return _SOME + page.columns_tall(entries) + _SOME


def _solo_lines(chart: Chart, together: Together) -> list[str]:
    return [
        f"Solo of {chart.parts[one.part].label}: {_bars(chart, one)}"
        for one in solos(chart, together)
    ]


def _lip_lines(chart: Chart) -> list[str]:
    """Cautions: the players know, and no table of what lips bear exists."""
    return [
        f"{chart.parts[one.part].label}: {one.last - one.first + 1} bars without a bar of rest, "
        f"{_bars(chart, one)} (a caution; ask the players)"
        for one in tired_lips(chart)
    ]


def _bars(chart: Chart, stretch: PartBars) -> str:
    return f"bars {chart.bars[stretch.first].number} to {chart.bars[stretch.last].number}"


def _passage_line(chart: Chart, p: Passage) -> str:
    start, end = chart.place(p.start), chart.end_place(p.end)
    until = end.bar if end.is_end else f"{end.bar}.{say_beat(end.beat)}"
    return (
        f"{p.id}   {start.bar}.{say_beat(start.beat)} - {until}   {p.scope}, {p.texture}, lead "
        f"{lead_label(chart, p)}" + (f", as {p.returns}" if p.returns else "")
    )
