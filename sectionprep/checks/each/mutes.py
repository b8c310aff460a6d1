"""A mute that goes in and never comes out.

bad:  "cup mute" at E and no "open" before the shout chorus
good: on and off both stated
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.checks.finding import Check, Context, Finding
from sectionprep.music.instruments import BRASS

_OFF = ("open", "senza", "stem out")


def _find(context: Context) -> Iterable[Finding]:
    for part in context.chart.parts:
        if part.chair.section not in BRASS:
            continue
        last = None
        for sign in part.directions:
            if sign.kind == "mute":
                last = None if any(word in sign.value for word in _OFF) else sign
        if last is not None and context.chart.bars[-1].index - last.bar > 32:
            yield Finding(
                check="mute",
                severity="note",
                tick=last.onset,
                part=part.index,
                message=f'"{last.value}" is never taken back, '
                f"{context.chart.bars[-1].index - last.bar} bars to the end",
                fix='Write "open" where the mute comes out.',
            )


CHECK = Check(finds={"mute": "a mute without its end"}, find=_find)
