"""One player's part as pages of a PDF."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sectionprep.outputs import chord_symbols, fonts, jazz_marks
from sectionprep.outputs.engraver import Engraving, EngravingFailed, engrave
from sectionprep.outputs.layout import LineBox, Turn, break_pages
from sectionprep.outputs.painter import MM, UNIT, Painter
from sectionprep.outputs.svg import System
from sectionprep.settings import load_toml


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetStyle:
    """How sheets look; lengths in millimetres. paper: a name from templates/sheets.toml. section_help: words where a
    passage begins; cues: small notes before an entry; proof: our own marks a shade lighter."""

    paper: str = "letter"
    staff: float = 7.5
    section_help: bool = True
    cues: bool = True
    proof: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PartJob:
    """All that is needed to draw one part, in plain values (it crosses process borders).

    xml: the part as a score of its own. overlays: marks to draw by us, by note id. pale: marks that we added, by note
    id, printed lighter in proofs. rests: seconds of rest
    around the end of each bar, by bar index. numbers: printed number of each bar.
    """

    xml: bytes
    name: str
    title: str
    composer: str
    arranger: str
    footer: str
    notes: int
    where: str
    out: Path
    style: SheetStyle
    overlays: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    pale: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    rests: tuple[float, ...] = ()
    numbers: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetReport:
    """What was printed: pages, staves on each page, turns with seconds of rest, bars on each line. failed: why
    nothing was printed."""

    name: str
    path: Path
    pages: int
    staves: tuple[int, ...]
    turns: tuple[Turn, ...]
    bars_per_line: tuple[int, ...]
    failed: str = ""


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


def draw_part(job: PartJob) -> SheetReport:
    """Engrave a part and write its PDF to job.out."""
    from reportlab.pdfgen.canvas import Canvas

    frame = _frame(job.style.paper)
    fonts.register()
    canvas = Canvas(str(job.out), pagesize=(frame.width, frame.height), invariant=1, pageCompression=1)
    canvas.setTitle(f"{job.title} - {job.name}")
    canvas.setAuthor(job.composer)
    canvas.setSubject(job.footer)
    canvas.setCreator("sectionprep")
    try:
        report = paint_part(canvas, job)
    except EngravingFailed as error:  # one part that cannot be drawn keeps nobody else from theirs
        return SheetReport(name=job.name, path=job.out, pages=0, staves=(), turns=(), bars_per_line=(), failed=str(error))
    canvas.save()
    return report


def paint_part(canvas: Any, job: PartJob) -> SheetReport:
    """Engrave a part onto a canvas, starting on a fresh page and ending each page."""
    frame = _frame(job.style.paper)
    engraving = engrave(job.xml, width_mm=frame.inner_mm, staff_mm=job.style.staff, where=job.where, notes=job.notes)
    painter = Painter(canvas)
    painter.learn(engraving.glyphs)
    lines = _line_boxes(engraving, job)
    gap = load_toml("templates/sheets.toml")["page"]["gap"] * MM
    starts, turns = break_pages(lines, frame.room(True), frame.room(False), gap)
    ends = [*starts[1:], len(lines)]
    pages = len(starts)
    for number, (first, last) in enumerate(zip(starts, ends, strict=True), start=1):
        _header(canvas, frame, job, number)
        _footer(canvas, frame, job, number, pages, next((t for t in turns if t.page == number), None))
        _place(painter, frame, engraving, job, lines, first, last, number == 1, number == pages)
        canvas.showPage()
    per_line = tuple(b - a + 1 for a, b in engraving.lines)
    return SheetReport(name=job.name, path=job.out, pages=pages,
                       staves=tuple(b - a for a, b in zip(starts, ends, strict=True)), turns=turns, bars_per_line=per_line)


def _line_boxes(engraving: Engraving, job: PartJob) -> list[LineBox]:
    least = load_toml("templates/sheets.toml")["page"]["line_least"] * MM * job.style.staff / 7.5
    boxes = []
    for system, (first, last) in zip(engraving.systems, engraving.lines, strict=True):
        bar = engraving.bars[last]
        end = bar.index + bar.bars - 1
        rest = job.rests[end] if end < len(job.rests) else 0.0
        height = max((system.bottom - system.top) * UNIT, least)
        boxes.append(LineBox(height=height, rest_after=rest, section=engraving.bars[first].section))
    return boxes


def _place(
    painter: Painter, frame: _Frame, engraving: Engraving, job: PartJob, lines: list[LineBox], first: int, last: int,
    is_first: bool, is_last: bool,
) -> None:
    page = load_toml("templates/sheets.toml")["page"]
    used = sum(line.height for line in lines[first:last])
    spaces = max(last - first - 1, 1)
    spare = (frame.room(is_first) - used) / spaces
    gap = min(max(spare, page["gap"] * MM), page["gap_most"] * MM) if not is_last or spare < page["gap_most"] * MM \
        else page["gap_most"] * MM * 0.8
    y = frame.height - frame.top - (frame.head_first if is_first else frame.head_later)
    for n in range(first, last):
        system = engraving.systems[n]
        ink = (system.bottom - system.top) * UNIT
        slack = max(0.0, lines[n].height - ink) / 2
        staff_y = y - slack - (system.staff_top - system.top) * UNIT
        painter.system(system, frame.side, staff_y, pale=job.pale if job.style.proof else {})
        _extras(painter, frame, engraving, job, n, staff_y)
        y -= lines[n].height + gap


def _extras(painter: Painter, frame: _Frame, engraving: Engraving, job: PartJob, n: int, staff_y: float) -> None:
    system = engraving.systems[n]
    c = painter.canvas
    c.saveState()
    c.translate(frame.side, staff_y)
    c.scale(UNIT, -UNIT)
    c.translate(0, -system.staff_top)
    for name, spot in system.chords.items():
        chord_symbols.draw(painter, spot.x, spot.y, engraving.chords.get(name, ""))
    for name, marks in job.overlays.items():
        head = system.heads.get(name)
        if head is not None:
            for mark in marks:
                jazz_marks.draw(painter, system, head, mark)
    index = engraving.bars[engraving.lines[n][0]].index
    if n and index < len(job.numbers):
        size = _number_size()
        painter.text(0, _under_clef(system) + _NUMBER_GAP + 0.75 * size, job.numbers[index], fonts.ITALIC, size)
    c.restoreState()


_NUMBER_GAP = 60.0  # hundredths of a millimetre between clef and bar number


def _number_size() -> float:
    return float(load_toml("templates/sheets.toml")["type"]["bar_number"]) / UNIT


def _under_clef(system: System) -> float:
    """Lowest ink at the left edge: the bar number goes under it."""
    return max([system.staff_bottom, *(i.box[3] for i in system.ink if i.box[0] < 500 and "clef" in i.classes)])


def _header(canvas: Any, frame: _Frame, job: PartJob, number: int) -> None:
    sizes = load_toml("templates/sheets.toml")["type"]
    top = frame.height - frame.top
    left, right = frame.side, frame.width - frame.side
    if number > 1:
        canvas.setFont(fonts.ITALIC, sizes["running"])
        canvas.drawString(left, top - 9, fonts.printable(f"{job.title}", fonts.ITALIC))
        canvas.setFont(fonts.BOLD, sizes["running"])
        canvas.drawCentredString(frame.width / 2, top - 9, fonts.printable(job.name, fonts.BOLD))
        canvas.setFont(fonts.TEXT, sizes["running"])
        canvas.drawRightString(right, top - 9, str(number))
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
    credits_ = [text for text in (job.composer, job.arranger) if text]
    for n, text in enumerate(dict.fromkeys(credits_)):
        credit = fonts.printable(text)
        credit_size = sizes["credit"]
        while fonts.width(credit, fonts.TEXT, credit_size) > 0.34 * (right - left) and credit_size > 6:
            credit_size -= 0.5
        canvas.setFont(fonts.TEXT, credit_size)
        canvas.drawRightString(right, top - 10 - 12 * n, credit)


def _footer(canvas: Any, frame: _Frame, job: PartJob, number: int, pages: int, turn: Turn | None) -> None:
    sizes = load_toml("templates/sheets.toml")["type"]
    y = frame.bottom - 14
    canvas.setFont(fonts.TEXT, sizes["footer"])
    canvas.drawString(frame.side, y, fonts.printable(job.footer))
    canvas.drawRightString(frame.width - frame.side, y, f"{number} / {pages}")
    if turn is not None:
        words = "turn" if turn.possible else "turn quickly"
        canvas.setFont(fonts.ITALIC, sizes["footer"] + 1.5)
        canvas.drawCentredString(frame.width / 2, y, f"{words} ({turn.seconds:.0f} s rest)")
