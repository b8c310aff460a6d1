"""Rehearsal marks and road-map signs that only some parts carry.

bad:  letter C in sixteen parts, not in the bass
good: in all, or (as scores usually are) in the top part only
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from sectionprep.checks.finding import Check, Context, Finding

_KINDS = {
    "rehearsal": "rehearsal mark",
    "segno": "segno",
    "coda": "coda sign",
    "jump": "direction",
    "metronome": "tempo",
}


def _find(context: Context) -> Iterable[Finding]:
    chart = context.chart
    having: dict[tuple[str, int, str], set[int]] = defaultdict(set)
    for part in chart.parts:
        for sign in part.directions:
            if sign.kind in _KINDS:
                having[(sign.kind, sign.onset, sign.value)].add(part.index)
    count = len(chart.parts)
    for (kind, tick, value), parts in sorted(having.items(), key=lambda item: item[0][1]):
        if 2 * len(parts) <= count or len(parts) == count:
            continue  # in the top part only is how scores are written
        for missing in sorted(set(range(count)) - parts):
            other = [
                v
                for k, t, v in having
                if k == kind and t == tick and v != value and missing in having[(k, t, v)]
            ]
            text = f"has {other[0]!r} where" if other else "lacks what"
            yield Finding(
                check="road-map",
                severity="warning",
                tick=tick,
                part=missing,
                message=f"{text} the other parts have: {_KINDS[kind]} {value}",
                fix=f"Add the {_KINDS[kind]} {value}.",
            )


CHECK = Check(
    finds={"road-map": "letters, signs of the road map or tempo missing in a part"},
    matter="instructions",
    find=_find,
)
