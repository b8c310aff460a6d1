"""A note struck again where the lead holds it over.

bad:  lead ties the D over the bar line, Alto 2 plays it twice
good: both hold it
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

from sectionprep.checks.finding import Check, Context, Finding


def _find(context: Context) -> Iterable[Finding]:
    for passage in context.together.marked:
        held = {t.onset: t for t in context.chart.between(passage.lead, passage.start, passage.end)}
        for part in context.members(passage):
            line = context.chart.between(part, passage.start, passage.end)
            for before, again in pairwise(line):
                same = before.pitch == again.pitch and before.end == again.onset
                over = held.get(before.onset)
                if same and over is not None and over.end == again.end:
                    yield Finding(
                        check="tie",
                        severity="warning",
                        tick=again.onset,
                        part=part,
                        lead=passage.lead,
                        passage=passage.id,
                        message=f"strikes the note again; "
                        f"{context.name(passage.lead)} holds it over",
                        places=(again.onset,),
                        fix="Tie the note in the score, or ask the lead.",
                    )


CHECK = Check(finds={"tie": "a note struck again where the lead holds"}, matter="notes", find=_find)
