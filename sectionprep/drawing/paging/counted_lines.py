"""Lines of parts whose players count by letters and in fours: the rhythm section's."""

from __future__ import annotations

import math
from collections.abc import Sequence

from sectionprep.drawing.paging.lines_and_pages import SQUEEZE, BarBox, all_costs


def steady_lines(
    bars: Sequence[BarBox], room: float, usual: int, *, squeezed: bool = False
) -> tuple[int, ...] | None:
    """Indices of the bars that begin a line where each section begins one, and its bars are spread
    evenly over lines of about the usual number, or of fewer where that would be too full. A single
    bar before the first section stands with it and is not counted; the last bar never stands alone.
    Sections of closed bars alone ("play 8") share a line, up to the usual number of bars.
    squeezed: bars may be as narrow as any line lets them be. None where one bar is too full."""
    room = room / SQUEEZE if squeezed else room
    heads = _heads(bars, usual)
    starts: list[int] = []
    for head, end in zip(heads, [*heads[1:], len(bars)], strict=True):
        before = int(not head and any(bar.section for bar in bars[1:2]))
        count = end - head - before
        for lines in range(max(1, round(count / usual)), count + 1):
            further = [head + before + round(n * count / lines) for n in range(1, lines)]
            here = [head, *further]
            if not _too_full(bars, here, end, room):
                starts += here
                break
        else:
            return None
    return tuple(starts)


def _heads(bars: Sequence[BarBox], usual: int) -> list[int]:
    """The bars with which a line must begin."""
    found = [0, *(n for n, bar in enumerate(bars[:-1]) if n > 1 and bar.section)]
    kept = [0]
    for head, end in list(zip(found, [*found[1:], len(bars)], strict=True))[1:]:
        together = bars[kept[-1] : end]
        if len(together) > usual or any(bar.bars == 1 for bar in together):
            kept.append(head)
    return kept


def _too_full(bars: Sequence[BarBox], starts: Sequence[int], end: int, room: float) -> bool:
    """True where one of these lines, up to a bar, is wider than it may be."""
    return any(
        sum(bar.width for bar in bars[first:after]) > room
        for first, after in zip(starts, [*starts[1:], end], strict=True)
    )


def by_number(bars: Sequence[BarBox], room: float, most: int) -> dict[int, tuple[int, ...]]:
    """By number of lines, up to the most: indices of the bars that begin a line where there are
    exactly so many, at the least price. Exact."""
    costs, count = all_costs(bars, room), len(bars)
    best = [0.0] + [math.inf] * count
    chosen: list[list[int]] = []
    found: dict[int, tuple[int, ...]] = {}
    for lines in range(1, min(most, count) + 1):
        before, best, back = best, [math.inf] * (count + 1), [0] * (count + 1)
        for end in range(lines, count + 1):
            best[end], back[end] = min((before[start] + line, start) for start, line in costs[end])
        chosen.append(back)
        if math.isfinite(best[count]):
            found[lines] = _way_back(chosen, count)
    return found


def _way_back(chosen: Sequence[Sequence[int]], at: int) -> tuple[int, ...]:
    """The bars that begin the lines up to this one, by the choice that each line made."""
    starts = []
    for back in reversed(chosen):
        at = back[at]
        starts.append(at)
    return tuple(reversed(starts))


def letters_inside(bars: Sequence[BarBox], starts: Sequence[int]) -> int:
    """How many sections begin anywhere but at the left."""
    return sum(bar.section for bar in bars) - sum(bars[n].section for n in starts)
