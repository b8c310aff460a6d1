"""One player's part as pages of a PDF."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from sectionprep.collector import collector_at_rest
from sectionprep.musicxml.mending import plainly
from sectionprep.outputs import fonts
from sectionprep.outputs.drawing_proof import Difference, MustShow
from sectionprep.outputs.engraver import LARGEST_STAFF, Engraving, EngravingFailed, Measured, engrave, measure
from sectionprep.outputs.layout import TURN_SECONDS, WAYS, LineBox, Pages, Turn, break_for_pages, break_pages
from sectionprep.outputs.line_extras import Extra, line_extras
from sectionprep.outputs.painter import MM, UNIT, Painter, new_canvas
from sectionprep.outputs.proof import Proof, paint_proof_pages
from sectionprep.settings import load_toml


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetStyle:
    """How sheets look; lengths in millimetres. paper: a name from templates/sheets.toml. section_help: words where a
    passage begins; cues: small notes before an entry; courtesy: accidentals that remind;
    syllables: what is said under the notes of a passage; proof: our own
    marks a shade lighter, and a page that lists them."""

    paper: str = "letter"
    staff: float = 7.5
    section_help: bool = True
    cues: bool = True
    courtesy: bool = True
    syllables: bool = False
    proof: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PartJob:
    """All that is needed to draw one part, in plain values (it crosses process borders).

    xml: the part as a score of its own. must: the heads its drawing must show.
    overlays: marks to draw by us, by note id. syllables: what is said under each note, by note id. proof: what we added, to be printed lighter and listed. rests: seconds of rest around the end of each
    bar, by bar index. numbers: printed number of each bar.
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
    numbers: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetReport:
    """What was printed: pages (with cover and proof pages), staves on each page of music, turns with seconds of rest, bars on
    each line. cover: a title page stands first, so that a turn falls into a rest. failed: why nothing was printed. heads: how many
    the part has; proved, pitches, accidentals: how many of them are proved to be on the paper, to be
    read as their pitch, and to be so by an accidental; differences: bars that are not drawn as the
    part has them."""

    name: str
    path: Path
    pages: int
    staves: tuple[int, ...]
    turns: tuple[Turn, ...]
    bars_per_line: tuple[int, ...]
    cover: bool = False
    failed: str = ""
    heads: int = 0
    proved: int = 0
    pitches: int = 0
    accidentals: int = 0
    differences: tuple[Difference, ...] = ()


@dataclass(frozen=True, slots=True)
class _Frame:
    """The page in points."""

    width: float
    height: float
    side: float
    top: float
    bottom: float
    head_first: float
    head_later: float

    @property
    def inner_mm(self) -> float:
        return (self.width - 2 * self.side) / MM

    def room(self, first: bool) -> float:
        """Height for music, in points."""
        return self.height - self.top - self.bottom - (self.head_first if first else self.head_later)


def _frame(paper: str) -> _Frame:
    table = load_toml("templates/sheets.toml")
    width, height = table["paper"][paper]
    page = table["page"]
    return _Frame(width * MM, height * MM, page["side"] * MM, page["top"] * MM, page["bottom"] * MM,
                  page["head_first"] * MM, page["head_later"] * MM)


@collector_at_rest()
def draw_part(job: PartJob) -> SheetReport:
    """Engrave a part and write its PDF to job.out."""
    frame = _frame(job.style.paper)
    canvas = new_canvas(str(job.out), frame.width, frame.height, title=f"{job.title} - {job.name}", author=job.composer, subject=job.footer)
    try:
        report = paint_part(canvas, job)
    except EngravingFailed as error:  # one part that cannot be drawn keeps nobody else from theirs
        return SheetReport(name=job.name, path=job.out, pages=0, staves=(), turns=(), bars_per_line=(), failed=str(error))
    canvas.save()
    return report


def paint_part(canvas: Any, job: PartJob) -> SheetReport:
    """Engrave a part onto a canvas, starting on a fresh page and ending each page."""
    frame = _frame(job.style.paper)
    painter = Painter(canvas)
    sheet = _proved_sheet(job, frame)
    engraving, extras, lines, broken = sheet.engraving, sheet.extras, sheet.lines, sheet.broken
    painter.learn(engraving.glyphs)
    starts, turns = broken.starts, broken.turns
    ends = [*starts[1:], len(lines)]
    pages = len(starts)
    if broken.cover:
        _cover(canvas, frame, job, pages + 1)
    for number, (first, last) in enumerate(zip(starts, ends, strict=True), start=1):
        _header(canvas, frame, job, number, broken.cover)
        if number == 1:
            _warning(canvas, frame, job, engraving)
        _footer(canvas, frame, job, number + broken.cover, pages + broken.cover, next((t for t in turns if t.page == number), None))
        _place(painter, frame, engraving, job, extras, lines, first, last, number == 1, number == pages)
        canvas.showPage()
    if job.proof is not None:
        pages += paint_proof_pages(canvas, job.name, job.proof.added, left=frame.side, right=frame.width - frame.side,
                                   top=frame.height - frame.top, bottom=frame.bottom)
    per_line = tuple(b - a + 1 for a, b in engraving.lines)
    proved = engraving.proved
    return SheetReport(name=job.name, path=job.out, pages=pages + broken.cover, cover=broken.cover,
                       staves=tuple(b - a for a, b in zip(starts, ends, strict=True)),
                       turns=tuple(replace(turn, page=turn.page + broken.cover) for turn in turns), bars_per_line=per_line,
                       heads=proved.expected, proved=proved.heads, pitches=proved.pitches,
                       accidentals=proved.accidentals, differences=proved.differences)


_USUAL_STAFF = 7.5  # millimetres
_TIGHT_GAP = 0.6  # of the least white between lines, where that saves a turn without rest; judgement


@dataclass(frozen=True, slots=True)
class _Sheet:
    """A part engraved and broken into pages."""

    engraving: Engraving
    extras: list[list[Extra]]
    lines: list[LineBox]
    broken: Pages


def _hard_turns(sheet: _Sheet) -> tuple[int, int]:
    """How many turns have no time, and how many pages there are."""
    return sum(not turn.possible for turn in sheet.broken.turns), len(sheet.broken.starts) + sheet.broken.cover


def _scale(job: PartJob) -> float:
    """How much larger than engraved a part is drawn: the engraver's own largest staff is too small for large print."""
    return 1.0 if job.style.staff <= LARGEST_STAFF else job.style.staff / _USUAL_STAFF


def _measured(job: PartJob, frame: _Frame) -> Measured:
    scale = _scale(job)
    return measure(job.xml, width_mm=frame.inner_mm / scale, staff_mm=job.style.staff / scale, where=job.where, must=job.must, rests=job.rests)


def engraved(job: PartJob) -> Engraving:
    """The part engraved with its lines broken the usual way."""
    part = _measured(job, _frame(job.style.paper))
    return engrave(part, break_for_pages(part.boxes, part.room))


def _proved_sheet(job: PartJob, frame: _Frame) -> _Sheet:
    """The part engraved so that it says what the part says: where the engraver fails or its drawing
    differs, it is told the part once more, as plainly as can be; the better drawing is taken."""
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


def _best_sheet(job: PartJob, frame: _Frame) -> _Sheet:
    """The part with its lines broken the usual way, or the way that leaves fewer turns without rest."""
    part = _measured(job, frame)
    sheet = _lay_out(job, frame, part, "usual")
    can_rest = any(rest >= TURN_SECONDS for rest in job.rests[:-1])
    for way in WAYS[1:]:
        hopeful = can_rest if way == "rests" else len(sheet.broken.starts) == 3
        if hopeful and any(not turn.possible for turn in sheet.broken.turns):
            sheet = min(sheet, _lay_out(job, frame, part, way, sheet), key=_hard_turns)
    return sheet


def _lay_out(job: PartJob, frame: _Frame, part: Measured, way: str, drawn: _Sheet | None = None) -> _Sheet:
    """Break lines and pages. drawn: an earlier drawing, which serves again where the lines are the same."""
    starts = break_for_pages(part.boxes, part.room, way)
    if drawn is None or tuple(first for first, _ in drawn.engraving.lines) != starts:
        engraving = engrave(part, starts)
        extras = extras_of(engraving, job)
        lines = _line_boxes(engraving, job)
    else:
        engraving, extras, lines = drawn.engraving, drawn.extras, drawn.lines
    gap = load_toml("templates/sheets.toml")["page"]["gap"] * MM * (_TIGHT_GAP if way == "tight" else 1.0)
    return _Sheet(engraving, extras, lines, break_pages(lines, frame.room(True), frame.room(False), gap))


def _line_boxes(engraving: Engraving, job: PartJob) -> list[LineBox]:
    least = load_toml("templates/sheets.toml")["page"]["line_least"] * MM * job.style.staff / _USUAL_STAFF
    boxes = []
    for system, (first, last) in zip(engraving.systems, engraving.lines, strict=True):
        bar = engraving.bars[last]
        end = bar.index + bar.bars - 1
        rest = job.rests[end] if end < len(job.rests) else 0.0
        height = max((system.bottom - system.top) * UNIT * _scale(job), least)
        boxes.append(LineBox(height=height, rest_after=rest, section=engraving.bars[first].section))
    return boxes


def _place(
    painter: Painter, frame: _Frame, engraving: Engraving, job: PartJob, extras: list[list[Extra]], lines: list[LineBox],
    first: int, last: int, is_first: bool, is_last: bool,
) -> None:
    page = load_toml("templates/sheets.toml")["page"]
    used = sum(line.height for line in lines[first:last])
    spaces = max(last - first - 1, 1)
    spare = (frame.room(is_first) - used) / spaces
    gap = min(max(spare, page["gap"] * MM * _TIGHT_GAP), page["gap_most"] * MM) if not is_last or spare < page["gap_most"] * MM \
        else page["gap_most"] * MM * 0.8
    proof = job.proof
    pale = {*proof.notes, *(name for name, key in engraving.signs.items() if key in proof.signs)} if proof is not None else ()
    unit = UNIT * (scale := _scale(job))
    y = frame.height - frame.top - (frame.head_first if is_first else frame.head_later)
    for n in range(first, last):
        system = engraving.systems[n]
        ink = (system.bottom - system.top) * unit
        slack = max(0.0, lines[n].height - ink) / 2
        staff_y = y - slack - (system.staff_top - system.top) * unit
        painter.system(system, frame.side, staff_y, pale, scale)
        with painter.at(system, frame.side, staff_y, scale):
            for extra in extras[n]:
                extra.paint(painter)
        y -= lines[n].height + gap


def extras_of(engraving: Engraving, job: PartJob) -> list[list[Extra]]:
    """What we add to each line of an engraved part; lines grow to hold it."""
    sizes = load_toml("templates/sheets.toml")["type"]
    found = []
    for n, system in enumerate(engraving.systems):
        index = engraving.bars[engraving.lines[n][0]].index
        number = job.numbers[index] if n and index < len(job.numbers) else ""
        found.append(line_extras(system, chords=engraving.chords, overlays=job.overlays, number=number,
                                 number_size=sizes["bar_number"] / UNIT, syllables=job.syllables,
                                 syllable_size=sizes["syllable"] / UNIT))
    return found


def _cover(canvas: Any, frame: _Frame, job: PartJob, pages: int) -> None:
    """A title page on the right-hand side: the music then begins on a left page, and a turn falls into a rest."""
    sizes = load_toml("templates/sheets.toml")["type"]
    middle, y = frame.width / 2, frame.height * 0.62
    for words, font, size in ((job.title, fonts.BOLD, sizes["title"] * 1.3), (job.name, fonts.BOLD, sizes["title"]),
                              *((text, fonts.TEXT, sizes["credit"] + 2) for text in _credits(job))):
        canvas.setFont(font, size)
        canvas.drawCentredString(middle, y, fonts.fitted(words, font, size, frame.width - 2 * frame.side))
        y -= 1.7 * size
    canvas.setFont(fonts.ITALIC, sizes["running"])
    canvas.drawCentredString(middle, frame.height * 0.3, "The music begins on the next page, so that the page turn falls into a rest.")
    _footer(canvas, frame, job, 1, pages, None)
    canvas.showPage()


def _credits(job: PartJob) -> list[str]:
    """Composer and arranger; one line where they are the same."""
    same = job.composer and job.arranger.removeprefix("arr. ").strip() == job.composer.strip()
    return [text for text in (job.composer, "" if same else job.arranger) if text]


def _header(canvas: Any, frame: _Frame, job: PartJob, number: int, cover: bool) -> None:
    sizes = load_toml("templates/sheets.toml")["type"]
    top = frame.height - frame.top
    left, right = frame.side, frame.width - frame.side
    if number > 1:
        canvas.setFont(fonts.ITALIC, sizes["running"])
        canvas.drawString(left, top - 9, fonts.printable(f"{job.title}", fonts.ITALIC))
        canvas.setFont(fonts.BOLD, sizes["running"])
        canvas.drawCentredString(frame.width / 2, top - 9, fonts.printable(job.name, fonts.BOLD))
        canvas.setFont(fonts.TEXT, sizes["running"])
        canvas.drawRightString(right, top - 9, str(number + cover))
        return
    name = fonts.printable(job.name, fonts.BOLD)
    title = fonts.printable(job.title, fonts.BOLD)
    size = sizes["title"]
    while fonts.width(title, fonts.BOLD, size) > 0.62 * (right - left) and size > 10:
        size -= 0.5
    name_size = sizes["part"]
    while fonts.width(name, fonts.BOLD, name_size) > 0.55 * (right - left) and name_size > 8:
        name_size -= 0.5
    canvas.setFont(fonts.BOLD, name_size)
    canvas.drawString(left, top - 12, name)
    canvas.setFont(fonts.BOLD, size)
    drop = 38 if fonts.width(name, fonts.BOLD, name_size) > (right - left - fonts.width(title, fonts.BOLD, size)) / 2 - 8 else 30
    canvas.drawCentredString(frame.width / 2, top - drop, title)
    for n, text in enumerate(_credits(job)):
        credit = fonts.printable(text)
        credit_size = sizes["credit"]
        while fonts.width(credit, fonts.TEXT, credit_size) > 0.34 * (right - left) and credit_size > 6:
            credit_size -= 0.5
        canvas.setFont(fonts.TEXT, credit_size)
        canvas.drawRightString(right, top - 10 - 12 * n, credit)


def _warning(canvas: Any, frame: _Frame, job: PartJob, engraving: Engraving) -> None:
    """Over the music: bars of this sheet that are not drawn as the file has them."""
    numbers = dict(enumerate(job.numbers))
    bars = [numbers.get(one.bar, "?") for one in engraving.proved.differences]
    if bars:
        size = load_toml("templates/sheets.toml")["type"]["credit"]
        which = f"bar{'s' * (len(bars) > 1)} {', '.join(bars)}"
        words = f"CHECK AGAINST THE SCORE: {which} (not drawn as the file has it)"
        canvas.setFont(fonts.BOLD, size)
        canvas.drawString(frame.side, frame.height - frame.top - frame.head_first + 4,
                          fonts.fitted(words, fonts.BOLD, size, frame.width - 2 * frame.side))


def _footer(canvas: Any, frame: _Frame, job: PartJob, number: int, pages: int, turn: Turn | None) -> None:
    sizes = load_toml("templates/sheets.toml")["type"]
    y = frame.bottom - 14
    canvas.setFont(fonts.TEXT, sizes["footer"])
    legend = "    -oo: no tongue, n: half swallowed" if job.syllables and number == 1 else ""
    canvas.drawString(frame.side, y, fonts.printable(job.footer + legend))
    canvas.drawRightString(frame.width - frame.side, y, f"{number} / {pages}")
    if turn is not None:
        words = "turn" if turn.possible else "turn quickly"
        canvas.setFont(fonts.ITALIC, sizes["footer"] + 1.5)
        canvas.drawRightString(frame.width - frame.side - 40, y, f"{words} ({turn.seconds:.0f} s rest)")
