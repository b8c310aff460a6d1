"""Where else a note stands: the places to which its figure returns, and the situations of the
house's vocabulary in which it is."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from sectionprep.music.chart import Chart
from sectionprep.music.notes import Tone
from sectionprep.music.roadmap import leads_elsewhere
from sectionprep.music.section_word import SectionWord
from sectionprep.passages import Passage
from sectionprep.phrasing import PassagePlan
from sectionprep.phrasing.house import SITUATIONS
from sectionprep.phrasing.styles import Style
from sectionprep.phrasing.view import view_line

_LEAST_IN_FIGURE = 3  # notes in a bar that make it a figure, as the planner has it
_TUTTI = 8  # parts that are heard as the band, as the planner has it
#: passage and tick of a note
PlanPlace = tuple[str, int]


def answers(chart: Chart, planned: Iterable[PassagePlan]) -> dict[PlanPlace, tuple[PlanPlace, ...]]:
    """For every note of every lead, itself and the notes that answer to it where its bar's figure
    returns (same rhythm and intervals), in any lead."""
    alike: dict[tuple[object, ...], list[list[PlanPlace]]] = defaultdict(list)
    found: dict[PlanPlace, tuple[PlanPlace, ...]] = {}
    for plan in planned:
        bars: dict[int, list[Tone]] = defaultdict(list)
        for note in plan.notes:
            bars[note.tone.bar].append(note.tone)
        for bar in bars.values():
            spots = [(plan.id, tone.onset) for tone in bar]
            found.update((spot, (spot,)) for spot in spots)
            if len(bar) >= _LEAST_IN_FIGURE:
                alike[_shape(chart, bar)].append(spots)
    for same in alike.values():
        for column in zip(*same, strict=True):
            found.update(dict.fromkeys(column, column))
    return found


def _shape(chart: Chart, bar: list[Tone]) -> tuple[object, ...]:
    start, first = chart.bars[bar[0].bar].start, bar[0].pitch
    return tuple((tone.onset - start, tone.duration, tone.pitch - first) for tone in bar)


def situations(chart: Chart, passage: Passage, style: Style) -> list[list[str]]:
    """For each note of a lead, the situations that it stands in."""
    view = view_line(
        chart,
        SectionWord(chart, passage).line(),
        style,
        passage.lead,
        tutti=len(passage.parts) >= _TUTTI,
        elsewhere=leads_elsewhere(chart),
    )
    return [
        [words for words, fits in SITUATIONS.items() if fits(view, spot)] for spot in view.spots
    ]
