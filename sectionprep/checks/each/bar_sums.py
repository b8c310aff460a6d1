"""Bars that do not add up, and parts that stop before the others.

bad:  three and a half beats in a 4/4 bar of one part
good: every part fills its bars
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from sectionprep.checks.finding import Check, Context, Finding
from sectionprep.music.chart import Bar, Part
from sectionprep.music.notes import Note


def _find(context: Context) -> Iterable[Finding]:
    chart = context.chart
    for part in chart.parts:
        if part.bars_read < len(chart.bars):
            last = chart.bars[max(0, part.bars_read - 1)]
            yield Finding(
                check="part-length",
                severity="error",
                tick=last.start,
                part=part.index,
                message=f"has {part.bars_read} bars, the chart has {len(chart.bars)}",
                fix="Check that no bars are missing; as it stands the part is silent to the end.",
            )
        by_bar: dict[int, list[Note]] = defaultdict(list)
        for note in part.notes:
            if not note.is_grace and not note.is_cue:
                by_bar[note.bar].append(note)
        for index, notes in by_bar.items():
            yield from _bar(part, chart.bars[index], notes)


def _bar(part: Part, bar: Bar, notes: list[Note]) -> Iterable[Finding]:
    first = min(n.voice for n in notes)
    end = max(n.end for n in notes if n.voice == first)
    filled = end - bar.start
    if filled < bar.length and not any(n.is_rest and n.duration >= bar.length for n in notes):
        yield Finding(
            check="bar-sum",
            severity="error",
            tick=bar.start,
            part=part.index,
            message=f"bar {bar.number} holds {filled / bar.length:.0%} of its length",
            fix="Fill the bar with the missing rest or note in the score.",
        )


CHECK = Check(
    finds={
        "bar-sum": "a bar that does not add up",
        "part-length": "a part that ends before the chart does",
    },
    matter="notes",
    find=_find,
)
