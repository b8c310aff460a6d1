"""Page economy: before a part takes another page or a cover, its staff becomes smaller and the
white between its lines less, level by level, at most as far as templates/sheets.toml says.

Nothing is engraved anew for it: the drawn lines are scaled, and the white between their signs
widened until they fill the page again. A section comes in two of the levels at most
(alike.py).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from sectionprep.drawing.paging.lines_and_pages import (
    LineBox,
    Pages,
    break_pages,
)
from sectionprep.drawing.paging.turns import Jump
from sectionprep.drawing.pdf.painter import MM
from sectionprep.drawing.scene.ink import System, extent
from sectionprep.drawing.scene.spacing import narrowed
from sectionprep.outputs.parts.page_heads import PageFrame
from sectionprep.outputs.sheet_look import sheet_look

_FULL = 0.97  # of the width: a line that reaches as far fills the page


@dataclass(frozen=True, slots=True)
class Fit:
    """Lines on pages. share: of the usual staff; gap: least white between lines, points."""

    pages: Pages
    lines: tuple[LineBox, ...]
    share: float
    gap: float

    @property
    def hardness(self) -> tuple[int, int]:
        """Turns without time, and pages: less is better."""
        pages = len(self.pages.starts) + self.pages.cover
        return sum(not turn.possible for turn in self.pages.turns), pages


def fit(
    lines: Sequence[LineBox],
    frame: PageFrame,
    jumps: Sequence[Jump],
    staff: float,
    *,
    tight: bool,
    level: int | None = None,
) -> Fit:
    """Lines broken into pages at the first level that needs fewest turns without rest and fewest
    pages. staff: in millimetres, as asked for: only the usual one gives way. tight: the lines are
    packed as close as the style allows from the beginning. level: at this one alone."""
    page, levels = sheet_look().page, _levels()
    usual = levels[0][0]
    fits = []
    tried = levels if level is None else levels[level : level + 1]
    for size, gap in tried if staff == usual else levels[:1]:
        share, least = size / usual, page.gap * MM * (levels[-1][1] if tight else gap)
        scaled = tuple(replace(line, height=line.height * share) for line in lines)
        broken = break_pages(scaled, frame.room(True), frame.room(False), least, jumps)
        fits.append(Fit(broken, scaled, share, least))
        if len(broken.starts) == 1:
            break
    return min(fits, key=lambda found: found.hardness)


def lines_that_fit(fit: Fit, frame: PageFrame) -> int:
    """How many lines as tall as these on average the same pages hold where they are packed as close
    and drawn as small as the style allows. The lines of `fit` are at its own share."""
    smallest, close = _levels()[-1]
    least = sheet_look().page.gap * MM * close
    room = sum(frame.room(n == 0) + least for n in range(len(fit.pages.starts)))
    tall = sum(line.height for line in fit.lines) / len(fit.lines)
    return int(room / (tall / fit.share * smallest / _levels()[0][0] + least))


def _levels() -> list[tuple[float, float]]:
    """Staff in millimetres and share of the usual white, from the best to read on."""
    found = sheet_look().levels
    return [(size, gap) for size, gap in zip(found.staff, found.gap, strict=True)]


def filled(systems: Sequence[System], share: float, width: float) -> tuple[System, ...]:
    """Lines that will be drawn smaller, with so much white in them that they fill the page. width:
    of the page between its margins, hundredths of a millimetre."""
    if share == 1.0:
        return tuple(systems)
    return tuple(_filled(system, share, width / system.scale) for system in systems)


def _filled(system: System, share: float, width: float) -> System:
    right = max((x1 for _, _, x1 in system.bar_edges), default=0.0) + system.indent
    wider = narrowed(system, width - width / share) if right >= _FULL * width else None
    system = wider or system
    top, bottom = extent(system.ink)
    return replace(system, top=top, bottom=bottom)
