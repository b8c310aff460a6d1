"""Mutes: one player without the others, a mute that is still in where the band is loud, a mute that
never comes out.

bad:  "cup mute" in Trumpet 2 alone; "cup mute" at E and no "open" before the shout chorus
good: the same mute in the section, on and off both stated
Common practice, no source: a section that moves as one is muted as one, and a mute is called off
before the loudest passages.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from itertools import groupby
from operator import attrgetter

from sectionprep.checks.finding import Check, Context, Finding
from sectionprep.music.chart import Chart, Part
from sectionprep.music.in_force import index_in_force
from sectionprep.music.instruments import BRASS, HORNS
from sectionprep.music.notes import Direction
from sectionprep.passages import Passage

_OFF = ("open", "senza", "stem out", "without")
_KINDS = ("cup", "harmon", "straight", "bucket", "plunger", "hat", "stand")
_LOUD = frozenset({"ff", "fff", "ffff", "fffff", "ffffff"})
_MOST = 3  # in 4 of the wind parts moving together make a tutti; judgement
_FOREVER = 32  # bars that a mute may stay in to the end without a word; judgement

_Signs = Mapping[int, tuple[Direction, ...]]


def _find(context: Context) -> Iterable[Finding]:
    signs: _Signs = {
        part.index: tuple(
            sorted((d for d in part.directions if d.kind == "mute"), key=attrgetter("onset"))
        )
        for part in context.chart.parts
        if part.chair.section in BRASS
    }
    if not any(signs.values()):
        return
    yield from _differing(context, signs)
    told: set[Direction] = set()
    for finding, sign in _still_in(context, signs):
        if sign not in told:
            told.add(sign)
            yield finding
    for part in context.chart.parts:
        last = _in_force(signs.get(part.index, ()), context.chart.bars[-1].end)
        if last is not None and last not in told:
            yield from _never_out(context, part, last)


def _in_force(signs: tuple[Direction, ...], tick: int) -> Direction | None:
    """The mute that is in at a tick, or None for open."""
    at = index_in_force(signs, tick, attrgetter("onset"))
    sign = signs[at] if at >= 0 else None
    return None if sign is None or any(word in sign.value for word in _OFF) else sign


def _differing(context: Context, signs: _Signs) -> Iterable[Finding]:
    """A section that moves as one with one player muted otherwise; told once for each mute."""
    told: set[tuple[int, int]] = set()
    for passage in context.together.marked:
        mine = sorted((p for p in passage.parts if p in signs), key=lambda p: _section(context, p))
        for _, group in groupby(mine, key=lambda p: _section(context, p)):
            parts = list(group)
            held = {p: _in_force(signs[p], passage.start) for p in parts}
            kinds = {p: _kind(sign) for p, sign in held.items()}
            most, count = Counter(kinds.values()).most_common(1)[0]
            if count < 2 or count != len(parts) - 1:
                continue  # nobody differs, or they are two against two: it may be meant
            odd = next(p for p in parts if kinds[p] != most)
            like = next(held[p] for p in parts if p != odd)
            at = max(s.onset for s in (held[odd], like) if s is not None)
            if (odd, at) not in told:
                told.add((odd, at))
                yield _alone(context, passage, odd, at, held[odd], like)


def _kind(sign: Direction | None) -> str:
    """Which mute: words that name none ("con sord.", "muted") are one kind of their own."""
    if sign is None:
        return ""
    return next((kind for kind in _KINDS if kind in sign.value), "muted")


def _section(context: Context, part: int) -> str:
    return context.chart.parts[part].chair.section


def _alone(
    context: Context,
    passage: Passage,
    odd: int,
    at: int,
    sign: Direction | None,
    like: Direction | None,
) -> Finding:
    section, most = _section(context, odd), like.value if like else ""
    theirs = f'have "{most}"' if most else "play open"
    if sign is None:
        message = f'no mute; the other {section} have "{most}"'
    else:
        message = f'"{sign.value}" in this part alone; the other {section} {theirs}'
    return Finding(
        check="mute-alone",
        severity="warning",
        tick=at,
        part=odd,
        lead=passage.lead,
        passage=passage.id,
        message=message,
        fix=f'Write "{most or "open"}", or give all {section} the same, '
        "unless one colour of its own is meant.",
        places=(passage.start,),
    )


def _still_in(context: Context, signs: _Signs) -> Iterable[tuple[Finding, Direction]]:
    """Muted players where the band is at its loudest, with no "open" before."""
    chart = context.chart
    winds = {part.index for part in chart.parts if part.chair.section in HORNS}
    for passage in context.together.passages:
        if 4 * len(winds & set(passage.parts)) < _MOST * len(winds):
            continue
        for part in passage.parts:
            loud = next(_loud(chart, part, passage, signs.get(part, ())), None)
            if loud is None:
                continue
            tick, value, sign = loud
            place = chart.place(tick)
            yield (
                Finding(
                    check="mute",
                    severity="warning",
                    tick=tick,
                    part=part,
                    lead=passage.lead,
                    passage=passage.id,
                    message=f'still in "{sign.value}" from bar {chart.place(sign.onset).bar} where '
                    f'the whole band plays {value}; no "open" before',
                    fix=f'Write "open" before bar {place.bar}, or "stay in mute" there.',
                    places=(tick,),
                ),
                sign,
            )


def _loud(
    chart: Chart, part: int, passage: Passage, signs: tuple[Direction, ...]
) -> Iterator[tuple[int, str, Direction]]:
    """Where in a passage a part is at its loudest with a mute in: tick, dynamic, mute."""
    inside = chart.signs(part, "dynamic", passage.start + 1, passage.end)
    for tick in (passage.start, *(d.onset for d in inside)):
        sign, value = _in_force(signs, tick), _dynamic(chart, part, tick)
        if sign is not None and value in _LOUD and sign.onset < tick:
            yield tick, value, sign


def _dynamic(chart: Chart, part: int, tick: int) -> str:
    """The dynamic in force in a part, one under its first note included."""
    signs = chart.signs(part, "dynamic", 0, tick + 1)
    return signs[-1].value if signs else ""


def _never_out(context: Context, part: Part, last: Direction) -> Iterable[Finding]:
    bars = context.chart.bars[-1].index - last.bar
    if bars > _FOREVER:
        yield Finding(
            check="mute",
            severity="note",
            tick=last.onset,
            part=part.index,
            message=f'"{last.value}" is never taken back, {bars} bars to the end',
            fix='Write "open" where the mute comes out.',
        )


CHECK = Check(
    finds={
        "mute": "a mute without its end, or still in where the band is loudest",
        "mute-alone": "one player of a section muted otherwise than the others",
    },
    matter="instructions",
    find=_find,
)
