"""Instructions for the band that stand in one part only.

bad:  "Solo - open; backgrounds last time only" in the soloist's part, and nothing in the others
good: everybody knows that it is open and whose cue to wait for
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.checks.finding import Check, Context, Finding
from sectionprep.music.instructions import one_sided

_NAMED = 4  # parts that are named one by one; judgement


def _find(context: Context) -> Iterable[Finding]:
    chart = context.chart
    for found in one_sided(chart):
        names = [context.name(part) for part in found.missing]
        who = ", ".join(names) if len(names) <= _NAMED else f"{len(names)} other parts"
        yield Finding(
            check="one-sided",
            severity="warning",
            tick=found.sign.onset,
            part=found.sign.part,
            message=f'"{found.sign.value}" concerns {who} too, who cannot read it',
            fix="Have it copied: its line under copy in the plan file, or write it there.",
        )


CHECK = Check(
    matter="instructions",
    finds={"one-sided": "an instruction that concerns parts in which it does not stand"},
    find=_find,
)
