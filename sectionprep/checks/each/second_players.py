"""Two players on one staff, on stems of their own: the second lacks marks that the first has.

bad:  an accent on the upper stem, none on the lower, and both play the note together
good: the accent on both stems

Where the second has a passage of his own he has that one's marks. Common practice, no source: a
mark on a stem speaks to the player of that stem.
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.checks.finding import Check, Context, Finding
from sectionprep.music.lines import second_players
from sectionprep.music.marks import BREATHS, ORNAMENTS, SLURS, say
from sectionprep.music.notes import Tone
from sectionprep.passages import Passage
from sectionprep.passages.model import is_in

_OWN = SLURS | ORNAMENTS | BREATHS  # each player's own affair


def _find(context: Context) -> Iterable[Finding]:
    seconds = second_players(context.chart)
    for passage in context.together.marked:
        for part in passage.parts:
            if part in seconds:
                yield from _lacking(context, passage, part, seconds[part].items())


def _lacking(
    context: Context, passage: Passage, part: int, seconds: Iterable[tuple[int, Tone]]
) -> Iterable[Finding]:
    first = context.tones[part]
    lacks = {
        tick: first[tick].marks - second.marks - _OWN
        for tick, second in seconds
        if passage.start <= tick < passage.end
        and first[tick].marks - second.marks - _OWN
        and not is_in(context.apart, part, tick)
    }
    if not lacks:
        return
    ticks = tuple(sorted(lacks))
    marks = frozenset[str]().union(*lacks.values())
    count = f"{len(ticks)} notes" if len(ticks) > 1 else "a note"
    lacking = f"lacks marks of the first on {count} ({say(marks)})"
    yield Finding(
        check="second-player",
        severity="warning",
        tick=ticks[0],
        part=part,
        passage=passage.id,
        message=f"the second player on this staff {lacking}",
        fix="Give both stems the same marks.",
        places=ticks,
    )


CHECK = Check(
    matter="marks",
    finds={"second-player": "marks that a second player on a shared staff lacks"},
    find=_find,
)
