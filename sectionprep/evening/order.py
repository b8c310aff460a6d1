"""The running order: a warm-up, the charts by need, a break, and runs, with the lips in mind.

Common practice, no source: warm up softly; begin with something that goes; do the hard work early,
while ears and lips are fresh; rest the brass after what tires them; end with something played
whole. Lengths and bounds are judgements. What tires whom differs: players and their teachers know.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from sectionprep.evening.charts import RUN, Place, Tonight

_WARM_UP, _BREAK = 6, 10  # minutes
_LONG = 100  # minutes from which there is a break
_LEAST, _SHORTEST_RUN = 5, 3  # minutes worth setting up for
_HEAVY = 0.55  # share of the time in which brass blow, from which a block tires them
_IN_A_ROW = 2  # heavy blocks one after the other
_SECTIONAL = 8  # minutes for one section from which a room of its own pays
_AGAIN = 1.6  # times its length that a run takes: starts, words


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """One line of the evening. at: minutes after the start; who: a section or "all"; parts: labels
    of those who play (empty: everybody); name: of the
    chart's file; key: of the line in the chart's own workbook; heavy: tires
    the brass."""

    at: int
    minutes: int
    chart: str
    what: str
    bars: str
    who: str
    why: str
    name: str = ""
    parts: frozenset[str] = frozenset()
    key: str = ""
    heavy: bool = False
    rated: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Evening:
    """The whole evening. left_out: places that found no time, each with its chart; advice:
    sectionals that would pay, and what the lips need; needed: for each part (first minute, last
    minute)."""

    minutes: int
    blocks: tuple[Block, ...]
    left_out: tuple[str, ...]
    advice: tuple[str, ...]
    needed: dict[str, tuple[int, int]]


def plan_evening(charts: Sequence[Tonight], minutes: int, *, keep_order: bool = False) -> Evening:
    """The running order over these charts. keep_order: the charts come as they were named."""
    order = list(charts) if keep_order else _by_need(charts)
    pause = _BREAK if minutes >= _LONG else 0
    warm = min(_WARM_UP, minutes // 8)
    room = minutes - pause - warm
    shares = _shares(order, room)
    blocks: list[Block] = []
    left: list[str] = []
    if warm:
        blocks.append(_warm_up(order, warm))
    for chart, share in zip(order, shares, strict=True):
        mine, missed = _of_chart(chart, share)
        blocks += mine
        left += missed
    blocks = _timed(_with_break(_eased(blocks), pause))
    return Evening(
        minutes=minutes,
        blocks=tuple(blocks),
        left_out=tuple(left),
        advice=tuple(_advice(charts, blocks)),
        needed=_needed(charts, blocks),
    )


def _by_need(charts: Sequence[Tonight]) -> list[Tonight]:
    """Something that goes well first, then the neediest, the rest by need, and the one that ends
    best (most of it ready) last."""
    ordered = sorted(charts, key=lambda chart: -chart.need)
    if len(ordered) < 3:
        return ordered
    last = ordered.pop()
    first = ordered.pop()
    return [first, *ordered, last]


def _shares(charts: Sequence[Tonight], room: int) -> list[int]:
    """Whole minutes for each chart: a run, and the rest by need, adding up to the room."""
    runs = [_run(chart) for chart in charts]
    spare = max(0, room - sum(runs))
    needs = sum(chart.need for chart in charts) or 1.0
    exact = [run + spare * chart.need / needs for run, chart in zip(runs, charts, strict=True)]
    if sum(exact) > room > 0:
        exact = [value * room / sum(exact) for value in exact]
    whole = [int(value) for value in exact]
    for n in sorted(range(len(whole)), key=lambda n: (whole[n] - exact[n], n)):
        if sum(whole) < room:
            whole[n] += 1
    return whole


def _run(chart: Tonight) -> int:
    return max(_SHORTEST_RUN, round(chart.seconds * _AGAIN / 60))


def _of_chart(chart: Tonight, share: int) -> tuple[list[Block], list[str]]:
    """A chart's places by need as long as there is time for them, then its run. The second: places
    that found none."""
    if share < _SHORTEST_RUN:
        return [], [f"{chart.title}: no time at all"]
    run = min(_run(chart), share)
    room = share - run
    ordered = sorted(chart.places, key=lambda place: -place.need)
    chosen = ordered[: room // _LEAST]
    while chosen and chosen[-1].need <= 0:
        chosen.pop()
    blocks = [
        _block(chart, place, length)
        for place, length in zip(chosen, _lengths(chosen, room), strict=True)
    ]
    spent = sum(block.minutes for block in blocks)
    blocks.append(
        Block(
            at=0,
            minutes=share - spent,
            chart=chart.title,
            name=chart.name,
            what="Run it without stopping",
            bars="all",
            who="all",
            why=_why_run(chart),
            parts=frozenset(chart.parts),
            key=RUN,
            heavy=chart.brass >= _HEAVY,
        )
    )
    left = [place.item.passage for place in ordered[len(chosen) :] if place.need >= 1]
    missed = [f"{chart.title}: {', '.join(left)}"] if left else []
    return blocks, missed


def _why_run(chart: Tonight) -> str:
    told = f"{chart.seconds / 60:.0f} min of music" if chart.seconds >= 60 else "a short chart"
    return f"the whole, once its places are known; {told}"


def _lengths(places: Sequence[Place], room: int) -> list[int]:
    total = sum(place.need for place in places) or 1.0
    spare = room - _LEAST * len(places)
    exact = [_LEAST + spare * place.need / total for place in places]
    whole = [int(value) for value in exact]
    for n in sorted(range(len(whole)), key=lambda n: (whole[n] - exact[n], n)):
        if sum(whole) < room:
            whole[n] += 1
    return whole


def _block(chart: Tonight, place: Place, minutes: int) -> Block:
    sections = place.item.sections
    who = next(iter(sections)) if len(sections) == 1 else "all"
    before = f"; {place.before}" if place.before else ""
    return Block(
        at=0,
        minutes=minutes,
        chart=chart.title,
        name=chart.name,
        what=place.item.what,
        bars=place.item.bars,
        who=who,
        why=f"{place.item.why}{before}",
        parts=place.parts,
        key=place.item.key,
        heavy=place.brass >= _HEAVY,
        rated=place.rated,
    )


def _warm_up(charts: Sequence[Tonight], minutes: int) -> Block:
    """On the softest unison or octaves of the night: long tones, then the line slowly."""
    places = [(chart, place) for chart in charts for place in chart.places]
    simple = [(c, p) for c, p in places if "unison" in p.item.what or "octaves" in p.item.what]
    chart, place = min(simple or places, key=lambda one: one[1].brass, default=(None, None))
    where = f" of {chart.title}, {place.item.what}" if chart is not None and place else ""
    bars = place.item.bars if place is not None else ""
    return Block(
        at=0,
        minutes=minutes,
        chart=chart.title if chart is not None else "",
        what=f"Warm-up: long tones, soft, then the line slowly{where}",
        bars=bars,
        who="all",
        why="lips, breath and tuning before anything loud",
    )


def _eased(blocks: Sequence[Block]) -> list[Block]:
    """Never three blocks in a row that tire the brass: a place of the same chart that does not is
    taken before; where there is none, the third begins without blowing."""
    left, made = list(blocks), list[Block]()
    while left:
        block = left[0]
        tired = len(made) >= _IN_A_ROW and all(b.heavy for b in made[-_IN_A_ROW:])
        if tired and block.heavy:
            light = [
                n
                for n, b in enumerate(left)
                if b.name == block.name and not b.heavy and b.key != RUN
            ]
            if light:
                made.append(left.pop(light[0]))
                continue
            what = f"Sing and finger it first, lips at rest. {block.what}"
            block = replace(block, what=what, heavy=False)
        made.append(block)
        left.pop(0)
    return made


def _with_break(blocks: Sequence[Block], pause: int) -> list[Block]:
    """The break nearest to the middle of the evening, between two blocks."""
    if not pause or len(blocks) < 2:
        return list(blocks)
    half, spent, best = sum(b.minutes for b in blocks) / 2, 0, (float("inf"), 1)
    for n, block in enumerate(blocks[:-1], start=1):
        spent += block.minutes
        best = min(best, (abs(spent - half), n))
    rest = Block(
        at=0, minutes=pause, chart="", what="Break", bars="", who="all", why="lips, ears, water"
    )
    return [*blocks[: best[1]], rest, *blocks[best[1] :]]


def _timed(blocks: Iterable[Block]) -> list[Block]:
    found, at = [], 0
    for block in blocks:
        found.append(replace(block, at=at))
        at += block.minutes
    return found


def _advice(charts: Sequence[Tonight], blocks: Sequence[Block]) -> list[str]:
    """Which bar is a pick-up, sectionals that would pay, and what the lips need."""
    said = [f"{chart.title}: {chart.pickup}." for chart in charts if chart.pickup]
    for chart in charts:
        mine = [b for b in blocks if b.name == chart.name and b.who != "all" and b.key]
        for section in dict.fromkeys(b.who for b in mine):
            spent = sum(b.minutes for b in mine if b.who == section)
            if spent >= _SECTIONAL:
                said.append(
                    f"{chart.title}: a sectional pays for the {section} ({spent} minutes); "
                    "the others can work next door meanwhile."
                )
    heavy = [chart.title for chart in charts if chart.brass >= _HEAVY]
    if heavy:
        said.append(
            f"The brass blow for more than half of {', '.join(heavy)}: take them down an octave "
            "or softly when notes alone are practised. Stop where a lip hurts; players and their "
            "teachers know best."
        )
    return said


def _needed(charts: Sequence[Tonight], blocks: Sequence[Block]) -> dict[str, tuple[int, int]]:
    """For each part the minute from which and the minute until which it has something to play."""
    parts = list(dict.fromkeys(label for chart in charts for label in chart.parts))
    found = {}
    for label in parts:
        mine = [b for b in blocks if label in b.parts]
        if mine:
            found[label] = (mine[0].at, mine[-1].at + mine[-1].minutes)
    return found
