"""A plan of nothing but what is printed: what holds in each section.

`check --fix` carries this plan to every part: it mends disagreement and adds no phrasing.
"""

from __future__ import annotations

from sectionprep.music.chart import Chart
from sectionprep.music.section_word import SectionWord
from sectionprep.passages import Together
from sectionprep.phrasing.plan import PassagePlan, Plan, PlannedNote


def agreed_plan(chart: Chart, together: Together) -> Plan:
    """The printed marks of every passage as a plan."""
    passages = []
    for passage in together.marked:
        word = SectionWord(chart, passage)
        notes = tuple(
            PlannedNote(
                tone=tone,
                weight=0.5,
                marks=held.marks,
                added=held.marks - tone.marks,
                why="printed",
            )
            for tone, held in zip(word.lines[passage.lead], word.line(), strict=True)
        )
        passages.append(PassagePlan(id=passage.id, part=passage.lead, notes=notes, phrases=()))
    return Plan(style="", style_why="as printed", passages=tuple(passages))
