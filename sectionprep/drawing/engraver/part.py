"""One part through the engraver: MusicXML of one part in, drawn systems out. Lines break where
layout says."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from sectionprep.drawing.engraver.bar_widths import bar_widths
from sectionprep.drawing.engraver.mei import LINES, MeiBar, MeiPart, SignKey
from sectionprep.drawing.engraver.toolkit import (
    ENDLESS,
    FIRST_SEED,
    SECOND_SEED,
    TALL,
    EngravingFailed,
    common,
    load,
    quiet,
    toolkit,
)
from sectionprep.drawing.paging.lines_and_pages import INDENT, BarBox
from sectionprep.drawing.proof.as_written import MustShow, Proved, prove
from sectionprep.drawing.proof.drawn_heads import read_drawing
from sectionprep.drawing.scene.drawing import read_systems
from sectionprep.drawing.scene.ink import System
from sectionprep.drawing.scene.skyline import restack
from sectionprep.drawing.scene.spacing import SUNG, narrowed, syllables_apart, unclashed

# millimetres: beyond it the engraver falls back to a staff of its own choice without a word
LARGEST_STAFF = 9.6
#: hundredths of a millimetre: no line is a metre high, but the engraver has drawn beams of twenty
#: kilometres (L. van Beethoven, op. 18 no. 3 and op. 132 in the music21 corpus)
_TALLEST = 100_000.0
_LONG_REST = (
    2600.0  # width of a rest of several bars, hundredths of a millimetre: about a bar of music
)
#: room that a sung bar wants, in natural widths: syllables run together before notes do; judgement
_SUNG = 1.15
_REST_BAR = 1440.0  # the least that the engraver gives to a bar of rest whose length it is sure of
#: of the room that a line's bars want by nature: with less, signs run into each other; seen
_CRAMMED = 0.8
_SQUEEZED = 0.92  # of that room is enough
#: scales for crammed lines; half is the least that can be read; judgement
_SMALLER = (0.9, 0.8, 0.7, 0.6, 0.5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Engraving:
    """A drawn part. bars: the drawn bars; lines: for each system, (first, last) positions in
    `bars`; glyphs: outlines by name; chords: text of each chord symbol by id; signs: what each
    slur, breath, hairpin, dynamic and word is and where, by id; proved: what came of comparing the
    drawing with the part."""

    systems: tuple[System, ...]
    bars: tuple[MeiBar, ...]
    lines: tuple[tuple[int, int], ...]
    glyphs: dict[str, str]
    chords: dict[str, str]
    signs: dict[str, SignKey]
    proved: Proved


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """A part as the engraver reads it, its bars measured but its lines not yet broken. room: width
    of a line without clef and key, hundredths of a millimetre; width_mm, staff_mm, where, must: as
    given."""

    mei: MeiPart
    boxes: tuple[BarBox, ...]
    room: float
    width_mm: float
    staff_mm: float
    where: str
    must: MustShow


def seconds_for(score: bytes) -> float:
    """Processor time in which any score of this many bytes is drawn, seconds: ten times what real
    parts take (tests/outputs/test_drawing.py), and no less than what a slow machine needs."""
    return 8.0 + len(score) / 30_000


def measure(
    part: bytes,
    *,
    width_mm: float,
    staff_mm: float,
    where: str,
    must: MustShow,
    rests: Sequence[float] = (),
    plays: Sequence[tuple[int, int]] = (),
) -> Measured:
    """Read one part for lines `width_mm` wide and staves `staff_mm` high. must: the note heads that
    must come out (a part that draws as nothing is an error, not an empty page). rests: seconds of
    rest around the end of each bar. plays: first bar and length of what is closed up into one."""
    drawer = toolkit()
    with quiet() as said:
        load(
            part.decode("utf-8"),
            common(staff_mm) | ENDLESS | {"xmlIdSeed": FIRST_SEED},
            where,
            said,
        )
        text = drawer.getMEI()
        mei = MeiPart(text, plays)
        if not mei.bars:
            raise EngravingFailed(
                "the part has no bars that can be drawn.",
                where=where,
                remedy="Look at its bars in the score.",
            )

        def draw(bars: str) -> str:
            return (
                str(drawer.renderToSVG(1)) if drawer.loadData(bars) or drawer.loadData(text) else ""
            )

        widths, head = bar_widths(
            text, staff_mm, [bar.id for bar in mei.bars if bar.bars == 1 or bar.time], draw
        )
    boxes = tuple(
        BarBox(
            width=_LONG_REST
            if bar.bars > 1 and not bar.time
            else max(
                widths.get(bar.id, 3000.0) * (_SUNG if bar.sung else 1.0),
                _REST_BAR if bar.rest else 400.0,
            ),
            section=bar.section and n > 0,
            glued=bar.glued,
            coda=bar.coda,
            bars=bar.bars,
            rest_after=rests[end] if (end := bar.index + bar.bars - 1) < len(rests) else 0.0,
        )
        for n, bar in enumerate(mei.bars)
    )
    return Measured(
        mei=mei,
        boxes=boxes,
        room=width_mm * 100 - head,
        width_mm=width_mm,
        staff_mm=staff_mm,
        where=where,
        must=must.without(mei.closed) if plays else must,
    )


def engrave(part: Measured, starts: Sequence[int]) -> Engraving:
    """Draw a part whose lines begin at these bars (positions in its boxes; the first is 0). A line
    too full for its width is drawn smaller."""
    mei = part.mei
    mei.set_breaks(starts)
    text = mei.text()
    pages = _drawn(text, part.staff_mm, part.width_mm)
    glyphs, systems = pages.glyphs, [line for page in pages.systems.values() for line in page]
    if part.must.heads and not any(system.heads for system in systems):
        raise EngravingFailed(
            "the part drew as an empty page.", where=part.where, remedy="Check the file's encoding."
        )
    ends = [*starts[1:], len(mei.bars)]
    lines = tuple((a, b - 1) for a, b in zip(starts, ends, strict=True))
    if len(systems) != len(lines):
        raise EngravingFailed(
            f"{len(lines)} lines were planned and {len(systems)} drawn.",
            where=part.where,
            remedy="Please report this chart.",
        )
    if any(system.bottom - system.top > _TALLEST for system in systems):
        raise EngravingFailed(
            "the engraver drew a sign far beyond its line.",
            where=part.where,
            remedy="Look at its beams in the score.",
        )
    for scale, crammed in _crammed(part, lines).items():
        only = {n // LINES for n in crammed}
        wider = _drawn(text, part.staff_mm, part.width_mm / scale, only)
        glyphs |= wider.glyphs
        for n in crammed:
            systems[n] = replace(wider.systems[n // LINES][n % LINES], scale=scale)
    for n, (first, _) in enumerate(lines):
        if n and mei.bars[first].coda and (narrow := narrowed(systems[n], INDENT)) is not None:
            systems[n] = replace(narrow, indent=INDENT)
    width = part.width_mm * 100
    placed = tuple(
        restack(syllables_apart(unclashed(s), SUNG), mei.chords, width / s.scale - s.indent)
        for s in systems
    )
    drawn = read_drawing(
        pages.drawn, {bar.id: bar.index for bar in mei.bars}, part.staff_mm, mei.told
    )
    return Engraving(
        systems=placed,
        bars=tuple(mei.bars),
        lines=lines,
        glyphs=glyphs,
        chords=mei.chords,
        signs=mei.signs,
        proved=prove(part.must, drawn),
    )


class _Pages(NamedTuple):
    """Pages of the engraver's. systems: their lines, by page; glyphs: outlines by name; drawn:
    as they came."""

    systems: dict[int, list[System]]
    glyphs: dict[str, str]
    drawn: list[str]


def _drawn(
    text: str, staff_mm: float, width_mm: float, only: Collection[int] | None = None
) -> _Pages:
    """A part in the engraver's notation, with the breaks that it holds; `only` these of its pages
    (from 0), each of `LINES` lines."""
    drawer = toolkit()
    with quiet():
        drawer.resetOptions()
        drawer.setOptions(
            {
                **common(staff_mm),
                "breaks": "encoded",
                "xmlIdSeed": SECOND_SEED,
                "pageWidth": round(width_mm * 10),
                "pageHeight": TALL,
            }
        )
        drawer.loadData(text)
        wanted = range(drawer.getPageCount()) if only is None else sorted(only)
        pages = {page: str(drawer.renderToSVG(page + 1)) for page in wanted}
    systems: dict[int, list[System]] = {}
    glyphs: dict[str, str] = {}
    for page, drawn in pages.items():
        systems[page], outlines = read_systems(drawn)
        glyphs |= outlines
    return _Pages(systems, glyphs, list(pages.values()))


def _crammed(part: Measured, lines: Sequence[tuple[int, int]]) -> dict[float, list[int]]:
    """The lines whose bars want much more room than they have, by the scale that gives it."""
    found: dict[float, list[int]] = {}
    for n, (first, last) in enumerate(lines):
        share = part.room / sum(box.width for box in part.boxes[first : last + 1])
        if share < _CRAMMED:
            scale = next((s for s in _SMALLER if s <= share / _SQUEEZED), _SMALLER[-1])
            found.setdefault(scale, []).append(n)
    return found
