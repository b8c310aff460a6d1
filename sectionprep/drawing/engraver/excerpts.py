"""A few bars of several parts through the engraver: study pages, scores, cover sheets."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

from sectionprep.drawing.engraver.toolkit import (
    ENDLESS,
    FIRST_SEED,
    TALL,
    common,
    load,
    quiet,
    toolkit,
)
from sectionprep.drawing.paging.lines_and_pages import BarBox, full_lines, halves
from sectionprep.drawing.scene.drawing import natural_widths
from sectionprep.drawing.text import fonts
from sectionprep.musicxml.copies.excerpt import Excerpt

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


def engrave_bars(
    excerpt: Excerpt, width_mm: float, staff_mm: float, where: str, least_mm: float | None = None
) -> str:
    """Draw a few bars of several parts, as SVG: in as few and as even lines as hold them, sections
    at the left. least_mm: where a bar would stand alone on a line, the staff may be so small:
    the lines are drawn wider, to be made as much smaller; the size at which fewest do is taken."""
    sizes = [1.0, *(size for size in _STUDY_SIZES if size * staff_mm >= (least_mm or staff_mm))]
    tried: list[tuple[int, float, tuple[int, ...]]] = []
    with quiet() as said:
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
            "pageHeight": TALL,
        }
        load(excerpt.text(), _several(staff_mm, size) | options, where, said)
        return str(toolkit().renderToSVG(1))


def _starts(
    excerpt: Excerpt, width_mm: float, staff_mm: float, size: float, where: str, said: Any
) -> tuple[int, ...]:
    """The bars with which the lines of an excerpt begin. size: of what will be printed, as a share
    of what is drawn."""
    unit = staff_mm * 12.5  # half the distance of two staff lines, in hundredths of a millimetre
    letters = _syllable(unit * size) * unit
    labels = [fonts.width(name, fonts.TEXT, letters) for name in excerpt.labels]
    load(excerpt.text(), _several(staff_mm, size) | ENDLESS, where, said)
    widths, head = natural_widths(str(toolkit().renderToSVG(1)))
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


def _several(staff_mm: float, size: float = 1.0) -> dict[str, Any]:
    """Options for several parts on one page. size: of what is printed, as a share of this."""
    return common(staff_mm) | {
        "xmlIdSeed": FIRST_SEED,
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
