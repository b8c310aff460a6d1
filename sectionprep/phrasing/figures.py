"""Same figure, same marks: bars that return, and moments that two groups hit together.

A printed mark is carried to the bare copies of its figure, unless it is what the rules would write there by themselves:
then they and the neighbours decide at each copy anew. So marks that we have written ourselves carry no further when the
marked chart is planned again.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence

from sectionprep.music.chart import Chart
from sectionprep.music.marks import ATTACKS, BREATHS, SLURS
from sectionprep.phrasing.drafts import Draft, Work, marks_of

_LEAST_IN_FIGURE = 3  # notes in a bar that make it a figure worth phrasing alike; judgement


def agree_on_figures(chart: Chart, desk: Sequence[Work], *, share_marks: bool) -> None:
    """Bars with the same rhythm and intervals (literal, transposed, re-scored) share their printed marks and
    pool their evidence, so that they come out alike unless their neighbours differ."""
    copies: dict[tuple[object, ...], list[list[Draft]]] = defaultdict(list)
    for work in desk:
        bars: dict[int, list[Draft]] = defaultdict(list)
        for draft in work.drafts:
            bars[draft.spot.tone.bar].append(draft)
        for bar in bars.values():
            if len(bar) >= _LEAST_IN_FIGURE:
                copies[_figure(bar)].append(bar)
    for same in copies.values():
        if len(same) < 2:
            continue
        density = desk[0].view.style.density
        numbers = [chart.bars[bar[0].spot.tone.bar].number for bar in same]
        for column in zip(*same, strict=True):
            evidence = sum(draft.pooled for draft in column) / len(column)
            for draft in column:
                draft.pooled = evidence
            marked = Counter(draft.printed for draft in column if _tells_more(draft, density))
            for draft, number in zip(column, numbers, strict=True):
                draft.elsewhere = tuple(n for n in numbers if n != number)
                if share_marks and marked and not draft.printed:
                    draft.printed, draft.borrowed = marked.most_common(1)[0][0], True


def agree_on_hits(desk: Sequence[Work]) -> None:
    """Where two groups hit the same moment for the same length, set off by rests, what is printed in one holds
    for the other: printed beats planned."""
    moments: dict[tuple[int, int], list[Draft]] = defaultdict(list)
    for work in desk:
        for draft in work.drafts:
            if draft.spot.before >= 0.5 or draft.spot.after >= 0.5:
                moments[draft.spot.tone.onset, draft.spot.tone.duration].append(draft)
    for together in moments.values():
        printed = Counter(d.printed - SLURS for d in together
                          if d.printed & ATTACKS and not d.borrowed and _tells_more(d, desk[0].view.style.density))
        for draft in together:
            if printed and not draft.printed:
                draft.printed, draft.borrowed = printed.most_common(1)[0][0], True


def _tells_more(draft: Draft, density: float) -> bool:
    """True where the printed marks are not just what the rules would write at this note, its neighbours apart."""
    if not draft.printed:
        return False
    by_rule = [marks_of(draft, density, leaned=False, printed=frozenset())[0]]
    if draft.pooled > density:
        by_rule.append(marks_of(draft, density, leaned=True, printed=frozenset())[0])
    return draft.printed - SLURS - BREATHS not in by_rule


def _figure(bar: Sequence[Draft]) -> tuple[object, ...]:
    first = bar[0].spot
    return tuple((d.spot.offset, d.spot.tone.duration, d.spot.pitch - first.pitch) for d in bar)
