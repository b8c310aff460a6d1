"""A voice of a soli that jumps over its neighbour for a single note: often an octave or a clef
slip.

bad:  Tenor 2 a fifth above Tenor 1 for one eighth, below it everywhere else
good: the voices keep their order, or cross for a whole phrase
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.checks.finding import Check, Context, Finding
from sectionprep.passages import Passage

_LEAP = 7  # semitones by which the voice must stand on the wrong side: judgement
_OTHERWISE = 0.95  # share of the passage in which it keeps its side: judgement


def _find(context: Context) -> Iterable[Finding]:
    for passage in context.together.passages:
        if passage.texture == "soli" and len(passage.attacks) >= 8:
            yield from _passage(context, passage)


def _passage(context: Context, passage: Passage) -> Iterable[Finding]:
    for part in context.members(passage):
        above = [t for t in passage.attacks if _gap(context, passage.lead, part, t) > 0]
        crossed = [t for t in passage.attacks if _gap(context, passage.lead, part, t) <= -_LEAP]
        if len(crossed) == 1 and len(above) >= _OTHERWISE * (len(passage.attacks) - 1):
            yield Finding(
                check="voice-crossing",
                severity="warning",
                tick=crossed[0],
                part=part,
                lead=passage.lead,
                passage=passage.id,
                message=f"stands {-_gap(context, passage.lead, part, crossed[0])} "
                f"semitones above {context.name(passage.lead)} for one note",
                fix="Check the octave of this note in the score.",
                places=(crossed[0],),
            )


def _gap(context: Context, lead: int, part: int, tick: int) -> int:
    """How far the lead stands above the part; 0 where one of them rests."""
    a, b = context.tones[lead].get(tick), context.tones[part].get(tick)
    return a.pitch - b.pitch if a and b else 0


CHECK = Check(
    finds={"voice-crossing": "a voice that crosses for one note"}, matter="notes", find=_find
)
