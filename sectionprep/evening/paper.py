"""The evening as a workbook to tick and rate in, and as a printed page for the stand."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from datetime import date
from typing import Any

from sectionprep.evening.missing import Gap
from sectionprep.evening.order import Block, Evening
from sectionprep.outputs.workbook.row import Row
from sectionprep.outputs.workbook.tables import KEPT, KEY, RATINGS, TICK, Column

TONIGHT, NEEDED, UNCOVERED = "Tonight", "Who is needed when", "Uncovered"
DONE, RATING, NOTE = "Done", "Rating 1-5", "Your note"
_TAKERS = 3  # that are named; judgement
COLUMNS = (
    Column(heading="Time", width=7),
    Column(heading="Minutes", width=8, number=True),
    Column(heading="Chart", width=18, wrap=True),
    Column(heading="What", width=32, wrap=True),
    Column(heading="Bars", width=14, wrap=True),
    Column(heading="Who", width=11, wrap=True),
    Column(heading="Why", width=36, wrap=True),
    Column(heading=DONE, width=6, is_input=True, choices=TICK),
    Column(heading=RATING, width=7, is_input=True, choices=RATINGS),
    Column(heading=NOTE, width=22, is_input=True, wrap=True),
    Column(heading=KEY, width=9, printed=False),
)
_WHO = (
    Column(heading="Part", width=22),
    Column(heading="From", width=8),
    Column(heading="Until", width=8),
    Column(heading="In words", width=50, wrap=True),
)
_GAPS = (
    Column(heading="Chart", width=18, wrap=True),
    Column(heading="Missing", width=16, wrap=True),
    Column(heading="Bars", width=10),
    Column(heading="What", width=36, wrap=True),
    Column(heading="Who could take it", width=50, wrap=True),
)
_SPARE = 10  # minutes from which it is worth coming late or leaving early; judgement


def clock(start: int, minutes: int) -> str:
    """A time of day. start: minutes after midnight."""
    at = (start + minutes) % (24 * 60)
    return f"{at // 60}:{at % 60:02d}"


def who_when(evening: Evening, start: int) -> list[tuple[str, str, str, str]]:
    """For each part: name, from, until, and what follows from it in words."""
    rows = []
    for part, (first, last) in evening.needed.items():
        words = []
        if first >= _SPARE + _first_music(evening):
            words.append(f"nothing to play before {clock(start, first)}")
        if evening.minutes - last >= _SPARE:
            words.append(f"nothing after {clock(start, last)}")
        rows.append((part, clock(start, first), clock(start, last), "; ".join(words)))
    return rows


def _first_music(evening: Evening) -> int:
    return next((block.at for block in evening.blocks if block.key), 0)


def said_takers(gap: Gap) -> str:
    """Who could take a stretch, in words."""
    return "; ".join(map(str, gap.takers[:_TAKERS])) or "nobody reaches it"


def key_of(block: Block) -> str:
    """By which a line of the evening is known: its chart's file, and its line in the chart's own
    workbook."""
    return f"{block.name}|{block.key or block.what}"


def workbook(
    evening: Evening,
    day: date,
    start: int,
    typed: dict[str, dict[str, Any]],
    gaps: Sequence[Gap] = (),
) -> bytes:
    """The evening as a workbook. start: minutes after midnight; gaps: what goes uncovered tonight;
    typed: cells of an earlier one of the same day, by key and heading; all are kept."""
    from openpyxl import Workbook

    from sectionprep.outputs.workbook.sheet_writer import SheetWriter

    book = Workbook()
    book.active.title = TONIGHT  # type: ignore[union-attr]
    book.properties.title, book.properties.creator = "The evening", "sectionprep"
    book.properties.subject = day.isoformat()  # a copy under another name is the same evening
    writer = SheetWriter(book[TONIGHT], COLUMNS, typed)
    writer.head(
        f"{evening.minutes} minutes from {clock(start, 0)}. Tick what is done and rate it, 1 (not "
        "yet) to 5 (ready): the next evening made in this folder goes by it. " + _told(evening)
    )
    for block in evening.blocks:
        writer.row(
            Row(
                key=key_of(block),
                cells={
                    "Time": clock(start, block.at),
                    "Minutes": block.minutes,
                    "Chart": block.chart,
                    "What": block.what,
                    "Bars": block.bars,
                    "Who": block.who,
                    "Why": block.why,
                },
            )
        )
    writer.finish()
    sheet = SheetWriter(book.create_sheet(NEEDED), _WHO, {})
    sheet.head(
        "From the first thing a part plays until the last; ask before you send anybody home."
    )
    for part, first, last, words in who_when(evening, start):
        sheet.row(Row(cells={"Part": part, "From": first, "Until": last, "In words": words}))
    sheet.finish()
    if gaps:
        sheet = SheetWriter(book.create_sheet(UNCOVERED), _GAPS, {})
        sheet.head("Where it matters that somebody is missing; who rests there and could play it.")
        for gap in gaps:
            sheet.row(
                Row(
                    cells={
                        "Chart": gap.chart,
                        "Missing": gap.part,
                        "Bars": gap.bars,
                        "What": gap.what,
                        "Who could take it": said_takers(gap),
                    }
                )
            )
        sheet.finish()
    here = {key_of(block) for block in evening.blocks}
    _keep(book, {key: cells for key, cells in typed.items() if key not in here})
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def _keep(book: Any, typed: dict[str, dict[str, Any]]) -> None:
    """What was typed beside lines that this running order has not: ratings go on counting."""
    if not typed:
        return
    from sectionprep.outputs.workbook.sheet_writer import text

    sheet = book.create_sheet(KEPT)
    sheet.append(["Typed earlier today beside lines that are not in this running order."])
    sheet.append(["Line", "Column", "What was typed"])
    for key, cells in typed.items():
        for heading, value in cells.items():
            sheet.append([text(key), heading, text(value)])


def _told(evening: Evening) -> str:
    left = f"No time for: {'; '.join(evening.left_out)}. " if evening.left_out else ""
    return left + " ".join(evening.advice)


def page(evening: Evening, start: int, title: str, paper: str) -> bytes:
    """The running order on paper: one page for an ordinary evening."""
    from reportlab.lib import colors
    from reportlab.lib.pagesizes import A4, letter
    from reportlab.lib.styles import ParagraphStyle
    from reportlab.platypus import Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

    from sectionprep.drawing.text import fonts

    fonts.register()
    small = ParagraphStyle("small", fontName=fonts.TEXT, fontSize=8.5, leading=10.5)
    bold = ParagraphStyle("bold", parent=small, fontName=fonts.BOLD)
    head = ParagraphStyle("head", fontName=fonts.BOLD, fontSize=15, leading=18, spaceAfter=6)

    def say(words: str, style: Any = small) -> Any:
        return Paragraph(_escaped(fonts.printable(words, style.fontName)), style)

    rows = [[say(words, bold) for words in ("Time", "Min", "What", "Bars", "Who", "Done")]]
    for block in evening.blocks:
        what = f"{block.chart}: {block.what}" if block.chart and block.key else block.what
        rows.append(
            [
                say(clock(start, block.at), bold),
                say(str(block.minutes)),
                say(what),
                say(block.bars),
                say(block.who),
                "",
            ]
        )
    size = A4 if paper == "a4" else letter
    widths = [42, 28, size[0] - 72 - 42 - 28 - 86 - 66 - 34, 86, 66, 34]
    table = Table(rows, colWidths=widths, repeatRows=1)
    table.setStyle(
        TableStyle(
            [
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LINEBELOW", (0, 0), (-1, -1), 0.4, colors.black),
                ("BOX", (5, 1), (5, -1), 0.6, colors.black),
                ("INNERGRID", (5, 1), (5, -1), 0.6, colors.black),
                ("TOPPADDING", (0, 0), (-1, -1), 2),
                ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
            ]
        )
    )
    story: list[Any] = [say(title, head), table, Spacer(1, 8)]
    story += [say(words) for words in _notes(evening, start)]
    out = io.BytesIO()
    SimpleDocTemplate(
        out, pagesize=size, leftMargin=36, rightMargin=36, topMargin=36, bottomMargin=32,
        title=title,
    ).build(story)  # fmt: skip
    return out.getvalue()


def _notes(evening: Evening, start: int) -> Iterable[str]:
    yield from evening.advice
    late = [f"{part} {words}" for part, _, _, words in who_when(evening, start) if words]
    if late:
        yield f"Who is not needed all evening: {'; '.join(late)}."
    if evening.left_out:
        yield f"No time for: {'; '.join(evening.left_out)}."


def _escaped(words: str) -> str:
    return words.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
