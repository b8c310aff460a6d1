"""A cover sheet: bars of a player who is missing, small and as the reader's own instrument reads
them, over what the reader has in his own part there. Nobody's part is changed."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from concurrent.futures import Future
from dataclasses import dataclass

from sectionprep.apart import Apart
from sectionprep.drawing.engraver.excerpts import engrave_bars
from sectionprep.drawing.engraver.toolkit import EngravingFailed, get_ready
from sectionprep.drawing.pdf.painter import MM, Painter, new_canvas
from sectionprep.drawing.scene.ink import System
from sectionprep.drawing.text import fonts
from sectionprep.music.chart import Chart, Part
from sectionprep.music.pitch import Transposition
from sectionprep.musicxml.copies.cues import make_small
from sectionprep.musicxml.copies.excerpt import Excerpt, Pick, extract_excerpt
from sectionprep.musicxml.document import Document
from sectionprep.outputs.director.engraved import SECONDS, DirectorPages, take_drawing
from sectionprep.outputs.director.lines import music_lines, paint_line
from sectionprep.outputs.director.pen import Pen
from sectionprep.outputs.director.staves import clef_at, read_at
from sectionprep.outputs.sheet_look import sheet_look

_STAFF_MM = 7.0  # a player's staff, a little smaller, since two stand together; judgement
_UNDER, _BETWEEN = 10.0, 12.0  # points between two lines of music, and before a stretch


@dataclass(frozen=True, slots=True, kw_only=True)
class Borrowed:
    """A stretch to play for somebody else. part: index of who is missing; start, end: ticks; why:
    it matters; beside: what becomes of the reader's own notes, in words."""

    part: int
    start: int
    end: int
    why: str
    beside: str


@dataclass(frozen=True, slots=True)
class _Piece:
    """Bars (indices) that are read in one transposition; says: over the first of a stretch."""

    part: int
    first: int
    last: int
    says: str = ""


def cover_pdf(
    document: Document,
    chart: Chart,
    reader: int,
    stretches: Sequence[Borrowed],
    *,
    paper: str,
    footer: str,
) -> DirectorPages:
    """The cover sheet of one player as a PDF. reader: index of his part."""
    width, height = (side * MM for side in sheet_look().paper[paper])
    part = chart.parts[reader]
    away = ", ".join(dict.fromkeys(chart.parts[one.part].label for one in stretches))
    out = io.BytesIO()
    canvas = new_canvas(out, width, height, title=f"{chart.title} - {part.label} covers {away}")
    pen, painter = Pen(canvas, width, height, footer), Painter(canvas)
    pen.text(f"{part.label} covers {away}", 15, fonts.BOLD)
    pen.text(chart.title, 12)
    pen.text(
        f"The small notes are of {away}, written as {part.label} reads them. Under them: your own "
        "part, as it stands. Lay this sheet beside it.",
        9,
        fonts.ITALIC,
    )
    pen.heading = f"{part.label} covers {away}, continued"
    pieces = [piece for one in stretches for piece in _pieces(chart, part, one)]
    excerpts = [_excerpt(document, chart, part, piece) for piece in pieces]
    asked = ((one, pen.inner / MM, _STAFF_MM, f"cover sheet {part.label}") for one in excerpts)
    missing: list[str] = []
    get_ready()
    with Apart() as apart:
        drawings = apart.each(engrave_bars, asked, SECONDS)
        for piece, excerpt, drawing in zip(pieces, excerpts, drawings, strict=True):
            missing += _write(pen, painter, chart, part, piece, excerpt, drawing)
    pen.end()
    canvas.save()
    return DirectorPages(out.getvalue(), tuple(missing))


def _pieces(chart: Chart, reader: Part, one: Borrowed) -> Iterator[_Piece]:
    """A stretch, divided where somebody takes up an instrument in another key."""
    first, last = chart.place(one.start).index, chart.end_place(one.end).index
    other = chart.parts[one.part]

    def keys(bar: int) -> tuple[Transposition, ...]:
        at = chart.bars[bar].start
        return other.transposition_at(at), reader.transposition_at(at), read_at(chart, reader, at)

    bars = f"bar {chart.bars[first].number}" if first == last else (
        f"bars {chart.bars[first].number}-{chart.bars[last].number}"
    )  # fmt: skip
    says = f"{bars[0].upper()}{bars[1:]}: {other.label} {one.why}. {one.beside}."
    begun = first
    for bar in range(first + 1, last + 2):
        if bar > last or keys(bar) != keys(begun):
            yield _Piece(one.part, begun, bar - 1, says if begun == first else "")
            begun = bar


def _excerpt(document: Document, chart: Chart, reader: Part, piece: _Piece) -> Excerpt:
    at = chart.bars[piece.first].start
    picks = (
        _pick(chart, chart.parts[piece.part], reader, at),
        _pick(chart, reader, reader, at),
    )
    excerpt = extract_excerpt(document, picks, piece.first, piece.last)
    make_small(next(excerpt.root.iter("part")))
    return excerpt


def _pick(chart: Chart, part: Part, reader: Part, at: int) -> Pick:
    """A part's staff as the reader reads it. at: the tick where the stretch begins."""
    own, target = part.transposition_at(at), read_at(chart, reader, at)
    clef = clef_at(reader, at)
    return Pick(
        part_id=part.id,
        occurrence=sum(other.id == part.id for other in chart.parts[: part.index]),
        label=part.says,
        abbreviation=(part.abbreviation or part.says)[:14],
        shift=Transposition(
            own.diatonic - target.diatonic, own.chromatic - target.chromatic
        ),
        clef="" if clef_at(part, at) == clef and part.clefs else clef,
    )  # fmt: skip


def _write(
    pen: Pen,
    painter: Painter,
    chart: Chart,
    reader: Part,
    piece: _Piece,
    excerpt: Excerpt,
    drawing: Future[str],
) -> list[str]:
    """One piece under the other. Returns why music is missing, if it is."""
    where = f"{reader.label}, cover sheet, from bar {chart.bars[piece.first].number}"
    missing: list[str] = []
    systems: list[System] = []
    try:
        systems, glyphs = take_drawing(drawing, where)
        painter.learn(glyphs)
    except EngravingFailed as error:
        missing.append(str(error))
    drawn = {name for system in systems for name in system.heads}
    wanted = {n.get("id") for n in excerpt.root.iter("note") if n.find("pitch") is not None}
    if systems and wanted - drawn:
        missing.append(f"{where}: {len(wanted - drawn)} notes are not drawn. Look at the score.")
    bars = tuple(range(piece.first, piece.last + 1))
    lines = music_lines(chart, (piece.part, reader.index), bars, systems, _STAFF_MM)
    for n, line in enumerate(lines):
        tall = line.tall(pen) + _UNDER
        if n == 0:
            _head(pen, piece, tall)
        elif tall > pen.room:
            pen.turn()
        paint_line(pen, painter, line)
        pen.space(_UNDER)
    if not systems:
        _head(pen, piece, 0.0)
    for words in missing:
        pen.text(words, 9, fonts.BOLD)
    return missing


def _head(pen: Pen, piece: _Piece, tall: float) -> None:
    """What a stretch is, with its first line of music."""
    pen.space(_BETWEEN)
    if piece.says:
        pen.text(piece.says, 9.5, fonts.BOLD, keep=tall)
        pen.space(3)
    elif tall > pen.room:
        pen.turn()
