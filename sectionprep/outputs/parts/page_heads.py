"""What stands over and under the music on the pages of a part: title, credits, numbers, footer,
cover."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from sectionprep.drawing.paging.turns import Turn
from sectionprep.drawing.pdf.painter import MM
from sectionprep.drawing.text import fonts
from sectionprep.outputs.parts.part_job import PartJob
from sectionprep.outputs.parts.sheet_remarks import at_the_foot
from sectionprep.outputs.sheet_look import sheet_look


@dataclass(frozen=True, slots=True)
class PageFrame:
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
        """Width between the margins, in millimetres."""
        return (self.width - 2 * self.side) / MM

    def room(self, first: bool) -> float:
        """Height for music, in points."""
        return (
            self.height - self.top - self.bottom - (self.head_first if first else self.head_later)
        )


def frame_of(paper: str) -> PageFrame:
    """The page of a paper that templates/sheets.toml names."""
    width, height = sheet_look().paper[paper]
    page = sheet_look().page
    return PageFrame(
        width * MM,
        height * MM,
        page.side * MM,
        page.top * MM,
        page.bottom * MM,
        page.head_first * MM,
        page.head_later * MM,
    )


def cover(canvas: Any, frame: PageFrame, job: PartJob, pages: int) -> None:
    """A title page on the right-hand side: the music then begins on a left page, and a turn falls
    into a rest."""
    sizes = sheet_look().type
    middle, y = frame.width / 2, frame.height * 0.62
    for words, font, size in (
        (job.title, fonts.BOLD, sizes.title * 1.3),
        (job.name, fonts.BOLD, sizes.title),
        *((text, fonts.TEXT, sizes.part) for text in job.under),
        *((text, fonts.TEXT, sizes.credit + 2) for text in _credits(job)),
    ):
        canvas.setFont(font, size)
        canvas.drawCentredString(
            middle, y, fonts.fitted(words, font, size, frame.width - 2 * frame.side)
        )
        y -= 1.7 * size
    canvas.setFont(fonts.ITALIC, sizes.running)
    canvas.drawCentredString(
        middle,
        frame.height * 0.3,
        "The music begins on the next page, so that there is time to turn the page.",
    )
    footer(canvas, frame, job, 1, pages, ())
    canvas.showPage()


_ARRANGED = re.compile(
    r"^\s*(arr|bearb|harm|orch)|arrang", re.IGNORECASE
)  # the credit says itself what was done
_WORDS = re.compile(r"^\s*(words|text|lyric|poem|poet|paroles|testo|letra)", re.IGNORECASE)


def _credits(job: PartJob) -> list[str]:
    """Composer and arranger; one line where they are the same."""
    same = job.composer and job.arranger.removeprefix("arr. ").strip() == job.composer.strip()
    arranger = job.arranger if _ARRANGED.search(job.arranger) else f"arr. {job.arranger}"
    return [text for text in (job.composer, arranger if job.arranger and not same else "") if text]


def header(canvas: Any, frame: PageFrame, job: PartJob, number: int, cover: bool) -> None:
    """The head of a page of music; number: counted from the first one."""
    sizes = sheet_look().type
    top = frame.height - frame.top
    left, right = frame.side, frame.width - frame.side
    if number > 1:
        canvas.setFont(fonts.ITALIC, sizes.running)
        name = fonts.fitted(job.name, fonts.BOLD, sizes.running, 0.5 * (right - left))
        room = (right - left - fonts.width(name, fonts.BOLD, sizes.running)) / 2 - 10
        canvas.drawString(left, top - 9, fonts.fitted(job.title, fonts.ITALIC, sizes.running, room))
        canvas.setFont(fonts.BOLD, sizes.running)
        canvas.drawCentredString(frame.width / 2, top - 9, name)
        canvas.setFont(fonts.TEXT, sizes.running)
        canvas.drawRightString(right, top - 9, str(number + cover))
        return
    _firstheader(canvas, job, left, right, top)


@dataclass(frozen=True, slots=True)
class _Line:
    """Words of a page's head at their size; down: of their foot from the page's top margin; x: of
    their left end."""

    text: str
    font: str
    size: float
    down: float
    x: float

    @property
    def end(self) -> float:
        return self.x + fonts.width(self.text, self.font, self.size)


def _line(
    text: str,
    font: str,
    size: float,
    room: float,
    least: float,
    down: float,
    left: float,
    right: float,
    share: float,
) -> _Line:
    """Words made smaller until they take the room, or the least size. share: 0 at the left, 1 at
    the right, 0.5 in the middle."""
    text = fonts.printable(text, font)
    while fonts.width(text, font, size) > room and size > least:
        size -= 0.5
    return _Line(
        text, font, size, down, left + share * (right - left - fonts.width(text, font, size))
    )


def _firstheader(canvas: Any, job: PartJob, left: float, right: float, top: float) -> None:
    """Part, who plays it and lyricist at the left, title in the middle and lower where it would
    touch them, composer and arranger at the right."""
    sizes = sheet_look().type
    room = right - left
    name = _line(job.name, fonts.BOLD, sizes.part, 0.55 * room, 8, 12, left, right, 0)
    title = _line(job.title, fonts.BOLD, sizes.title, 0.62 * room, 10, 30, left, right, 0.5)
    if name.end > title.x - 8:
        title = replace(title, down=38)
    beside = [
        _line(text, fonts.TEXT, sizes.credit, 0.34 * room, 6, 10 + 12 * n, left, right, 1)
        for n, text in enumerate(_credits(job))
    ]
    under = list(job.under)
    if job.lyricist:
        words = job.lyricist if _WORDS.search(job.lyricist) else f"words: {job.lyricist}"
        under.append(words)
    beside += [
        _line(text, fonts.TEXT, sizes.credit, 0.34 * room, 6, 25 + 11 * n, left, right, 0)
        for n, text in enumerate(under)
    ]
    for line in beside:
        if line.x < title.end + 8 and title.x - 8 < line.end:
            title = replace(title, down=max(title.down, line.down + 0.8 * title.size + 4))
    for line in (name, title, *beside):
        canvas.setFont(line.font, line.size)
        canvas.drawString(line.x, top - line.down, line.text)


def warning(canvas: Any, frame: PageFrame, job: PartJob, indices: Sequence[int]) -> None:
    """Over the music: bars (by index) of this sheet that are not drawn as the file has them."""
    bars = [job.numbers[bar] if 0 <= bar < len(job.numbers) else "?" for bar in indices]
    if bars:
        size = sheet_look().type.credit
        named = f"bar{'s' * (len(bars) > 1)} {', '.join(bars)}"
        words = f"CHECK AGAINST THE SCORE: {named} (not drawn as the file has it)"
        canvas.setFont(fonts.BOLD, size)
        y = frame.height - frame.top - frame.head_first + 4
        room = frame.width - 2 * frame.side
        canvas.drawString(frame.side, y, fonts.fitted(words, fonts.BOLD, size, room))


def foot_of_first_page(canvas: Any, frame: PageFrame, job: PartJob) -> None:
    """Under the footer: what the sheet does not show, and the file's notes on rights."""
    size = sheet_look().type.footer
    y, room = frame.bottom - 14 - 1.4 * size, frame.width - 2 * frame.side
    words, rights = at_the_foot(job.remarks), "  \u00b7  ".join(job.rights)
    canvas.setFont(fonts.ITALIC, size)
    canvas.drawString(
        frame.side, y, fonts.fitted(words, fonts.ITALIC, size, room * (0.58 if rights else 1.0))
    )
    canvas.setFont(fonts.TEXT, size)
    rights = fonts.fitted(rights, fonts.TEXT, size, room * (0.4 if words else 1.0))
    if words:
        canvas.drawRightString(frame.side + room, y, rights)
    else:
        canvas.drawCentredString(frame.width / 2, y, rights)


_BESIDE_NUMBER = 40.0  # points: the number of the page and white


def footer(
    canvas: Any,
    frame: PageFrame,
    job: PartJob,
    number: int,
    pages: int,
    turns: Sequence[Turn],
    syllables: bool = False,
) -> None:
    """The foot of every page: what is printed, its number, and how long its turns have. number: as
    it is printed, counted with a cover. syllables: some stand on the page."""
    sizes = sheet_look().type
    y = frame.bottom - 14
    right = frame.width - frame.side
    canvas.setFont(fonts.TEXT, sizes.footer)
    canvas.drawRightString(right, y, f"{number} of {pages}")
    size = sizes.footer + 1.5
    says = fonts.fitted(
        "; ".join(map(_turn_words, turns)), fonts.ITALIC, size, 0.6 * (right - frame.side)
    )
    canvas.setFont(fonts.ITALIC, size)
    canvas.drawRightString(right - _BESIDE_NUMBER, y, says)
    legend = "    -oo: no tongue, n: half swallowed" if syllables else ""
    legend += "    bar in the margin: changed" if job.changed else ""
    taken = _BESIDE_NUMBER + fonts.width(says, fonts.ITALIC, size) + (12 if says else 0)
    room = right - frame.side - taken
    line = _line(
        job.footer + legend,
        fonts.TEXT,
        sizes.footer,
        room,
        4.5,
        0,
        frame.side,
        frame.side + room,
        0,
    )
    canvas.setFont(line.font, line.size)
    canvas.drawString(line.x, y, line.text)


def _turn_words(turn: Turn) -> str:
    """ "turn (4 s rest)", "D.S.: turn quickly to page 1 (1 s rest)"."""
    where = f"{turn.name}: {turn.how} to page {turn.to}" if turn.to else turn.how
    return f"{where} ({turn.free})"
