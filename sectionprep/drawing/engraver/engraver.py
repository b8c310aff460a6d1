"""One part through the engraver: MusicXML of one part in, drawn systems out. Lines break where
layout says."""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import Any

from sectionprep.drawing.engraver.bar_widths import bar_widths
from sectionprep.drawing.engraver.mei import MeiBar, MeiPart, SignKey
from sectionprep.drawing.paging.lines_and_pages import INDENT, BarBox, full_lines, halves
from sectionprep.drawing.proof.as_written import MustShow, Proved, prove
from sectionprep.drawing.proof.drawn_heads import read_drawing
from sectionprep.drawing.scene.drawing import natural_widths, read_systems
from sectionprep.drawing.scene.ink import System
from sectionprep.drawing.scene.skyline import restack
from sectionprep.drawing.scene.spacing import SUNG, narrowed, syllables_apart, unclashed
from sectionprep.drawing.text import fonts
from sectionprep.errors import SectionprepError
from sectionprep.musicxml.copies.excerpt import Excerpt

# millimetres: beyond it the engraver falls back to a staff of its own choice without a word
LARGEST_STAFF = 9.6
_TALL = 60000  # tenths of a millimetre: one page tall enough for any part
#: hundredths of a millimetre: no line is a metre high, but the engraver has drawn beams of twenty
#: kilometres (L. van Beethoven, op. 18 no. 3 and op. 132 in the music21 corpus)
_TALLEST = 100_000.0
_LONG_REST = (
    2600.0  # width of a rest of several bars, hundredths of a millimetre: about a bar of music
)
#: room that a sung bar wants, in natural widths: syllables run together before notes do; judgement
_SUNG = 1.15
_REST_BAR = 1440.0  # the least that the engraver gives to a bar of rest whose length it is sure of
_ENDLESS = {
    "breaks": "none",
    "noJustification": True,
    "pageWidth": 100000,
    "pageHeight": 3000,
}  # one line, as wide as it will
#: notes in a bar: ten full lines of the widest paper, more than any cadenza; judgement
_MOST_NOTES = 600
_MOST_ELEMENTS = 10_000  # in a bar: all that those many notes can carry; judgement
#: of the room that a line's bars want by nature: with less, signs run into each other; seen
_CRAMMED = 0.8
_SQUEEZED = 0.92  # of that room is enough
#: scales for crammed lines; half is the least that can be read; judgement
_SMALLER = (0.9, 0.8, 0.7, 0.6, 0.5)
#: size of syllables and part names in an excerpt, in units, and the least in points (a judgement:
#: what can be read on a stand)
_SYLLABLE, _LEAST_SYLLABLE = 3.0, 6.2
#: white between syllables of an excerpt, in units: .9 mm on a study page where its line is squeezed
_WORD_SPACE = 2.6
_POINT = 2540 / 72  # hundredths of a millimetre
#: how much smaller an excerpt may become, so that no bar stands alone on a line
_STUDY_SIZES = (0.95, 0.9, 0.85, 0.8)
# room for the signs by which the longest key in an excerpt may exceed the lead's, hundredths of a
# millimetre; judgement
_SIGNS = 350.0
_FIRST_SEED, _SECOND_SEED = (
    1,
    2000003,
)  # equal seeds on both loads give equal ids, which nest systems


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


class EngravingFailed(SectionprepError):
    """The engraver could not draw the part."""


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
    toolkit = _toolkit()
    with _quiet() as said:
        _load(
            part.decode("utf-8"),
            _common(staff_mm) | _ENDLESS | {"xmlIdSeed": _FIRST_SEED},
            where,
            said,
        )
        text = toolkit.getMEI()
        mei = MeiPart(text, plays)
        if not mei.bars:
            raise EngravingFailed(
                "the part has no bars that can be drawn.",
                where=where,
                remedy="Look at its bars in the score.",
            )

        def draw(bars: str) -> str:
            return (
                str(toolkit.renderToSVG(1))
                if toolkit.loadData(bars) or toolkit.loadData(text)
                else ""
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
    systems, glyphs, pages = _drawn(text, part.staff_mm, part.width_mm)
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
        wider, outlines, _ = _drawn(text, part.staff_mm, part.width_mm / scale)
        glyphs |= outlines
        for n in crammed:
            systems[n] = replace(wider[n], scale=scale)
    for n, (first, _) in enumerate(lines):
        if n and mei.bars[first].coda and (narrow := narrowed(systems[n], INDENT)) is not None:
            systems[n] = replace(narrow, indent=INDENT)
    width = part.width_mm * 100
    placed = tuple(
        restack(syllables_apart(unclashed(s), SUNG), mei.chords, width / s.scale - s.indent)
        for s in systems
    )
    drawn = read_drawing(pages, {bar.id: bar.index for bar in mei.bars}, part.staff_mm, mei.told)
    return Engraving(
        systems=placed,
        bars=tuple(mei.bars),
        lines=lines,
        glyphs=glyphs,
        chords=mei.chords,
        signs=mei.signs,
        proved=prove(part.must, drawn),
    )


def _drawn(
    text: str, staff_mm: float, width_mm: float
) -> tuple[list[System], dict[str, str], list[str]]:
    """All systems of a part in the engraver's notation, with the breaks that it holds; the outlines
    of glyphs, and the pages as they were drawn."""
    toolkit = _toolkit()
    with _quiet():
        toolkit.resetOptions()
        toolkit.setOptions(
            {
                **_common(staff_mm),
                "breaks": "encoded",
                "xmlIdSeed": _SECOND_SEED,
                "pageWidth": round(width_mm * 10),
                "pageHeight": _TALL,
            }
        )
        toolkit.loadData(text)
        pages = [str(toolkit.renderToSVG(page)) for page in range(1, toolkit.getPageCount() + 1)]
    systems: list[System] = []
    glyphs: dict[str, str] = {}
    for page in pages:
        more, outlines = read_systems(page)
        systems, glyphs = systems + more, glyphs | outlines
    return systems, glyphs, pages


def _crammed(part: Measured, lines: Sequence[tuple[int, int]]) -> dict[float, list[int]]:
    """The lines whose bars want much more room than they have, by the scale that gives it."""
    found: dict[float, list[int]] = {}
    for n, (first, last) in enumerate(lines):
        share = part.room / sum(box.width for box in part.boxes[first : last + 1])
        if share < _CRAMMED:
            scale = next((s for s in _SMALLER if s <= share / _SQUEEZED), _SMALLER[-1])
            found.setdefault(scale, []).append(n)
    return found


def engrave_bars(
    excerpt: Excerpt, width_mm: float, staff_mm: float, where: str, least_mm: float | None = None
) -> str:
    """Draw a few bars of several parts, as SVG: in as few and as even lines as hold them, sections
    at the left. least_mm: where a bar would stand alone on a line, the staff may be so small:
    the lines are drawn wider, to be made as much smaller; the size at which fewest do is taken."""
    sizes = [1.0, *(size for size in _STUDY_SIZES if size * staff_mm >= (least_mm or staff_mm))]
    tried: list[tuple[int, float, tuple[int, ...]]] = []
    with _quiet() as said:
        for size in sizes:
            starts = _starts(excerpt, width_mm / size, staff_mm, size, where, said)
            tried.append((_lonely(starts, len(excerpt.measures)), size, starts))
            if not tried[-1][0]:
                break
        _, size, starts = min(tried, key=lambda way: (way[0], -way[1]))
        excerpt.break_at(starts)
        # where no break is written the engraver would break as it likes
        options = {
            "breaks": "encoded" if len(starts) > 1 else "none",
            "pageWidth": round(width_mm * 10 / size),
            "pageHeight": _TALL,
        }
        _load(excerpt.text(), _several(staff_mm, size) | options, where, said)
        return str(_toolkit().renderToSVG(1))


def _starts(
    excerpt: Excerpt, width_mm: float, staff_mm: float, size: float, where: str, said: Any
) -> tuple[int, ...]:
    """The bars with which the lines of an excerpt begin. size: of what will be printed, as a share
    of what is drawn."""
    unit = staff_mm * 12.5  # half the distance of two staff lines, in hundredths of a millimetre
    letters = _syllable(unit * size) * unit
    labels = [fonts.width(name, fonts.TEXT, letters) for name in excerpt.labels]
    _load(excerpt.text(), _several(staff_mm, size) | _ENDLESS, where, said)
    widths, head = natural_widths(str(_toolkit().renderToSVG(1)))
    boxes = [
        BarBox(width=width, section=section, coda=coda)
        for width, section, coda in zip(
            widths.values(), excerpt.sections, excerpt.codas, strict=False
        )
    ]
    room = width_mm * 100 - head - max(labels) - 2 * unit - _SIGNS
    starts = full_lines(boxes, room)
    natural = sum(box.width for box in boxes)
    if len(starts) == 1 and natural > room:  # a line alone is squeezed if half would be a bar
        starts = halves(boxes) or starts
    return starts


def _lonely(starts: Sequence[int], bars: int) -> int:
    """How many bars of several stand alone on a line."""
    return sum(b - a == 1 for a, b in pairwise((*starts, bars))) if bars > 1 else 0


def _load(score: str, options: dict[str, Any], where: str, said: Callable[[], list[str]]) -> None:
    _refuse_endless_bars(score, where)
    toolkit = _toolkit()
    toolkit.resetOptions()
    toolkit.setOptions(options)
    if not toolkit.loadData(score):
        raise EngravingFailed(
            "it cannot be drawn.", where=where, remedy="; ".join(said()) or "Check the score."
        )


def _refuse_endless_bars(score: str, where: str) -> None:
    """A bar cannot be divided, and the engraver's time grows with the square of its notes (1,000:
    six seconds, 5,000: minutes), so it is counted before it is begun; so are all its signs, since
    thousands at one place take as long."""
    for bar in score.split("<measure ")[1:]:
        for count, most, what in (
            (bar.count("<note"), _MOST_NOTES, "notes"),
            (bar.count("</") + bar.count("/>"), _MOST_ELEMENTS, "XML elements"),
        ):
            if count > most:
                number = re.search(r'number="([^"]*)"', bar)
                raise EngravingFailed(
                    f"bar {number[1] if number else '?'} holds {count:,} {what}; up to {most:,} in"
                    " a bar can be engraved.",
                    where=where,
                    remedy="Divide that bar in the score.",
                )


def _several(staff_mm: float, size: float = 1.0) -> dict[str, Any]:
    """Options for several parts on one page. size: of what is printed, as a share of this."""
    return _common(staff_mm) | {
        "xmlIdSeed": _FIRST_SEED,
        "spacingStaff": 4,
        "spacingBracketGroup": 4,
        "spacingBraceGroup": 4,
        "minLastJustification": 0.5,
        "lyricSize": _syllable(staff_mm * 12.5 * size),
        "lyricWordSpace": _WORD_SPACE,
        "lyricTopMinMargin": 1.0,
    }


def _syllable(unit: float) -> float:
    """Size of syllables in units of so many hundredths of a millimetre."""
    return max(_SYLLABLE, _LEAST_SYLLABLE * _POINT / unit)


def _common(staff_mm: float) -> dict[str, Any]:
    return {
        "unit": staff_mm / 0.8,
        "header": "none",
        "footer": "none",
        "spacingSystem": 4,
        "multiRestStyle": "block",
        "mnumInterval": 0,
        "svgViewBox": True,
        "svgFormatRaw": True,
        "smuflTextFont": "none",
        "condense": "none",
        "expandNever": True,
        "outputFormatRaw": True,
        "font": "Leipzig",
        "pageMarginTop": 0,
        "pageMarginBottom": 0,
        "pageMarginLeft": 0,
        "pageMarginRight": 0,
        "spacingLinear": 0.25,
        "spacingNonLinear": 0.6,
    }


def get_ready() -> None:
    """Make what every drawing needs: processes that are forked afterwards have it at once."""
    fonts.register()
    fonts.glyph_boxes()
    _toolkit()


@cache
def _toolkit() -> Any:
    """One engraver a process; whoever uses it resets its options first, because they stick. It is
    told where its data lie: its own default holds only in the thread that has imported it first."""
    import verovio

    verovio.setDefaultResourcePath(str(Path(verovio.__file__).parent / "data"))
    return verovio.toolkit()


@contextmanager
def _quiet() -> Iterator[Any]:
    """The engraver talks to file descriptor 2; keep what it says instead of showing it."""
    spool = _spool(os.getpid())
    os.ftruncate(spool, 0)
    os.lseek(spool, 0, os.SEEK_SET)
    saved = os.dup(2)
    os.dup2(spool, 2)

    def said() -> list[str]:
        os.lseek(spool, 0, os.SEEK_SET)
        lines = os.read(spool, 100_000).decode("utf-8", "replace").splitlines()
        return [line for line in lines if line.strip()][:3]

    try:
        yield said
    finally:
        os.dup2(saved, 2)
        os.close(saved)


@cache
def _spool(_process: int) -> int:
    """Descriptor of a nameless file for what the engraver says; a process that was forked has one
    of its own."""
    with tempfile.TemporaryFile() as file:
        return os.dup(file.fileno())
