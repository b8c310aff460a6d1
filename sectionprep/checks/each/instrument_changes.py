"""A change of instrument without time to pick it up.

bad:  alto to flute across a bar line, no rest
good: two bars of rest, and "to Flute" written where the rest begins
D. Bristol, woodwind doubling: give time for instrument changes and mark them clearly.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

from sectionprep.checks.finding import Check, Context, Finding

_SECONDS = 4.0  # to put one instrument down and have the other ready; judgement


def _find(context: Context) -> Iterable[Finding]:
    chart = context.chart
    for part in chart.parts:
        for _, (tick, _after) in pairwise(part.instruments):
            last = max((t.end for t in chart.lines[part.index] if t.onset < tick), default=0)
            following = next((t.onset for t in chart.lines[part.index] if t.onset >= tick), None)
            if following is None or last == 0:
                continue
            seconds = chart.seconds(last, following)
            if seconds < _SECONDS:
                yield Finding(
                    check="instrument-change",
                    severity="warning",
                    tick=following,
                    part=part.index,
                    message=f"changes instrument with {seconds:.1f} s to do it in",
                    fix="Ask the player; let somebody cover the bars before or after.",
                )


CHECK = Check(
    finds={"instrument-change": "a doubling without time to change"}, matter="playing", find=_find
)
