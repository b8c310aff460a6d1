"""A player's part as short engraved lines, one picture each, which flow over a screen of any
width."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from sectionprep.drawing.engraver.part import engrave, measure
from sectionprep.drawing.paging.lines_and_pages import break_lines
from sectionprep.drawing.svg.picture import outlines, picture
from sectionprep.musicxml.copies.mending import plainly
from sectionprep.outputs.parts.laying_out import extras_of
from sectionprep.outputs.parts.part_job import PartJob

_WIDE = 110.0  # millimetres: two or three bars, readable on a telephone held upright; judgement


class Strip(NamedTuple):
    """A line as a picture (SVG), and its first and last bars as indices."""

    first: int
    last: int
    svg: str


def part_lines(job: PartJob) -> tuple[str, list[Strip], bool]:
    """Outlines of the signs, the lines, and whether all heads are proved to be drawn as the
    file has them. Raises EngravingFailed."""
    pictures = _lines(job)
    if not pictures[2]:
        again = _lines(replace(job, xml=plainly(job.xml)))
        pictures = again if again[2] else pictures
    return pictures


def _lines(job: PartJob) -> tuple[str, list[Strip], bool]:
    part = measure(
        job.xml, width_mm=_WIDE, staff_mm=job.style.staff, where=job.where, must=job.must
    )
    engraving = engrave(part, break_lines(part.boxes, part.room))
    found = []
    for system, extras, (first, last) in zip(
        engraving.systems, extras_of(engraving, job), engraving.lines, strict=True
    ):
        start, end = engraving.bars[first], engraving.bars[last]
        names = [job.numbers[start.index], job.numbers[end.index + end.bars - 1]]
        label = f"bars {names[0]} to {names[1]}" if names[0] != names[1] else f"bar {names[0]}"
        svg = picture(
            system,
            {},
            wide=_WIDE * 100 / system.scale,
            bars=[bar.index for bar in engraving.bars[first : last + 1]],
            extras=extras,
            label=label,
        )
        found.append(Strip(start.index, end.index + end.bars - 1, svg))
    return outlines(engraving.glyphs), found, not engraving.proved.differences
