"""Where lines and pages break, as one optimisation each. Knows nothing of engraving.

Lines: a dynamic programme over bars; the price of a line is how far its bars must be stretched or
squeezed, how far it is from four bars, and whether a section begins anywhere but at its left edge.
Pages: a dynamic programme over lines; the price of a page is empty space, and for every turn the
lack of a rest in which to turn. Prices are judgements; what they weigh is common practice (D. J.
Argue, Music Preparation Fundamentals: turns in rests; J. Gates: sections start at the left).
"""

from __future__ import annotations

import itertools
import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from sectionprep.drawing.paging.turns import (
    TURN_SECONDS,
    Jump,
    Turn,
    is_turn,
    lie_open,
    turn_cost,
)

SQUEEZE, _GAPE = 0.88, 2.2  # stretch beyond which a line looks wrong
_MOST_BARS = 12
#: for a bar beside one that is too full for a line by itself: dearer than any gaping line
_CROWD = 60.0
_LETTER = 4.0  # for a section that begins inside a line
_LONELY = 6.0  # for a bar alone on the last line: dearer than its letter inside the line before
_TORN_CODA = 500.0  # for a coda inside a line: no line is as dear
INDENT = 1500.0  # of the line on which the coda begins, hundredths of a millimetre; judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class BarBox:
    """What layout knows of one drawn bar. width: natural width; section: begins a section; glued:
    must not be parted from the bar before it (inside an ending); coda: begins a new line, indented;
    bars: how many bars it stands for; rest_after: seconds of rest around its end."""

    width: float
    section: bool = False
    glued: bool = False
    coda: bool = False
    bars: int = 1
    rest_after: float = 0.0


def line_cost(
    natural: float, count: int, sections: int, torn: bool, room: float, last: bool
) -> float:
    """Price of a line of `count` bars, `room` wide without clef and key. natural: width of all
    bars; sections: how many begin inside the line; torn: its first bar belongs to the one
    before."""
    stretch = room / max(natural, 1.0)
    if last and stretch > 1:
        stretch = min(stretch, 1.25)
    cost = 3.5 * math.log(stretch) ** 2 + _LETTER * sections
    if stretch < SQUEEZE:
        cost += 40.0 * (SQUEEZE / stretch - 1) + 2.0
    if stretch > _GAPE and not last:
        cost += 8.0 * (stretch / _GAPE - 1) + 1.0
    if not last:
        cost += 0.5 * abs(count - 4) + 0.8 * max(0, count - 7)
    elif count == 1:
        cost += _LONELY
    return cost + 30.0 if torn else cost


def all_costs(bars: Sequence[BarBox], room: float) -> list[list[tuple[int, float]]]:
    """For every end (bars before it) the starts it can have and the price of that line."""
    width, sections, crammed, codas = [0.0], [0], [0], [0]
    for bar in bars:
        codas.append(codas[-1] + bar.coda)
        width.append(width[-1] + bar.width)
        sections.append(sections[-1] + bar.section)
        crammed.append(crammed[-1] + (bar.width * SQUEEZE > room))
    count = len(bars)
    return [[]] + [
        [
            (
                start,
                line_cost(
                    width[end] - width[start],
                    end - start,
                    sections[end] - sections[start + 1],
                    bars[start].glued,
                    room - INDENT * bars[start].coda,
                    end == count,
                )
                + (_CROWD if end - start > 1 and crammed[end] > crammed[start] else 0.0)
                + _TORN_CODA * (codas[end] - codas[start + 1]),
            )
            for start in range(max(0, end - _MOST_BARS), end)
        ]
        for end in range(1, count + 1)
    ]


_LINE_PRICE = 0.4
_PAGES = (9, 18)  # lines that fit on one page and on two


_REST_PRIZE = 2.5  # for a line that ends in a rest long enough to turn in


WAYS = (
    "usual",
    "rests",
    "tight",
)  # of breaking lines, from the best to read to the one with the fewest lines


def break_for_pages(bars: Sequence[BarBox], room: float, way: str = "usual") -> tuple[int, ...]:
    """Line breaks at the usual price of a line, or at the least price at which the part fits on one
    page or on two: a part of one or two pages needs no turn. Squeezing stays dearer than any line.
    way: "rests" lets lines end where a page can be turned; "tight" fits two pages even if sections
    then begin inside a line."""
    costs = all_costs(bars, room)
    usual = _cheapest(bars, costs, _LINE_PRICE, _REST_PRIZE if way == "rests" else 0.0)
    if len(usual) <= _PAGES[0]:
        return usual
    prices = (1.0, 1.8, 2.8, 4.0, *((4.4, 4.8, 5.2, 5.6, 6.0, 8.0, 11.0) if way == "tight" else ()))
    fewest = _cheapest(bars, costs, prices[-1], 0.0)  # the dearer a line, the fewer
    for lines in _PAGES:
        if len(usual) <= lines:
            return usual
        if len(fewest) <= lines:
            return next(
                fewer
                for price in prices
                if len(fewer := _cheapest(bars, costs, price, 0.0)) <= lines
            )
    return usual


#: prices: of a line unlike the others; of a section inside one; of a bar alone on one
_UNEVEN, _INSIDE, _ALONE = 4.0, 1.0, 2.0


def full_lines(bars: Sequence[BarBox], room: float) -> tuple[int, ...]:
    """Indices of the bars that begin a line where there are as few lines as hold them all, and
    these are as even as they come: a section begins one where that is not much dearer; a coda
    always, on an indented line. Exact."""
    width = [0.0, *itertools.accumulate(bar.width for bar in bars)]
    count = len(bars)
    even = width[-1] / max(1, math.ceil(width[-1] * SQUEEZE / room))
    best: list[tuple[int, float, int]] = [(0, 0.0, 0)]  # lines, price and start of the last one
    for end in range(1, count + 1):
        ways = []
        for start in range(end - 1, -1, -1):
            natural = width[end] - width[start]
            full = room - INDENT * bars[start].coda
            if end - start > 1 and (natural * SQUEEZE > full or bars[start + 1].coda):
                break
            inside = sum(bar.section for bar in bars[start + 1 : end])
            price = _UNEVEN * ((natural - even) / room) ** 2 + _INSIDE * inside
            price += _ALONE * (end - start == 1)
            ways.append((best[start][0] + 1, best[start][1] + price, start))
        best.append(min(ways))
    starts: list[int] = []
    while count:
        count = best[count][2]
        starts.append(count)
    return tuple(reversed(starts))


def halves(bars: Sequence[BarBox]) -> tuple[int, ...] | None:
    """Indices of the bars that begin the two most even lines; None where one would hold a bar
    alone."""
    width = [0.0, *itertools.accumulate(bar.width for bar in bars)]
    ways = range(2, len(bars) - 1)
    return (0, min(ways, key=lambda n: abs(2 * width[n] - width[-1]))) if ways else None


def break_lines(bars: Sequence[BarBox], room: float) -> tuple[int, ...]:
    """Indices of the bars that begin a line; the first is 0. Exact."""
    return _cheapest(bars, all_costs(bars, room), _LINE_PRICE, 0.0)


def _cheapest(
    bars: Sequence[BarBox], costs: Sequence[Sequence[tuple[int, float]]], price: float, prize: float
) -> tuple[int, ...]:
    """The breaks of least price in all. price: of each line; prize: for ending a line in a rest."""
    count = len(bars)
    best = [0.0] + [math.inf] * count
    back = [0] * (count + 1)
    for end in range(1, count + 1):
        least, chosen = math.inf, 0
        for start, line in costs[end]:
            cost = best[start] + line
            if cost < least - 1e-9:
                least, chosen = cost, start
        best[end] = least + price - (prize if bars[end - 1].rest_after >= TURN_SECONDS else 0.0)
        back[end] = chosen
    starts: list[int] = []
    at = count
    while at > 0:
        at = back[at]
        starts.append(at)
    return tuple(reversed(starts))


@dataclass(frozen=True, slots=True, kw_only=True)
class LineBox:
    """What page layout knows of a line. height: of its ink; rest_after: seconds of rest around its
    end; in_time: of plain time, in which the player can let go with one hand, not of rest."""

    height: float
    rest_after: float = 0.0
    in_time: bool = False
    section: bool = False


def page_cost(used: float, count: int, room: float, last: bool) -> float:
    """Price of one page without its turn. used: height of `count` lines with the white between
    them."""
    if used > room + 1e-6:
        return math.inf if count > 1 else 50.0
    empty = 1 - used / room
    return (7.0 if last else 14.0) * empty**2 + (1.5 if last and count == 1 else 0.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Pages:
    """Indices of the lines that begin a page, the turns, and whether a cover page moves the music
    to a left page."""

    starts: tuple[int, ...]
    turns: tuple[Turn, ...]
    cover: bool = False


_PAGE_PRICE, _COVER_PRICE = 4.0, 4.5


def break_pages(
    lines: Sequence[LineBox],
    first_room: float,
    room: float,
    gap: float,
    jumps: Sequence[Jump] = (),
) -> Pages:
    """Break lines into pages. Exact for each number of pages; as few pages as will do, and one page
    more, or a cover in front, only when that saves a turn without rest. jumps: between lines; those
    to a page that does not lie open are turns, and count when numbers of pages are compared."""
    fewest = _fewest(lines, first_room, room, gap)
    options = [
        (pages, cover)
        for pages in (fewest, fewest + 1)
        for cover in (False, True)
        if not cover or pages > 2
    ]
    found = []
    for pages, cover in options:
        best = _with_pages(lines, first_room, room, gap, pages, cover)
        if best is not None:
            cost, starts = best
            cost += sum(
                turn_cost(turn.seconds, turn.in_time) for turn in _jumped(starts, cover, jumps)
            )
            found.append(
                (cost + _PAGE_PRICE * (pages - fewest) + _COVER_PRICE * cover, cover, starts)
            )
    _, cover, starts = min(found)
    turns = [
        Turn(page=page, seconds=before.rest_after, in_time=before.in_time)
        for page in range(1, len(starts))
        if is_turn(page, len(starts), cover)
        for before in (lines[starts[page] - 1],)
    ]
    turns += _jumped(starts, cover, jumps)
    return Pages(starts=starts, turns=tuple(turns), cover=cover)


def _jumped(starts: Sequence[int], cover: bool, jumps: Sequence[Jump]) -> list[Turn]:
    """The jumps to pages that do not lie open."""
    found = []
    for jump in jumps:
        page, to = bisect_right(starts, jump.leaves), bisect_right(starts, jump.to)
        if not lie_open(page, to, len(starts), cover):
            found.append(
                Turn(
                    page=page,
                    seconds=jump.seconds,
                    to=to,
                    name=jump.name,
                    in_time=jump.in_time,
                )
            )
    return found


def _fewest(lines: Sequence[LineBox], first_room: float, room: float, gap: float) -> int:
    pages, used, space = 1, 0.0, first_room
    for line in lines:
        need = line.height + (gap if used else 0.0)
        if used and used + need > space + 1e-6:
            pages, used, space = pages + 1, 0.0, room
            need = line.height
        used += need
    return pages


def _with_pages(
    lines: Sequence[LineBox], first_room: float, room: float, gap: float, pages: int, cover: bool
) -> tuple[float, tuple[int, ...]] | None:
    count = len(lines)
    if pages > count:
        return None
    heights = [0.0, *itertools.accumulate(line.height + gap for line in lines)]
    least = _least(lines, room, gap, pages)
    after = [turn_cost(line.rest_after, line.in_time) for line in lines]
    reached: dict[int, tuple[float, tuple[int, ...]]] = {
        0: (0.0, ())
    }  # by lines placed: price and page starts
    for page in range(1, pages + 1):
        space = first_room if page == 1 else room
        turned = is_turn(page, pages, cover)
        best: dict[int, tuple[float, tuple[int, ...]]] = {}
        for start, (before, starts) in reached.items():
            for end in range(start + 1, count + 1):
                cost = before + page_cost(
                    heights[end] - heights[start] - gap, end - start, space, page == pages
                )
                if math.isinf(cost):
                    break
                if end < least[page]:
                    continue
                if end < count:
                    cost += (after[end - 1] if turned else 0.0) - (
                        0.2 if lines[end].section else 0.0
                    )
                if end not in best or cost < best[end][0]:
                    best[end] = (cost, (*starts, start))
        reached = (
            {end: found for end, found in best.items() if end < count} if page < pages else best
        )
    return reached.get(count)


def _least(lines: Sequence[LineBox], room: float, gap: float, pages: int) -> list[int]:
    """How many lines must have been placed after so many pages (0 to all) for the others to find
    room on those that are left: with fewer no search need go on."""
    found = [len(lines)]
    for _ in range(pages - 1):
        at, used = found[-1], -gap
        while at and (used + lines[at - 1].height + gap <= room + 1e-6 or at == found[-1]):
            at -= 1
            used += lines[at].height + gap
        found.append(at)
    return [0, *reversed(found)]
