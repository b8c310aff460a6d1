"""What is seen of a passage at a time, and what the plan writes there."""

from __future__ import annotations

from dataclasses import dataclass, replace

from sectionprep.marking import Marking, mark_chart
from sectionprep.music.chart import Chart
from sectionprep.passages import Passage, Together
from sectionprep.phrasing import Plan
from sectionprep.results import Options, Score

STRETCH = 24  # bars that are shown and heard at a time, as on study pages; judgement
_EDGE = 4  # bars beside a stretch in which a slur of it may begin or end; judgement
_REMAINDER = 8  # bars that are not left for a stretch of their own; judgement
PITCHES = ("sounding", "written")
WIDTHS = (70, 100, 140, 190, 240)  # millimetres: lines for a telephone to a wide window; judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class View:
    """What is to be seen. stretch: which part of a long passage, from 0; width: of a line,
    millimetres; whole: all parts, not the lead alone."""

    passage: str
    stretch: int = 0
    width: int = 190
    pitch: str = "sounding"
    whole: bool = False


def marking_of(score: Score, plan: Plan, view: View, options: Options) -> Marking:
    """What the plan writes into the parts of a passage, in the stretch that is seen. Passages that
    share its time are marked with it, since a note is spoken for once."""
    chart = score.chart
    passage = next(p for p in score.together.marked if p.id == view.passage)
    first, last = stretches(chart, passage)[view.stretch]
    start = chart.bars[max(first - _EDGE, 0)].start
    end = chart.bars[min(last + _EDGE, len(chart.bars) - 1)].end
    near, plans = [], []
    for other in score.together.marked:
        planned = plan.of(other.id)
        if planned is not None and other.start < end and start < other.end:
            near.append(other)
            notes = tuple(n for n in planned.notes if start <= n.tone.onset < end)
            plans.append(replace(planned, notes=notes))
    only = Together(passages=tuple(near), bars=())
    seen = replace(plan, passages=tuple(plans), hits=())
    return mark_chart(chart, only, seen, section=options.section)


def bars_of(chart: Chart, passage: Passage) -> tuple[int, int]:
    """The first and the last bar of a passage, as indices."""
    return chart.place(passage.start).index, chart.end_place(passage.end).index


def stretches(chart: Chart, passage: Passage) -> list[tuple[int, int]]:
    """A passage in pieces that fit a page: (first, last) bars, as indices. They end before a letter
    where one stands in the last third."""
    first, last = bars_of(chart, passage)
    found = []
    while last - first >= STRETCH + _REMAINDER:
        letters = [
            n
            for n in range(first + 2 * STRETCH // 3, first + STRETCH + 1)
            if chart.bars[n].rehearsal
        ]
        end = letters[-1] if letters else first + STRETCH
        found.append((first, end - 1))
        first = end
    return [*found, (first, last)]
