"""A plan of nothing but what is printed: the lead's own marks, or the section's where all agree and the lead has none.

`check --fix` carries this plan to every part: it mends disagreement and adds no phrasing.
"""

from __future__ import annotations

from sectionprep.music.chart import Chart, Tone
from sectionprep.music.marks import SLURS
from sectionprep.passages import Together
from sectionprep.phrasing.plan import PassagePlan, Plan, PlannedNote
from sectionprep.phrasing.planner import lead_tones


def agreed_plan(chart: Chart, together: Together) -> Plan:
    """The printed marks of every passage as a plan."""
    tones = [{tone.onset: tone for tone in line} for line in chart.lines]
    passages = []
    for passage in together.marked:
        notes = []
        for tone in lead_tones(chart, passage):
            marks = tone.marks
            if not marks - SLURS:
                marks = marks | _unanimous([tones[p] for p in passage.parts if p != passage.lead], tone.onset)
            notes.append(PlannedNote(tone=tone, weight=0.5, marks=marks, added=marks - tone.marks, why="printed"))
        passages.append(PassagePlan(id=passage.id, part=passage.lead, notes=tuple(notes), phrases=()))
    return Plan(style="", style_why="as printed", passages=tuple(passages))


def _unanimous(others: list[dict[int, Tone]], tick: int) -> frozenset[str]:
    """What all of at least two others carry at this tick."""
    found = [line[tick].marks - SLURS for line in others if tick in line]
    return found[0] if len(found) >= 2 and all(marks == found[0] for marks in found) else frozenset()
