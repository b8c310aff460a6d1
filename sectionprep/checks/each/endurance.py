"""A lead brass part that never gives the lip a rest, and lines longer than a breath.

bad:  lead trumpet plays forty bars without a bar off
good: a bar of rest every sixteen bars or so, or a second player to spell the lead
Cautions, not rules: the players know; no published table of breath lengths exists.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from sectionprep.checks.finding import Check, Context, Finding
from sectionprep.music.chart import Chart, Part
from sectionprep.music.instruments import BRASS, HORNS
from sectionprep.music.notes import Tone

_BARS = 40  # without a bar of rest; judgement
_BREATHS = 2.2  # times the planning cap of the chair before anything is said; judgement


def _find(context: Context) -> Iterable[Finding]:
    for part in context.chart.parts:
        line = context.chart.lines[part.index]
        if line and part.chair.section in BRASS and part.chair.number == 1:
            yield from _lip(context, part, line)
        if line and part.chair.section in HORNS:
            yield from _breath(context, part, line)


def without_rest(chart: Chart, line: Sequence[Tone]) -> Iterator[tuple[int, int]]:
    """Indices of the first and the last bar of each stretch of a line in which it never rests for a
    bar."""
    start = 0
    for n, tone in enumerate(line):
        rest = line[n + 1].onset - tone.end if n + 1 < len(line) else chart.bars[-1].length + 1
        if rest >= chart.bars[tone.bar].length:
            yield line[start].bar, tone.bar
            start = n + 1


def _lip(context: Context, part: Part, line: Sequence[Tone]) -> Iterable[Finding]:
    for first, last in without_rest(context.chart, line):
        bars = last - first + 1
        if bars >= _BARS:
            yield Finding(
                check="endurance",
                severity="note",
                tick=next(tone.onset for tone in line if tone.bar == first),
                part=part.index,
                message=f"{bars} bars without a bar of rest for the lip",
                fix="Let another player take some of it; rehearse it in pieces, softly.",
            )


def _breath(context: Context, part: Part, line: Sequence[Tone]) -> Iterable[Finding]:
    chart = context.chart
    cap = part.chair.instrument.breath
    if not cap:
        return
    start, worst = line[0].onset, (0.0, 0)
    for n, tone in enumerate(line):
        last = n + 1 == len(line)
        if last or line[n + 1].onset - tone.end > 0 or tone.marks & {"breath-mark", "caesura"}:
            worst = max(worst, (chart.seconds(start, tone.end), start))
            start = tone.end if last else line[n + 1].onset
    if worst[0] > _BREATHS * cap:
        yield Finding(
            check="breath",
            severity="note",
            tick=worst[1],
            part=part.index,
            message=f"{worst[0]:.0f} s without a rest or a breath mark",
            fix="Agree who breathes where (a caution: ask the players).",
        )


CHECK = Check(
    finds={
        "endurance": "a lead brass part that never rests the lip",
        "breath": "a line far longer than a breath",
    },
    matter="playing",
    find=_find,
)
