"""A slur over a note that is struck again: a tie was meant, or the player must guess how to tongue
it.

bad:  two D's in a row joined by a slur; a slur over D D E
good: a tie, if one note is meant; a break in the slur, or a dot or line under it, if two are
Common practice, no source. Winds only; a mark under the slur says how to tongue and is left alone.
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

from sectionprep.checks.finding import Check, Context, Finding
from sectionprep.music.instruments import HORNS

_TONGUED = frozenset({"staccato", "tenuto", "detached-legato", "accent"})


def _find(context: Context) -> Iterable[Finding]:
    chart = context.chart
    for part in chart.parts:
        if part.chair.section not in HORNS:
            continue
        for start, stop in sorted(chart.slurs(part.index)):
            tones = chart.between(part.index, start, stop + 1)
            again = next(
                (
                    after
                    for before, after in pairwise(tones)
                    if before.pitch == after.pitch
                    and before.end == after.onset
                    and not after.marks & _TONGUED
                ),
                None,
            )
            if again is None:
                continue
            alone = len(tones) == 2
            yield Finding(
                check="repeated-under-slur",
                severity="warning" if alone else "note",
                tick=again.onset,
                part=part.index,
                message="a slur joins two notes of one pitch: one note held, or two?"
                if alone
                else f"the note comes again under the slur from {chart.place(start)}",
                fix="Make it a tie, or take the slur out."
                if alone
                else "Say how: break the slur there, or put a line under it.",
                places=(again.onset,),
            )


CHECK = Check(
    finds={"repeated-under-slur": "a note struck again under a slur"}, matter="marks", find=_find
)
