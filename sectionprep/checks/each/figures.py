"""The same figure marked in two ways in one lead line.

bad:  > in bar 2, ^ on the same note of the same figure in bar 10
good: one of the two in both, or a reason A bare copy is no contradiction: what is printed once is
often meant for all; lengths may differ with what comes next. Common practice, no source.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from sectionprep.checks.finding import Check, Context, Finding
from sectionprep.music.marks import ATTACKS, say
from sectionprep.music.notes import Tone

_LEAST = 3  # notes in a bar that make a figure; judgement


def _find(context: Context) -> Iterable[Finding]:
    chart = context.chart
    lines: dict[int, dict[int, list[Tone]]] = defaultdict(lambda: defaultdict(list))
    for passage in context.together.passages:
        for tone in chart.between(passage.lead, passage.start, passage.end):
            lines[passage.lead][tone.bar].append(tone)
    for part, bars in lines.items():
        first: dict[tuple[object, ...], list[Tone]] = {}
        for bar in sorted(bars):
            tones = bars[bar]
            if len(tones) < _LEAST:
                continue
            start = chart.bars[bar].start
            figure = tuple((t.onset - start, t.duration, t.pitch - tones[0].pitch) for t in tones)
            model = first.setdefault(figure, tones)
            for tone, other in zip(tones, model, strict=True):
                has, had = (t.marks & ATTACKS for t in (tone, other))
                if has and had and has != had:
                    yield Finding(
                        check="figure",
                        severity="note",
                        tick=tone.onset,
                        part=part,
                        places=(tone.onset,),
                        message=f"{say(has)} where the same figure in "
                        f"{chart.place(other.onset)} has {say(had)}",
                        fix="Mark both alike, or leave them if the difference is meant.",
                    )


CHECK = Check(finds={"figure": "one figure marked in two ways"}, matter="marks", find=_find)
