"""A sheet of paper for the director, with a pen that moves down."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import accumulate
from typing import Any

from reportlab.lib.utils import simpleSplit

from sectionprep.drawing.pdf.painter import MM
from sectionprep.drawing.text import fonts

MARGIN = 12 * MM
_SMALL, _SMALL_GAP = 8.0, 1.5  # points: type of short entries, and white between their lines
_HEADING = 20.0  # points at the head of a page that goes on with something
_GUTTER = 14.0  # points between two columns


class _Nothing:
    """A canvas on which nothing is drawn."""

    def __getattr__(self, name: str) -> Callable[..., None]:
        return lambda *_given: None


class Pen:
    """Writes down the page and goes on at the top of the next. footer: stands on each of them;
    heading: of the pages that go on with what was begun."""

    def __init__(self, canvas: Any, width: float, height: float, footer: str) -> None:
        self.canvas, self.width, self.height, self.footer = canvas, width, height, footer
        self.heading = ""
        self.y = height - MARGIN
        self.ended = 0  # pages

    @property
    def inner(self) -> float:
        """Points between the margins."""
        return self.width - 2 * MARGIN

    @property
    def room(self) -> float:
        """Points that are left above the lower margin."""
        return self.y - MARGIN

    def holds(self, write: Callable[[Pen], None]) -> bool:
        """Whether all that this writes stands on what is left of the page."""
        trial = Pen(_Nothing(), self.width, self.height, self.footer)
        trial.y = self.y
        write(trial)
        return trial.ended == 0

    def text(
        self,
        words: str,
        size: float = 9,
        font: str = fonts.TEXT,
        gap: float = 2.0,
        keep: float = 0.0,
    ) -> None:
        """Write words, over as many lines and pages as they take. keep: points that must
        be left for what belongs under them."""
        if self.room < size + keep:
            self.turn()
        for line in wrapped(words, font, size, self.inner):
            if self.room < size:
                self.turn()
            self.y -= size
            self.canvas.setFont(font, size)
            self.canvas.drawString(MARGIN, self.y, line)
            self.y -= gap

    def heading_line(self, title: str, words: str, size: float = 13, small: float = 8.5) -> None:
        """A title, and words on the same line where they fit, else under it."""
        if self.room < size + small:
            self.turn()
        begins = fonts.width(fonts.printable(title, fonts.BOLD), fonts.BOLD, size) + _GUTTER
        fits = begins + fonts.width(fonts.printable(words), fonts.TEXT, small) <= self.inner
        y = self.y - size
        self.text(title, size, fonts.BOLD)
        if not fits:
            self.text(words, small)
            return
        self.canvas.setFont(fonts.TEXT, small)
        self.canvas.drawString(MARGIN + begins, y, fonts.printable(words))

    def headed(self, heading: str, entries: Sequence[str]) -> None:
        """Write a heading, and short entries under it in two columns; it never stands alone."""
        if entries:
            first = wrapped(entries[0], fonts.TEXT, _SMALL, (self.inner - _GUTTER) / 2)
            self.text(heading, 10, fonts.BOLD, keep=(len(first) + 1) * (_SMALL + _SMALL_GAP))
            self.columns(entries)

    def columns(
        self, entries: Sequence[str], size: float = _SMALL, gap: float = _SMALL_GAP
    ) -> None:
        """Write short entries in two columns, one after the other down each; none is torn apart but
        what is longer than a page."""
        step, wide = size + gap, (self.inner - _GUTTER) / 2
        full = int((self.height - 2 * MARGIN - 2 * _HEADING) / step)
        left = [
            lines[n : n + full]
            for lines in (wrapped(entry, fonts.TEXT, size, wide) for entry in entries)
            for n in range(0, len(lines), full)
        ]
        while left:
            if self.room < step:
                self.turn()
            most = max(1, int(self.room / step))
            sums = list(accumulate(len(lines) for lines in left))
            if len(left[0]) > most:
                self.turn()
                continue
            half = min(most, -(-min(sums[-1], 2 * most) // 2) + 1)
            first = max(1, sum(total <= half for total in sums))
            before = sums[first - 1]
            second = sum(total - before <= max(most, before) for total in sums[first:])
            tall = max(before, sums[first + second - 1] - before) if second else before
            self._column(left[:first], MARGIN, size, step)
            self._column(left[first : first + second], MARGIN + wide + _GUTTER, size, step)
            self.y -= step * min(tall, most)
            left = left[first + second :]

    def columns_tall(self, entries: Sequence[str]) -> float:
        """Points that short entries take in two columns, if they stand on one page."""
        wide = (self.inner - _GUTTER) / 2
        tall = [len(wrapped(entry, fonts.TEXT, _SMALL, wide)) for entry in entries]
        return (sum(tall) / 2 + max(tall, default=0) / 2) * (_SMALL + _SMALL_GAP)

    def _column(self, entries: Sequence[Sequence[str]], x: float, size: float, step: float) -> None:
        self.canvas.setFont(fonts.TEXT, size)
        y = self.y
        for lines in entries:
            for line in lines:
                y -= step
                self.canvas.drawString(x, y + step - size, line)

    def share(self, wide: float) -> float:
        """By how much something so wide (points) has to be smaller to stand between the margins."""
        return min(1.0, self.inner / max(wide, 1.0))

    def rule(self) -> None:
        """A thin line across, between two things on one page."""
        self.canvas.setLineWidth(0.4)
        self.canvas.line(MARGIN, self.y, self.width - MARGIN, self.y)

    def space(self, amount: float) -> None:
        """Leave some points free."""
        self.y -= amount

    def turn(self) -> None:
        """Go on at the top of a fresh page."""
        self.end()
        self.y = self.height - MARGIN
        if self.heading:
            self.text(self.heading, 11, fonts.BOLD)
            self.space(6)

    def end(self) -> None:
        """End the page."""
        self.ended += 1
        foot(self.canvas, self.width, self.footer)
        self.canvas.showPage()


def foot(canvas: Any, width: float, footer: str) -> None:
    """What stands at the foot of every page of the director's."""
    canvas.setFont(fonts.TEXT, 7)
    canvas.drawString(MARGIN, MARGIN - 14, fonts.printable(footer))
    canvas.drawRightString(width - MARGIN, MARGIN - 14, "Prepare only music that you may copy.")


def wrapped(words: str, font: str, size: float, room: float) -> list[str]:
    """Words in lines of a width in points."""
    fonts.register()
    return list(simpleSplit(fonts.printable(words, font), font, size, room))
