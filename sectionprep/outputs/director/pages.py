"""The director's pages: a one-page summary with the chart map, and a study page for each
passage."""

from __future__ import annotations

import io
from collections.abc import Sequence
from concurrent.futures import Future
from pathlib import Path
from typing import Any

from sectionprep.apart import Apart
from sectionprep.checks import Finding
from sectionprep.drawing.engraver.engraver import EngravingFailed, engrave_passage, get_ready
from sectionprep.drawing.pdf.painter import MM, UNIT, Painter, new_canvas
from sectionprep.drawing.scene.ink import System
from sectionprep.drawing.scene.jazz_marks import overlays_of
from sectionprep.drawing.scene.line_extras import jazz_extras
from sectionprep.drawing.text import fonts
from sectionprep.music.chart import Chart
from sectionprep.music.marks import SLURS, say
from sectionprep.music.roadmap import say_order
from sectionprep.music.timing import say_beat
from sectionprep.musicxml.copies.excerpt import Excerpt, Pick, extract_excerpt
from sectionprep.musicxml.copies.part import note_id
from sectionprep.musicxml.document import Document
from sectionprep.outputs.director.chart_map import ChartMap, chart_map
from sectionprep.outputs.director.engraved import SECONDS, DirectorPages, take_drawing
from sectionprep.outputs.director.staves import pick_staff
from sectionprep.passages import Passage, Together
from sectionprep.passages.guests import say_guests
from sectionprep.phrasing import PassagePlan, Plan, PlannedNote
from sectionprep.phrasing.plan import Reading
from sectionprep.phrasing.syllables import lead_syllables
from sectionprep.results import Marked
from sectionprep.settings import load_toml

_MARGIN = 12 * MM
# a study page is a hand-out, not the score: longer passages show their first bars; judgement
_STUDY_BARS = 24
_DISAGREEMENTS = 14  # listed on a study page
_STAFF_MM = 5.0  # staff height on study pages: smaller than a player's, large enough for a stand


class _Page:
    """A sheet of paper with a pen that moves down; text wraps at the right margin."""

    def __init__(self, canvas: Any, width: float, height: float) -> None:
        self.canvas, self.width, self.height = canvas, width, height
        self.y = height - _MARGIN

    @property
    def inner(self) -> float:
        return self.width - 2 * _MARGIN

    def text(
        self,
        words: str,
        size: float = 9,
        font: str = fonts.TEXT,
        indent: float = 0.0,
        gap: float = 2.0,
    ) -> None:
        for line in _wrap(fonts.printable(words, font), font, size, self.inner - indent):
            self.y -= size
            if self.y < _MARGIN:
                return
            self.canvas.setFont(font, size)
            self.canvas.drawString(_MARGIN + indent, self.y, line)
            self.y -= gap

    def turn(self, footer: str, heading: str) -> None:
        """Go on at the top of a fresh page."""
        _foot(self.canvas, self.width, footer)
        self.canvas.showPage()
        self.y = self.height - _MARGIN
        self.text(heading, 11, fonts.BOLD)
        self.space(6)

    def space(self, amount: float) -> None:
        self.y -= amount


def _wrap(words: str, font: str, size: float, room: float) -> list[str]:
    lines: list[list[str]] = [[]]
    used, space = 0.0, fonts.width(" ", font, size)
    for word in words.split():
        wide = fonts.width(word, font, size)
        if lines[-1] and used + space + wide > room:
            lines.append([])
            used = 0.0
        used += wide + (space if lines[-1] else 0.0)
        lines[-1].append(word)
    return [" ".join(line) for line in lines]


def director_pdf(
    marked: Marked, *, paper: str, footer: str, pitch: str = "sounding"
) -> DirectorPages:
    """Summary and study pages of the marked chart as a PDF. pitch: of the study pages, "sounding"
    or "written" (as the players read)."""
    document, chart = marked.again.document, marked.again.chart
    together, plan = marked.score.together, marked.plan
    before, after = marked.before, marked.after
    short, long = sorted(side * MM for side in load_toml("templates/sheets.toml")["paper"][paper])
    out = io.BytesIO()
    canvas = new_canvas(out, long, short, title=f"{chart.title} - director")
    _summary(canvas, long, short, chart, together, plan, after, footer)
    painter = Painter(canvas)
    get_ready()
    shown = [(p, planned) for p in together.passages if (planned := plan.of(p.id)) is not None]
    excerpts = (
        (_excerpt(document, chart, p, planned, plan.style, pitch, (short - 2 * _MARGIN) / MM))
        for p, planned in shown
    )
    not_drawn: list[str] = []
    with Apart() as apart:
        drawings = apart.each(engrave_passage, excerpts, SECONDS)
        for (passage, planned), drawing in zip(shown, drawings, strict=True):
            canvas.setPageSize((short, long))
            mine = [
                f
                for f in before
                if f.passage == passage.id
                or (
                    f.check == "range"
                    and f.part in passage.parts
                    and any(passage.start <= tick < passage.end for tick in f.places)
                )
            ]
            not_drawn += _study(
                painter, short, long, chart, passage, planned, drawing, mine, footer, pitch
            )
    canvas.save()
    return DirectorPages(out.getvalue(), tuple(not_drawn))


def write_map(pdf: Path, out: Path, scale: float = 2.0) -> None:
    """The first page of the director's pages (summary and map) as a picture."""
    import pypdfium2

    document = pypdfium2.PdfDocument(pdf)
    document[0].render(scale=scale, grayscale=True).to_pil().save(
        out, format="PNG", compress_level=3
    )
    document.close()


# -- summary
# ------------------------------------------------------------------------------------------


def _summary(
    canvas: Any,
    width: float,
    height: float,
    chart: Chart,
    together: Together,
    plan: Plan,
    after: Sequence[Finding],
    footer: str,
) -> None:
    page = _Page(canvas, width, height)
    page.text(chart.title, 18, fonts.BOLD)
    tempo = f", {chart.tempo:g} beats per minute" if chart.tempo else ""
    page.text(
        f"{len(chart.parts)} parts, {len(chart.bars)} bars{tempo}, phrased as {plan.style}. "
        f"Played: {say_order(chart)}."
    )
    page.space(6)
    _draw_map(page, chart_map(chart, together), together, chart)
    page.space(8)
    page.text("Passages", 11, fonts.BOLD)
    _passage_list(page, chart, together)
    errors = [f for f in after if f.severity != "note"][:5]
    if errors and page.y > _MARGIN + 40:
        page.space(4)
        page.text("Left for you", 11, fonts.BOLD)
        for f in errors:
            page.text(f"{chart.place(f.tick)}, {chart.parts[f.part].label}: {f.message}", 8.5)
    _foot(canvas, width, footer)
    canvas.showPage()


def _foot(canvas: Any, width: float, footer: str) -> None:
    canvas.setFont(fonts.TEXT, 7)
    canvas.drawString(_MARGIN, _MARGIN - 14, fonts.printable(footer))
    canvas.drawRightString(width - _MARGIN, _MARGIN - 14, "Prepare only music that you may copy.")


def _passage_list(page: _Page, chart: Chart, together: Together) -> None:
    """Two columns of one line a passage."""
    size, step = 8.0, 10.0
    top = page.y
    most = max(1, int((top - _MARGIN) / step) - 1)
    rows = min(-(-len(together.passages) // 2), most)
    for n, p in enumerate(together.passages[: 2 * rows]):
        column, row = divmod(n, rows)
        start, end = chart.place(p.start), chart.end_place(p.end)
        until = end.bar if end.is_end else f"{end.bar}.{say_beat(end.beat)}"
        words = (
            f"{p.id}   {start.bar}.{say_beat(start.beat)} - {until}   {p.scope}, {p.texture}, lead "
            f"{chart.parts[p.lead].label}" + (f", as {p.returns}" if p.returns else "")
        )
        page.canvas.setFont(fonts.TEXT, size)
        page.canvas.drawString(
            _MARGIN + column * page.inner / 2, top - step * (row + 1), fonts.printable(words)[:95]
        )
    page.y = top - step * rows - 4
    if len(together.passages) > 2 * rows:
        page.canvas.setFont(fonts.ITALIC, size)
        page.canvas.drawString(
            _MARGIN, page.y - 6, f"and {len(together.passages) - 2 * rows} more, in the workbook"
        )


def _draw_map(page: _Page, drawn: ChartMap, together: Together, chart: Chart) -> None:
    canvas = page.canvas
    label = 78.0
    cell = (page.inner - label) / max(len(drawn.bars), 1)
    height = min(13.0, (page.height * 0.52) / max(len(drawn.rows), 1))
    left, y = _MARGIN + label, page.y
    y -= 9
    canvas.setFont(fonts.BOLD, 8)
    for n, bar in enumerate(drawn.bars):
        if bar.letter:
            canvas.drawString(left + n * cell, y, fonts.printable(bar.letter, fonts.BOLD)[:8])
    y -= 8
    canvas.setFont(fonts.TEXT, 6)
    every = max(4, -(-len(drawn.bars) // 28))
    for n, bar in enumerate(drawn.bars):
        if n % every == 1 or len(drawn.bars) < 12:
            canvas.drawString(left + n * cell, y, bar.number)
    y -= 3
    top = y
    for name, kinds in drawn.rows:
        y -= height
        canvas.setFont(fonts.TEXT, min(8.0, height - 1))
        canvas.drawString(_MARGIN, y + height * 0.25, fonts.printable(name)[:20])
        for n, kind in enumerate(kinds):
            _cell(canvas, left + n * cell, y, cell, height, kind)
    canvas.setLineWidth(0.4)
    for n, bar in enumerate(drawn.bars):
        if bar.letter:
            canvas.line(left + n * cell, top, left + n * cell, y)
    _number_passages(canvas, left, top, cell, height, together, chart)
    page.y = y - 6
    _legend(page)


def _number_passages(
    canvas: Any,
    left: float,
    top: float,
    cell: float,
    height: float,
    together: Together,
    chart: Chart,
) -> None:
    """The passage's number stands in a white box where it begins, on its lead's row, where there is
    room for it."""
    taken: dict[int, float] = {}
    for p in together.passages:
        first = chart.place(p.start).index
        x, y = left + first * cell, top - (p.lead + 1) * height
        width = fonts.width(p.id, fonts.BOLD, 6.5) + 2
        if x < taken.get(p.lead, 0.0):
            continue
        taken[p.lead] = x + width
        canvas.setFillGray(1)
        canvas.rect(x + 0.5, y + height / 2 - 3.6, width, 7.2, stroke=0, fill=1)
        canvas.setFillGray(0)
        canvas.setFont(fonts.BOLD, 6.5)
        canvas.drawString(x + 1.5, y + height / 2 - 2.3, p.id)


def _cell(canvas: Any, x: float, y: float, width: float, height: float, kind: str) -> None:
    """Texture by pattern as well as by tone: solid, half tone, slanted lines, dots, a thin line."""
    y, height = y + 0.7, height - 1.4
    if kind == "unison":
        canvas.setFillGray(0.15)
        canvas.rect(x, y, width, height, stroke=0, fill=1)
    elif kind == "octaves":
        canvas.setFillGray(0.15)
        canvas.rect(x, y, width, height * 0.38, stroke=0, fill=1)
        canvas.rect(x, y + height * 0.62, width, height * 0.38, stroke=0, fill=1)
    elif kind == "soli":
        canvas.setLineWidth(0.7)
        steps = max(1, round(width / 2.6))
        for k in range(steps):
            canvas.line(x + k * width / steps, y, x + (k + 1) * width / steps, y + height)
    elif kind == "rhythm":
        canvas.setFillGray(0.3)
        for k in range(max(1, round(width / 4))):
            canvas.circle(
                x + (k + 0.5) * 4 * width / max(width, 4), y + height / 2, 0.8, stroke=0, fill=1
            )
    elif kind == "alone":
        canvas.setLineWidth(0.5)
        canvas.line(x, y + height / 2, x + width, y + height / 2)
    canvas.setFillGray(0)


def _legend(page: _Page) -> None:
    x = _MARGIN + 78.0
    page.y -= 9
    for kind, words in (
        ("unison", "unison"),
        ("octaves", "octaves"),
        ("soli", "soli"),
        ("rhythm", "same rhythm on held notes"),
        ("alone", "own line"),
    ):
        _cell(page.canvas, x, page.y - 2, 16, 10, kind)
        page.canvas.setFont(fonts.TEXT, 7.5)
        page.canvas.drawString(x + 19, page.y, words)
        x += 30 + fonts.width(words, fonts.TEXT, 7.5)
    page.y -= 4


# -- study pages
# --------------------------------------------------------------------------------------


def _picks(chart: Chart, passage: Passage, pitch: str) -> list[Pick]:
    """The parts in score order, sections in brackets; the lead is named as such."""
    return [
        pick_staff(
            chart,
            part,
            pitch,
            passage.start,
            passage.end,
            label=chart.parts[part].says + (" (lead)" if part == passage.lead else ""),
            group=chart.parts[part].chair.section if chart.parts[part].chair.sure else "",
        )
        for part in sorted(passage.parts)
    ]


def _last_shown(chart: Chart, passage: Passage) -> int:
    """Index of the last bar on its study page."""
    first, whole = chart.place(passage.start).index, chart.end_place(passage.end).index
    return min(whole, first + _STUDY_BARS - 1)


def _excerpt(
    document: Document,
    chart: Chart,
    passage: Passage,
    planned: PassagePlan,
    style: str,
    pitch: str,
    width_mm: float,
) -> tuple[Excerpt, float, float, str]:
    """What the engraver is given for a study page."""
    score = extract_excerpt(
        document,
        _picks(chart, passage, pitch),
        chart.place(passage.start).index,
        _last_shown(chart, passage),
        said=lead_syllables(chart, planned, style),
        leading=sorted(passage.parts).index(passage.lead),
    )
    return score, width_mm, _staff(len(passage.parts)), passage.id


def _study(
    painter: Painter,
    width: float,
    height: float,
    chart: Chart,
    passage: Passage,
    planned: PassagePlan,
    drawing: Future[str],
    findings: Sequence[Finding],
    footer: str,
    pitch: str,
) -> list[str]:
    """One passage's page. drawing: its music. Returns why that is missing, if it is."""
    canvas = painter.canvas
    page = _Page(canvas, width, height)
    start, end = chart.place(passage.start), chart.end_place(passage.end)
    page.text(f"{passage.id}   {passage.scope}, {passage.texture}", 14, fonts.BOLD)
    page.text(
        f"{chart.title}, {start} to {end}. Lead: "
        f"{chart.parts[passage.lead].label} ({passage.lead_why}). "
        f"{'Sounding pitch' if pitch == 'sounding' else 'As the players read'}.",
        9,
    )
    page.space(6)
    whole, last = chart.end_place(passage.end).index, _last_shown(chart, passage)
    missing: list[str] = []
    try:
        systems, glyphs = take_drawing(drawing, f"study page {passage.id}, from bar {start.bar}")
    except EngravingFailed as error:
        page.text(str(error), 9, fonts.ITALIC)
        missing.append(str(error))
        systems, glyphs = [], {}
    painter.learn(glyphs)
    overlays = {name: m for p in passage.parts for name, m in overlays_of(chart.parts[p]).items()}
    bar = start.index
    for n, system in enumerate(systems):
        jazz = jazz_extras(system, overlays, _staff(len(passage.parts)) / 7.5)
        need = (system.bottom - system.top) * UNIT + 12
        if n and need > page.y - _MARGIN:
            page.turn(footer, f"{passage.id}   {passage.scope}, continued")
        staff_y = page.y - (system.staff_top - system.top) * UNIT
        painter.system(system, _MARGIN, staff_y)
        _weights(painter, system, staff_y, planned)
        with painter.at(system, _MARGIN, staff_y):
            left = system.bar_edges[0][1] if system.bar_edges else 0.0
            for extra in jazz:
                extra.paint(painter)
            painter.text(
                left, system.staff_top - 150, chart.bars[min(bar, last)].number, fonts.ITALIC, 260
            )
        bar += len(system.measures)
        page.y -= need
    if last < whole:
        page.text(
            f"Shown to bar {chart.bars[last].number}; the plan goes on to bar {end.bar} (see "
            f"the workbook).",
            8,
            fonts.ITALIC,
        )
    if page.y < page.height * 0.28:
        page.turn(footer, f"{passage.id}   {passage.scope}, notes")
    _notes_beside(page, chart, passage, planned, findings, pitch)
    _foot(canvas, width, footer)
    canvas.showPage()
    return missing


def _staff(parts: int) -> float:
    return (
        _STAFF_MM if parts <= 6 else 4.2 if parts <= 9 else 3.6
    )  # 3.6 mm is the least the engraver draws


def _weights(painter: Painter, system: System, staff_y: float, planned: PassagePlan) -> None:
    """Under the lead's syllables a small wedge for each note: the taller, the more weight."""
    c = painter.canvas
    with painter.at(system, _MARGIN, staff_y):
        for note in planned.notes:
            name = note_id(note.tone.head.address)
            if name not in system.wedges or name not in system.heads:
                continue
            base, middle = (
                system.wedges[name].y,
                system.heads[name].x + system.heads[name].width / 2,
            )
            path = c.beginPath()
            path.moveTo(middle - 55, base)
            path.lineTo(middle + 55, base)
            path.lineTo(middle, base - 300 * max(0.0, note.weight - 0.15))
            path.close()
            c.drawPath(path, stroke=0, fill=1)


def _named(chart: Chart, part: int, note: PlannedNote, pitch: str) -> str:
    """The pitch as the page spells it."""
    written = note.tone.head.pitch
    if pitch == "written":
        return str(written or "")
    return (
        str(chart.parts[part].transposition_at(note.tone.onset).sounding_pitch(written))
        if written
        else ""
    )


def _said_of(chart: Chart, planned: PassagePlan, reading: Reading) -> str:
    """A reading in one line: where it leans, and the lengths that are unlike the plan's."""

    def place(note: PlannedNote) -> str:
        at = chart.place(note.tone.onset)
        return f"{at.bar}.{say_beat(at.beat)}"

    if not reading.differs:
        return f'Reading "{reading.name}": {reading.says}.'
    leans = ", ".join(f"{place(n)} {say(n.marks - SLURS)}" for n in reading.notes if n.leaned)
    lengths = ", ".join(
        f"{place(n)} {n.length}"
        for n, ours in zip(reading.notes, planned.notes, strict=True)
        if n.length != ours.length
    )
    return f'Reading "{reading.name}" ({reading.says}) leans on: {leans or "nothing"}.' + (
        f" Lengths: {lengths}." if lengths else ""
    )


def _notes_beside(
    page: _Page,
    chart: Chart,
    passage: Passage,
    planned: PassagePlan,
    findings: Sequence[Finding],
    pitch: str,
) -> None:
    page.space(6)
    if passage.voicing:
        page.text(f"Voicing: {passage.voicing}.", 8.5)
    if passage.octaves and any(k for _, k in passage.octaves):
        page.text(
            "Octaves: "
            + ", ".join(f"{chart.parts[p].label} {k:+d}" for p, k in passage.octaves if k)
            + ".",
            8.5,
        )
    if passage.guests:
        page.text(f"Joined: {say_guests(chart, passage)}.", 8.5)
    for caution in planned.cautions:
        page.text(f"Breath: {caution}.", 8.5)
    page.text(
        "Marks and reasons (under the lead: what to say; the taller the wedge, the more weight)",
        10,
        fonts.BOLD,
    )
    for note in planned.notes:
        if not note.marks - SLURS and note.cutoff is None:
            continue
        place = chart.place(note.tone.onset)
        words = say(note.marks - {"slur-stop"}) if note.marks - {"slur-stop"} else ""
        if note.cutoff is not None:
            words = f"{words}, off {say_beat(chart.place(note.cutoff).beat)}".lstrip(", ")
        page.text(
            f"{place.bar}.{say_beat(place.beat)}  {_named(chart, planned.part, note, pitch)}  "
            f"{words}: {note.why}",
            8,
            gap=1.5,
        )
    for dynamic in planned.dynamics:
        place = chart.place(dynamic.tick)
        page.text(
            f"{place.bar}.{say_beat(place.beat)}  ({dynamic.value}): {dynamic.why}", 8, gap=1.5
        )
    for reading in planned.readings:
        page.text(_said_of(chart, planned, reading), 8, fonts.ITALIC)
    if findings:
        page.text("What disagreed before", 10, fonts.BOLD)
        for f in findings[:_DISAGREEMENTS]:
            page.text(
                f"{chart.place(f.tick)}, {chart.parts[f.part].label}: {f.message}", 8, gap=1.5
            )
        if len(findings) > _DISAGREEMENTS:
            page.text(
                f"and {len(findings) - _DISAGREEMENTS} more, in the workbook", 8, fonts.ITALIC
            )
