"""One player's part as pages of a PDF."""

from __future__ import annotations

import os
from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

from sectionprep.drawing.engraver.engraver import (
    LARGEST_STAFF,
    Engraving,
    EngravingFailed,
    Measured,
    engrave,
    measure,
)
from sectionprep.drawing.paging.counted_lines import (
    letters_inside,
    so_many_lines,
    steady_lines,
)
from sectionprep.drawing.paging.lines_and_pages import (
    TURN_SECONDS,
    WAYS,
    BarBox,
    Jump,
    LineBox,
    Turn,
    break_for_pages,
    break_lines,
)
from sectionprep.drawing.pdf.painter import MM, UNIT, Painter, new_canvas
from sectionprep.drawing.proof.as_written import Difference, MustShow
from sectionprep.drawing.scene.line_extras import Extra, line_extras, roomy
from sectionprep.drawing.scene.skyline import chord_boxes, set_apart
from sectionprep.drawing.scene.spacing import SAID
from sectionprep.garbage import collector_at_rest
from sectionprep.musicxml.copies.mending import plainly
from sectionprep.outputs.parts import page_heads
from sectionprep.outputs.parts.fitting import Fit, filled, fit, lines_that_fit
from sectionprep.outputs.parts.page_heads import PageFrame, frame_of
from sectionprep.outputs.parts.proof_pages import Proof, paint_proof_pages
from sectionprep.outputs.parts.sheet_remarks import SheetRemark
from sectionprep.outputs.sheet_look import sheet_look


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetStyle:
    """How sheets look; lengths in millimetres. paper: a name from templates/sheets.toml.
    section_help: words where a passage begins; cues: small notes before an entry; rhythm_cues: what
    the horns hit, over slashes; no_rhythm_cues_in: printed numbers of bars without; courtesy:
    accidentals that remind; syllables: what is said under the notes of a passage; proof: our own
    marks a shade lighter, and a page that lists them."""

    paper: str = "letter"
    staff: float = 7.5
    section_help: bool = True
    cues: bool = True
    rhythm_cues: bool = True
    no_rhythm_cues_in: frozenset[str] = frozenset()
    courtesy: bool = True
    syllables: bool = False
    proof: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PartJob:
    """All that is needed to draw one part, in plain values (it crosses process borders).

    xml: the part as a score of its own. must: the heads its drawing must show. overlays: marks to
    draw by us, by note id. syllables: what is said under each note, by note id. proof: what we
    added, to be printed lighter and listed. rests: seconds of rest around the end of each bar, by
    bar index. jumps: of the road map, between bars. numbers: printed number of each bar. under:
    lines under the part's name. lyricist, rights: credits of the first page.
    remarks: what the sheet will not show. changed: printed numbers of bars that differ from the
    sheet before, whose lines get a bar in the margin. steady: mostly slashes, to be set in lines
    of four bars; plays: first bar and length of what may stand as one bar, "play 8", where that
    saves a page; lettered: its player counts by letters, which stand at the left wherever two pages
    allow. section: whose sheets are to look alike; level: of page economy,
    None for the best.
    """

    xml: bytes
    name: str
    title: str
    composer: str
    arranger: str
    footer: str
    must: MustShow
    where: str
    out: Path
    style: SheetStyle
    overlays: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    syllables: Mapping[str, str] = field(default_factory=dict)
    proof: Proof | None = None
    rests: tuple[float, ...] = ()
    jumps: tuple[Jump, ...] = ()
    numbers: tuple[str, ...] = ()
    under: tuple[str, ...] = ()
    lyricist: str = ""
    rights: tuple[str, ...] = ()
    remarks: tuple[SheetRemark, ...] = ()
    changed: frozenset[str] = frozenset()
    steady: bool = False
    plays: tuple[tuple[int, int], ...] = ()
    lettered: bool = False
    section: str = ""
    level: int | None = None

    @property
    def alike(self) -> tuple[str, float]:
        """Equal for parts whose sheets are to look alike: section, and staff as asked for."""
        return self.section, self.style.staff


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetReport:
    """What was printed: pages (with cover and proof pages), staves on each page of music, turns
    with seconds of rest, bars on each line. cover: a title page stands first, so that a turn falls
    into a rest. staff: its height, millimetres. failed: why nothing was printed. remarks: what the
    sheet does not show. heads: how many the part has, and how many of them are proved to be on the
    paper, to be read as their pitch, and to be so by an accidental; differences: bars that are not
    drawn as the part has them. process: number of the one that drew it and has it at hand.
    """

    name: str
    path: Path
    pages: int
    staves: tuple[int, ...]
    turns: tuple[Turn, ...]
    bars_per_line: tuple[int, ...]
    cover: bool = False
    staff: float = 0.0
    failed: str = ""
    remarks: tuple[SheetRemark, ...] = ()
    heads: int = 0
    proved: int = 0
    pitches: int = 0
    accidentals: int = 0
    differences: tuple[Difference, ...] = ()
    process: int = field(default=0, compare=False)

    @property
    def hard(self) -> int:
        """Turns without time to turn."""
        return sum(not turn.possible for turn in self.turns)


@collector_at_rest()
def draw_part(job: PartJob) -> SheetReport:
    """Engrave a part and write its PDF to job.out."""
    frame = frame_of(job.style.paper)
    canvas = new_canvas(
        str(job.out),
        frame.width,
        frame.height,
        title=f"{job.title} - {job.name}",
        author=job.composer,
        subject=job.footer,
    )
    try:
        report = paint_part(canvas, job)
    except EngravingFailed as error:  # one part that cannot be drawn keeps nobody else from theirs
        return SheetReport(
            name=job.name,
            path=job.out,
            pages=0,
            staves=(),
            turns=(),
            bars_per_line=(),
            failed=str(error),
        )
    canvas.save()
    return report


def paint_part(canvas: Any, job: PartJob) -> SheetReport:
    """Engrave a part onto a canvas, starting on a fresh page and ending each page."""
    frame = frame_of(job.style.paper)
    painter = Painter(canvas)
    sheet = _proved_sheet(job, frame)
    engraving, broken = sheet.engraving, sheet.fit.pages
    painter.learn(engraving.glyphs)
    starts, turns = broken.starts, [turn.behind(broken.cover) for turn in broken.turns]
    ends = [*starts[1:], len(sheet.fit.lines)]
    pages = len(starts)
    if broken.cover:
        page_heads.cover(canvas, frame, job, pages + 1)
    for number, (first, last) in enumerate(zip(starts, ends, strict=True), start=1):
        page_heads.header(canvas, frame, job, number, broken.cover)
        shown = number + broken.cover
        here = [turn for turn in turns if turn.page == shown]
        said = any(e.kind == "syllable" for line in sheet.extras[first:last] for e in line)
        page_heads.footer(canvas, frame, job, shown, pages + broken.cover, here, said)
        if number == 1:
            page_heads.warning(canvas, frame, job, [d.bar for d in engraving.proved.differences])
            page_heads.foot_of_first_page(canvas, frame, job)
        _place(painter, frame, job, sheet, range(first, last), number == 1, number == pages)
        canvas.showPage()
    if job.proof is not None:
        pages += paint_proof_pages(
            canvas,
            job.name,
            job.proof.added,
            left=frame.side,
            right=frame.width - frame.side,
            top=frame.height - frame.top,
            bottom=frame.bottom,
        )
    per_line = tuple(b - a + 1 for a, b in engraving.lines)
    return SheetReport(
        name=job.name,
        path=job.out,
        pages=pages + broken.cover,
        cover=broken.cover,
        staves=tuple(b - a for a, b in zip(starts, ends, strict=True)),
        staff=job.style.staff * sheet.fit.share,
        turns=tuple(turns),
        bars_per_line=per_line,
        remarks=job.remarks,
        heads=engraving.proved.expected,
        proved=engraving.proved.heads,
        pitches=engraving.proved.pitches,
        accidentals=engraving.proved.accidentals,
        differences=engraving.proved.differences,
        process=os.getpid(),
    )


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
class _Sheet:
    """A part broken into pages, with its engraving and what is added to it as they are printed."""

    engraving: Engraving
    extras: list[list[Extra]]
    fit: Fit


def _scale(job: PartJob) -> float:
    """How much larger than engraved a part is drawn: the engraver's own largest staff is too small
    for large print."""
    return 1.0 if job.style.staff <= LARGEST_STAFF else job.style.staff / _USUAL_STAFF


def _measured(job: PartJob, frame: PageFrame, plays: Sequence[tuple[int, int]] = ()) -> Measured:
    scale = _scale(job)
    return measure(
        job.xml,
        width_mm=frame.inner_mm / scale,
        staff_mm=job.style.staff / scale,
        where=job.where,
        must=job.must,
        rests=job.rests,
        plays=plays,
    )


def as_printed(job: PartJob) -> _Sheet:
    """The part as `paint_part` prints it."""
    return _proved_sheet(job, frame_of(job.style.paper))


def _with_room(engraving: Engraving, job: PartJob) -> Engraving:
    """Notes so far apart that what is said under them does not touch."""
    if not job.syllables:
        return engraving
    size = sheet_look().type.syllable / UNIT
    systems = tuple(roomy(system, job.syllables, size) for system in engraving.systems)
    return replace(engraving, systems=systems)


def _proved_sheet(job: PartJob, frame: PageFrame) -> _Sheet:
    """The part engraved so that it says what the part says: where the engraver fails or its drawing
    differs, it is told the part once more, as plainly as can be, and the better drawing is taken.
    """
    sheet: _Sheet | None = None
    try:
        sheet = _best_sheet(job, frame)
        if not sheet.engraving.proved.differences:
            return sheet
        again = _best_sheet(replace(job, xml=plainly(job.xml)), frame)
    except EngravingFailed:
        if sheet is None:
            return _best_sheet(replace(job, xml=plainly(job.xml)), frame)
        return sheet
    return min(sheet, again, key=lambda sheet: len(sheet.engraving.proved.differences))


def _best_sheet(job: PartJob, frame: PageFrame) -> _Sheet:
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


def _crowded(sheet: _Sheet) -> frozenset[int]:
    """The bars of lines on which two syllables are too close."""
    found: set[int] = set()
    for extras, (first, last) in zip(sheet.extras, sheet.engraving.lines, strict=True):
        said = sorted(extra.box for extra in extras if extra.kind == "syllable")
        if any(b[0] - a[2] < SAID - 1 for a, b in pairwise(said)):
            found.update(range(first, last + 1))
    return frozenset(found)


def _best_lines(job: PartJob, frame: PageFrame, desk: _Desk) -> _Sheet:
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


def _steady_sheet(job: PartJob, frame: PageFrame, desk: _Desk) -> _Sheet | None:
    """A part of slashes in lines of four bars; of five, or the usual way, where that takes fewer
    pages. None for other parts."""
    ways = [
        steady_lines(desk.boxes, desk.part.room, count, squeezed=count != _STEADY[0])
        for count in (_STEADY if job.steady else ())
    ]
    best: _Sheet | None = None
    for starts in [*(way for way in ways if way is not None), None] if ways else []:
        for way in ("usual", "tight"):
            sheet = _lay_out(job, frame, desk, way, starts)
            if best is None or len(sheet.fit.pages.starts) < len(best.fit.pages.starts):
                best = sheet
            if len(best.fit.pages.starts) <= _LIE_OPEN:
                return best
    return best


def _closed_up(job: PartJob, frame: PageFrame, sheet: _Sheet) -> _Sheet:
    """A part of slashes with its long stretches of time closed up, "play 8", where it would else be
    turned and takes fewer pages so; else its player reads every bar."""
    if len(sheet.fit.pages.starts) <= _LIE_OPEN or not job.plays:
        return sheet
    part = _measured(job, frame, job.plays)
    other = _steady_sheet(job, frame, _Desk(job, part, part.boxes, {}))
    return other if other and other.fit.hardness[1] < sheet.fit.hardness[1] else sheet


def _letters_left(job: PartJob, frame: PageFrame, desk: _Desk, sheet: _Sheet) -> _Sheet:
    """The part in more and shorter lines, of which more begin with a letter, where the same one or
    two pages hold them."""
    boxes, room, pages = desk.boxes, desk.part.room, len(sheet.fit.pages.starts)
    inside = letters_inside(boxes, [first for first, _ in sheet.engraving.lines])
    # one more: lines with fewer bars are not quite as tall
    most = min(lines_that_fit(sheet.fit, frame) + 1, len(break_lines(boxes, room)))
    for lines in range(most, len(sheet.engraving.lines), -1) if pages <= _LIE_OPEN else ():
        starts = so_many_lines(boxes, room, lines)
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
) -> _Sheet:
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
    return _Sheet(engraving, extras, found)


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
        height = max((system.bottom - system.top) * UNIT * _scale(job) * system.scale, least)
        boxes.append(LineBox(height=height, rest_after=rest, section=engraving.bars[first].section))
    return boxes


def _place(
    painter: Painter,
    frame: PageFrame,
    job: PartJob,
    sheet: _Sheet,
    lines: range,
    is_first: bool,
    is_last: bool,
) -> None:
    """Paint some lines of a part onto one page."""
    engraving, heights = sheet.engraving, [line.height for line in sheet.fit.lines]
    most = sheet_look().page.gap_most * MM
    used = sum(heights[n] for n in lines)
    spare = (frame.room(is_first) - used) / max(len(lines) - 1, 1)
    gap = min(max(spare, sheet.fit.gap), most) if not is_last or spare < most else most * 0.8
    proof = job.proof
    pale = (
        {*proof.notes, *(name for name, key in engraving.signs.items() if key in proof.signs)}
        if proof is not None
        else ()
    )
    y = frame.height - frame.top - (frame.head_first if is_first else frame.head_later)
    for n in lines:
        system = engraving.systems[n]
        scale = _scale(job) * system.scale * sheet.fit.share
        unit = UNIT * scale
        ink = (system.bottom - system.top) * unit
        slack = max(0.0, heights[n] - ink) / 2
        staff_y = y - slack - (system.staff_top - system.top) * unit
        painter.system(system, frame.side, staff_y, pale, scale)
        if job.changed.intersection(_numbers_on(job, engraving, n)):
            _margin_bar(painter, frame, staff_y, (system.staff_bottom - system.staff_top) * unit)
        with painter.at(system, frame.side, staff_y, scale):
            for extra in sheet.extras[n]:
                extra.paint(painter)
        y -= heights[n] + gap


def _numbers_on(job: PartJob, engraving: Engraving, line: int) -> set[str]:
    """Printed numbers of the bars of a line, those inside long rests among them."""
    first, last = engraving.lines[line]
    bars = engraving.bars[first : last + 1]
    return {number for bar in bars for number in job.numbers[bar.index : bar.index + bar.bars]}


_MARGIN_BAR = 2.5  # points wide
_FROM_STAFF = 9.0  # points between it and the line


def _margin_bar(painter: Painter, frame: PageFrame, top: float, height: float) -> None:
    """Beside a line with something new. top: of its staff, points above the foot of the page."""
    x = frame.side - _FROM_STAFF
    painter.canvas.rect(x, top - height, _MARGIN_BAR, height, stroke=0, fill=1)


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
