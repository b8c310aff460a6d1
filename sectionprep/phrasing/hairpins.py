"""Proposed hairpins beside printed ones."""

from __future__ import annotations

from collections.abc import Sequence

from sectionprep.music.chart import Chart
from sectionprep.phrasing.drafts import (
    Work,
)
from sectionprep.phrasing.plan import Hairpin, PlannedNote

#: seconds: a shorter crescendo cannot be heard as one, and a shorter diminuendo is what a falling
#: line does anyway; judgements
_SHORTEST_HAIRPIN = {"crescendo": 1.2, "diminuendo": 2.5}


def hairpins_of(chart: Chart, work: Work, notes: Sequence[PlannedNote]) -> tuple[Hairpin, ...]:
    """The proposed hairpins that meet no printed hairpin or dynamic of the lead; a breath ends
    one."""
    found = []
    for span in work.spans:
        if span.kind not in ("crescendo", "diminuendo"):
            continue
        last = next(
            (n for n in range(span.first, span.last) if "breath-mark" in notes[n].marks), span.last
        )
        start, stop = work.view.spots[span.first].tone.onset, work.view.spots[last].tone.onset
        if chart.seconds(start, stop) < _SHORTEST_HAIRPIN[span.kind]:
            continue
        printed = any(
            chart.signs(work.part, kind, start + 1, stop + 1, any_staff=True)
            for kind in ("wedge", "dynamic")
        )
        if not printed and not _inside_printed(chart, work.part, start, stop):
            found.append(Hairpin(start=start, stop=stop, kind=span.kind, why=span.because))
    return tuple(found)


def _inside_printed(chart: Chart, part: int, start: int, stop: int) -> bool:
    """True where a printed hairpin of the part runs into this stretch."""
    opened: dict[int, int] = {}
    for sign in chart.parts[part].directions:
        if sign.kind != "wedge":
            continue
        if sign.value in ("crescendo", "diminuendo"):
            opened[sign.number] = sign.onset
        elif sign.number in opened and opened.pop(sign.number) < stop and start < sign.onset:
            return True
    return False
