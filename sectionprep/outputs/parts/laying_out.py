"""The lines and pages of one part: ways to break them are tried, and the best drawing that says
what the part says is taken."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from sectionprep.drawing.engraver.part import (
    LARGEST_STAFF,
    Engraving,
    Measured,
    engrave,
    measure,
)
from sectionprep.drawing.engraver.toolkit import EngravingFailed
from sectionprep.drawing.paging.counted_lines import (
    by_number,
    letters_inside,
    steady_lines,
)
from sectionprep.drawing.paging.lines_and_pages import (
    WAYS,
    BarBox,
    LineBox,
    break_for_pages,
    break_lines,
)
from sectionprep.drawing.paging.turns import TURN_SECONDS, Jump
from sectionprep.drawing.pdf.painter import MM, UNIT
from sectionprep.drawing.scene.line_extras import Extra, line_extras, roomy
from sectionprep.drawing.scene.skyline import chord_boxes, set_apart
from sectionprep.drawing.scene.spacing import SAID
from sectionprep.musicxml.copies.mending import plainly
from sectionprep.musicxml.copies.undrawn import OCTAVE_LINES
from sectionprep.outputs.parts.fitting import Fit, filled, fit, lines_that_fit
from sectionprep.outputs.parts.page_heads import PageFrame, frame_of
from sectionprep.outputs.parts.part_job import PartJob
from sectionprep.outputs.parts.sheet_remarks import SheetRemark, not_printed
from sectionprep.outputs.sheet_look import sheet_look

_OCTAVE_LINE = re.compile(rb'<octave-shift [^>]*type="(?:up|down)"')
_USUAL_STAFF = 7.5  # millimetres


@dataclass(frozen=True, slots=True)
class _Drawn:
    """A part engraved for its usual staff, what is added to each line, and the lines' heights."""

    engraving: Engraving
    extras: list[list[Extra]]
    lines: list[LineBox]


@dataclass(frozen=True, slots=True)
class _Desk:
    """A part with its bars measured, and its drawings by the bars that begin their lines. job: that
    it is drawn for, at any level; boxes: its bars as lines are broken by them."""

    job: PartJob
    part: Measured
    boxes: tuple[BarBox, ...]
    drawings: dict[tuple[int, ...], _Drawn]


_HEADS_AT_HAND = 8_000  # some 40 MB, the parts of a chart of usual length; judgement
_at_hand: list[_Desk] = []  # what this process drew last


def _desk_of(job: PartJob, frame: PageFrame) -> _Desk:
    """What is known of a part: from before where it is drawn once more at another level."""
    job = replace(job, level=None)
    for known in _at_hand:
        if known.job == job:
            return known
    part = _measured(job, frame)
    desk = _Desk(job, part, part.boxes, {})
    _at_hand.append(desk)
    while sum(len(one.job.must.heads) for one in _at_hand) > _HEADS_AT_HAND:
        del _at_hand[0]
    return desk


@dataclass(frozen=True, slots=True)
class LaidOut:
    """A part broken into pages, with its engraving and what is added to it as they are printed.
    remarks: what this engraving does not show."""

    engraving: Engraving
    extras: list[list[Extra]]
    fit: Fit
    remarks: tuple[SheetRemark, ...]


def told_plainly(job: PartJob) -> PartJob:
    """The part said to the engraver as plainly as can be, and what goes with that."""
    lines = len(_OCTAVE_LINE.findall(job.xml))
    gone = (not_printed(job.name, OCTAVE_LINES, lines, ""),) if lines else ()
    return replace(job, xml=plainly(job.xml), remarks=(*job.remarks, *gone))


def scale_of(job: PartJob) -> float:
    """How much larger than engraved a part is drawn: the engraver's own largest staff is too small
    for large print."""
    return 1.0 if job.style.staff <= LARGEST_STAFF else job.style.staff / _USUAL_STAFF


def _measured(job: PartJob, frame: PageFrame, plays: Sequence[tuple[int, int]] = ()) -> Measured:
    scale = scale_of(job)
    return measure(
        job.xml,
        width_mm=frame.inner_mm / scale,
        staff_mm=job.style.staff / scale,
        where=job.where,
        must=job.must,
        rests=job.rests,
        plays=plays,
    )


def _with_room(engraving: Engraving, job: PartJob) -> Engraving:
    """Notes so far apart that what is said under them does not touch."""
    if not job.syllables:
        return engraving
    size = sheet_look().type.syllable / UNIT
    systems = tuple(roomy(system, job.syllables, size) for system in engraving.systems)
    return replace(engraving, systems=systems)


def laid_out(job: PartJob) -> LaidOut:
    """The part as it is printed, engraved so that it says what the part says: where the engraver
    fails or its drawing differs, it is told the part once more, as plainly as can be, and the
    better drawing is taken."""
    frame = frame_of(job.style.paper)
    sheet: LaidOut | None = None
    try:
        sheet = _best_sheet(job, frame)
        if not sheet.engraving.proved.differences:
            return sheet
        again = _best_sheet(told_plainly(job), frame)
    except EngravingFailed:
        if sheet is None:
            return _best_sheet(told_plainly(job), frame)
        return sheet
    return min(sheet, again, key=lambda sheet: len(sheet.engraving.proved.differences))


def _best_sheet(job: PartJob, frame: PageFrame) -> LaidOut:
    """The part on its lines and pages. Where a line is too full for what is said under it, its bars
    count as wider and lines are broken anew, unless that takes another page."""
    desk = _desk_of(job, frame)
    sheet = _best_lines(job, frame, desk)
    for _ in range(_WIDENED if job.syllables else 0):
        crowded = _crowded(sheet)
        if not crowded:
            break
        boxes = tuple(
            replace(box, width=box.width * (_WIDER if n in crowded else 1.0))
            for n, box in enumerate(desk.boxes)
        )
        desk = replace(desk, boxes=boxes)
        other = _best_lines(job, frame, desk)
        if other.fit.hardness[1] > sheet.fit.hardness[1]:
            break
        sheet = other
    return sheet


_WIDENED, _WIDER = 3, 1.25  # how often, and by how much, bars count as wider; judgement


def _crowded(sheet: LaidOut) -> frozenset[int]:
    """The bars of lines on which two syllables are too close."""
    found: set[int] = set()
    for extras, (first, last) in zip(sheet.extras, sheet.engraving.lines, strict=True):
        said = sorted(extra.box for extra in extras if extra.kind == "syllable")
        if any(b[0] - a[2] < SAID - 1 for a, b in pairwise(said)):
            found.update(range(first, last + 1))
    return frozenset(found)


def _best_lines(job: PartJob, frame: PageFrame, desk: _Desk) -> LaidOut:
    """The part with its lines broken the usual way, or the way that leaves fewer turns without
    rest."""
    sheet = _steady_sheet(job, frame, desk) or _lay_out(job, frame, desk, "usual")
    if job.steady:
        return _closed_up(job, frame, sheet)
    can_rest = any(rest >= TURN_SECONDS for rest in job.rests[:-1])
    for way in WAYS[1:]:
        hopeful = can_rest if way == "rests" else len(sheet.fit.pages.starts) == 3
        if hopeful and sheet.fit.hardness[0]:
            other = _lay_out(job, frame, desk, way)
            sheet = min(sheet, other, key=lambda sheet: sheet.fit.hardness)
    return _letters_left(job, frame, desk, sheet) if job.lettered else sheet


_STEADY = (4, 5)  # bars of a line that a player counts in, and more only to save a page; judgement


def _steady_sheet(job: PartJob, frame: PageFrame, desk: _Desk) -> LaidOut | None:
    """A part of slashes in lines of four bars; of five, or the usual way, where that takes fewer
    pages. None for other parts."""
    ways = [
        steady_lines(desk.boxes, desk.part.room, count, squeezed=count != _STEADY[0])
        for count in (_STEADY if job.steady else ())
    ]
    best: LaidOut | None = None
    for starts in [*(way for way in ways if way is not None), None] if ways else []:
        for way in ("usual", "tight"):
            sheet = _lay_out(job, frame, desk, way, starts)
            if best is None or len(sheet.fit.pages.starts) < len(best.fit.pages.starts):
                best = sheet
            if len(best.fit.pages.starts) <= _LIE_OPEN:
                return best
    return best


def _closed_up(job: PartJob, frame: PageFrame, sheet: LaidOut) -> LaidOut:
    """A part of slashes with its long stretches of time closed up, "play 8", where it would else be
    turned and takes fewer pages so; else its player reads every bar."""
    if len(sheet.fit.pages.starts) <= _LIE_OPEN or not job.plays:
        return sheet
    part = _measured(job, frame, job.plays)
    other = _steady_sheet(job, frame, _Desk(job, part, part.boxes, {}))
    return other if other and other.fit.hardness[1] < sheet.fit.hardness[1] else sheet


def _letters_left(job: PartJob, frame: PageFrame, desk: _Desk, sheet: LaidOut) -> LaidOut:
    """The part in more and shorter lines, of which more begin with a letter, where the same one or
    two pages hold them."""
    boxes, room, pages = desk.boxes, desk.part.room, len(sheet.fit.pages.starts)
    inside = letters_inside(boxes, [first for first, _ in sheet.engraving.lines])
    # one more: lines with fewer bars are not quite as tall
    most = min(lines_that_fit(sheet.fit, frame) + 1, len(break_lines(boxes, room)))
    if not inside or pages > _LIE_OPEN or most <= len(sheet.engraving.lines):
        return sheet
    ways = by_number(boxes, room, most)
    for lines in range(most, len(sheet.engraving.lines), -1):
        starts = ways.get(lines)
        if starts is None or letters_inside(boxes, starts) >= inside:
            continue
        other = _lay_out(job, frame, desk, "tight", starts)
        if len(other.fit.pages.starts) <= pages:
            return other
    return sheet


_LIE_OPEN = 2  # pages that a player sees at once


def _lay_out(
    job: PartJob,
    frame: PageFrame,
    desk: _Desk,
    way: str,
    starts: tuple[int, ...] | None = None,
) -> LaidOut:
    """Break lines and pages. starts: the bars that begin a line, where they are settled."""
    part = desk.part
    starts = starts or break_for_pages(desk.boxes, part.room, way)
    drawn = desk.drawings.get(starts)
    if drawn is None:
        engraving = _with_room(engrave(part, starts), job)
        extras = extras_of(engraving, job)
        drawn = _Drawn(engraving, extras, _line_boxes(engraving, job))
        desk.drawings[starts] = drawn
    engraving, extras = drawn.engraving, drawn.extras
    jumps = tuple(_between_lines(engraving, job.jumps))
    found = fit(drawn.lines, frame, jumps, job.style.staff, tight=way == "tight", level=job.level)
    if found.share != 1.0:
        systems = filled(engraving.systems, found.share, part.width_mm * 100)
        systems = tuple(set_apart(s, chord_boxes(s, engraving.chords)) for s in systems)
        engraving = replace(engraving, systems=systems)
        extras = extras_of(engraving, job)
    return LaidOut(engraving, extras, found, job.remarks)


def _between_lines(engraving: Engraving, jumps: Sequence[Jump]) -> Iterator[Jump]:
    """Jumps between bars as jumps between the lines on which these stand."""
    firsts = [engraving.bars[first].index for first, _ in engraving.lines]
    for jump in jumps:
        leaves, to = bisect_right(firsts, jump.leaves) - 1, bisect_right(firsts, jump.to) - 1
        yield replace(jump, leaves=leaves, to=to)


def _line_boxes(engraving: Engraving, job: PartJob) -> list[LineBox]:
    least = sheet_look().page.line_least * MM * job.style.staff / _USUAL_STAFF
    boxes = []
    for system, (first, last) in zip(engraving.systems, engraving.lines, strict=True):
        bar = engraving.bars[last]
        end = bar.index + bar.bars - 1
        rest = job.rests[end] if end < len(job.rests) else 0.0
        height = max((system.bottom - system.top) * UNIT * scale_of(job) * system.scale, least)
        section = engraving.bars[first].section
        in_time = end in job.in_time
        boxes.append(LineBox(height=height, rest_after=rest, in_time=in_time, section=section))
    return boxes


def extras_of(engraving: Engraving, job: PartJob) -> list[list[Extra]]:
    """What we add to each line of an engraved part; lines grow to hold it."""
    sizes = sheet_look().type
    found = []
    for n, system in enumerate(engraving.systems):
        index = engraving.bars[engraving.lines[n][0]].index
        number = job.numbers[index] if n and index < len(job.numbers) else ""
        found.append(
            line_extras(
                system,
                chords=engraving.chords,
                overlays=job.overlays,
                number=number,
                number_size=sizes.bar_number / UNIT,
                syllables=job.syllables,
                syllable_size=sizes.syllable / UNIT,
            )
        )
    return found
