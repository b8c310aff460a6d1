"""The road map: in which order the bars are played, through repeats, endings, D.S., D.C. and coda.

Usual practice (no source): the second time after a D.S. or D.C. repeats are not taken and only the
last ending is played; "to coda" counts only after such a jump.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Sequence

from sectionprep.music.chart import Bar, Chart

_MOST = 50_000  # bars played: a road map that never ends stops here
_BACK = re.compile(r"\b(d\.?\s?s\.?|dal segno|d\.?\s?c\.?|da capo)(?![a-z])", re.IGNORECASE)
_SEGNO = re.compile(r"\b(d\.?\s?s\.?|dal segno)(?![a-z])", re.IGNORECASE)


def playing_order(chart: Chart, most: int = _MOST) -> tuple[int, ...]:
    """Indices of bars in the order in which they are played; of the first `most`."""
    signs = road_signs(chart)
    order: list[int] = []
    passes: dict[int, int] = {}
    start = 0
    at = 0
    jumped = False
    bars = chart.bars
    while 0 <= at < len(bars) and len(order) < most:
        bar = bars[at]
        if bar.repeat_start and start != at:
            start = at
        turn = passes.get(start, 0) + 1
        if bar.endings and not _plays(bar, turn, jumped, bars):
            at += 1
            continue
        order.append(at)
        here = signs.get(at, frozenset())
        if jumped and "to coda" in here and (coda := _find(signs, "coda", at)) is not None:
            at, jumped = coda, False
            passes = {}
            start = at
            continue
        if jumped and "fine" in here:
            break
        if bar.repeat_end and not jumped and turn < _times(bar, bars):
            passes[start] = turn
            at = start
            continue
        back = here & {"ds", "dc"}
        if back and not jumped:
            target = 0 if "dc" in back else _find(signs, "segno", -1)
            if target is not None:
                at, jumped = target, True
                continue
        at += 1
    return tuple(order)


def leads_elsewhere(chart: Chart) -> dict[int, frozenset[int]]:
    """Which bars a bar is followed by when it is played, for each bar that at some time goes on
    elsewhere than to the next one on the page: ends of repeats, bars before another ending, D.S.
    and D.C."""
    order = playing_order(chart)
    found: dict[int, set[int]] = {}
    for here, then in itertools.pairwise(order):
        found.setdefault(here, set()).add(then)
    return {here: frozenset(then) for here, then in found.items() if then != {here + 1}}


def say_order(chart: Chart) -> str:
    """The road map in printed bar numbers: "1-16, 9-14, 17-40"."""
    order = playing_order(chart)
    runs: list[list[int]] = []
    for index in order:
        if runs and index == runs[-1][-1] + 1:
            runs[-1].append(index)
        else:
            runs.append([index])
    numbers = [bar.number for bar in chart.bars]
    return ", ".join(
        numbers[r[0]] if len(r) == 1 else f"{numbers[r[0]]}-{numbers[r[-1]]}" for r in runs
    )


def _plays(bar: Bar, turn: int, jumped: bool, bars: Sequence[Bar]) -> bool:
    numbers = _numbers(bar)
    if not numbers:
        return True
    if not jumped:
        return turn in numbers
    return max(_numbers_from(bar, bars)) in numbers


def _times(bar: Bar, bars: Sequence[Bar]) -> int:
    """How often the section that ends with this bar's repeat sign is played: as it says, or till
    the last of its endings has had its turn."""
    numbers = _numbers_from(bar, bars)
    alone = all(e.endings == bar.endings for e in _endings_before(bar, bars))
    if alone and numbers == _numbers(bar):
        return max([bar.repeat_end, *(n + 1 for n in numbers)])  # what follows has no number
    return max([bar.repeat_end, *numbers])


def _endings_before(bar: Bar, bars: Sequence[Bar]) -> Iterator[Bar]:
    for earlier in reversed(bars[: bar.index]):
        if not earlier.endings:
            return
        yield earlier


def _numbers(bar: Bar) -> list[int]:
    return [int(n) for n in bar.endings if n.isascii() and n.isdecimal()]


def _numbers_from(bar: Bar, bars: Sequence[Bar]) -> list[int]:
    """Numbers of this ending and of those that follow it without a gap."""
    found = _numbers(bar)
    for later in bars[bar.index + 1 :]:
        if not bar.endings or not later.endings:
            break
        found += [n for n in _numbers(later) if n not in found]
    return found


def road_signs(chart: Chart) -> dict[int, frozenset[str]]:
    """Which of "segno", "coda", "to coda", "ds", "dc" and "fine" stand in a bar, by its index."""
    found: dict[int, set[str]] = {}
    for part, kind in itertools.product(range(len(chart.parts)), ("segno", "coda", "jump")):
        for sign in chart.signs(part, kind, any_staff=True):
            here = found.setdefault(sign.bar, set())
            if kind != "jump":
                here.add(kind)
            else:
                text = sign.value.lower()
                if "to coda" in text and not _BACK.search(text):
                    here.add("to coda")
                elif _BACK.search(text):
                    here.add("ds" if _SEGNO.search(text) else "dc")
                elif "fine" in text:
                    here.add("fine")
    return {index: frozenset(signs) for index, signs in found.items() if signs}


def coda_bar(chart: Chart) -> int | None:
    """Index of the bar with which the coda begins: the last one that has its sign, and no words
    that send there."""
    signs = road_signs(chart)
    return max((n for n in signs if "coda" in signs[n] and "to coda" not in signs[n]), default=None)


def _find(signs: dict[int, frozenset[str]], name: str, after: int) -> int | None:
    return next((index for index in sorted(signs) if name in signs[index] and index > after), None)
