"""A part that strikes at another moment than the others of its passage, or leaves a note out.

bad:  three trumpets play the "and" of 2, Trumpet 3 plays 2
good: all four play the "and" of 2
In unison a lone part that strikes the same note elsewhere is wrong (judgement); in harmony, or
against one other part, it may be meant and is a warning. A note held over the moment is a
suspension and no fault (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

from sectionprep.checks.finding import Check, Context, Finding
from sectionprep.music.timing import Place, say_beat
from sectionprep.passages import Passage


def _find(context: Context) -> Iterable[Finding]:
    for passage in context.together.marked:
        slips = {(d.part, d.tick) for d in passage.deviations if d.kind == "missing"}
        if not slips:
            continue
        gaps = _gaps(passage)
        for part, tick in sorted(slips, key=lambda slip: (slip[1], slip[0])):
            struck = _instead(context, passage, part, tick, *gaps[tick])
            if struck is not None:
                yield _displaced(context, passage, part, tick, struck)
            elif part != passage.lead:
                yield _missing(context, passage, part, tick)


def _gaps(passage: Passage) -> dict[int, tuple[int, int]]:
    """For every moment at which the passage strikes: those before and after it."""
    ticks = (-1, *passage.attacks, passage.end)
    return {
        now: (before, after)
        for (before, now), after in zip(pairwise(ticks), ticks[2:], strict=False)
    }


def _instead(
    context: Context, passage: Passage, part: int, tick: int, before: int, after: int
) -> int | None:
    """Where a part strikes that should strike at `tick` with all others: once, within a quarter,
    with nobody else. None if it does not."""
    others = [p for p in passage.parts if p != part]
    if not all(tick in context.tones[p] for p in others):
        return None
    near = context.chart.resolution
    mine = [
        tone.onset
        for tone in context.chart.between(part, max(before + 1, tick - near), tick + near + 1)
        if tone.onset < after
    ]
    if len(mine) != 1 or any(mine[0] in context.tones[p] for p in others):
        return None
    held = mine[0] > tick and any(
        tone.end > tick for tone in context.chart.between(part, max(0, before), tick)
    )
    return None if held else mine[0]


def _displaced(context: Context, passage: Passage, part: int, tick: int, struck: int) -> Finding:
    chart, others = context.chart, [p for p in passage.parts if p != part]
    who = f"all {len(others)} others play" if len(others) > 1 else f"{context.name(others[0])} has"
    here, there = chart.place(struck), chart.place(tick)
    bar = "" if here.bar == there.bar else f" of bar {there.bar}"
    tone = context.tones[part][struck]
    same_note = tone.pitch % 12 in {context.tones[p][tick].pitch % 12 for p in others}
    sure = len(others) > 1 and passage.texture != "soli" and same_note
    return Finding(
        check="rhythm",
        severity="error" if sure else "warning",
        tick=struck,
        part=part,
        lead=passage.lead if part != passage.lead else others[0],
        passage=passage.id,
        message=f"strikes on {_beat(here)} where {who} {_beat(there)}{bar}",
        fix=f"Probably {chart.place(tick)} like the others. Ask the arranger or correct the rhythm "
        "in the score; notes are never changed here.",
        places=(struck,),
    )


def _beat(place: Place) -> str:
    said = say_beat(place.beat)
    return f"the & of {said.removesuffix('and')}" if said.endswith("and") else said


def _missing(context: Context, passage: Passage, part: int, tick: int) -> Finding:
    """A part sits out one note of the line: a note for the director, not a fault in itself."""
    return Finding(
        check="note-missing",
        severity="note",
        tick=tick,
        part=part,
        lead=passage.lead,
        passage=passage.id,
        message=f"has no note where {context.name(passage.lead)} and the others strike",
        fix="Check that the rest is meant.",
        places=(tick,),
    )


CHECK = Check(
    finds={
        "rhythm": "a part that strikes beside the moment at which all others strike",
        "note-missing": "a part that leaves out one note of the line",
    },
    matter="notes",
    find=_find,
    seconds=True,
)
