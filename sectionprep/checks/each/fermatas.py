"""Everybody holds, or nobody does: a fermata that some parts lack."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable

from sectionprep.checks.finding import Check, Context, Finding
from sectionprep.music.notes import Note


def _find(context: Context) -> Iterable[Finding]:
    chart = context.chart
    holders: dict[int, dict[int, int]] = defaultdict(dict)  # bar -> part -> tick
    for part in chart.parts:
        for note in part.notes:
            if note.has_fermata:
                holders[note.bar].setdefault(part.index, note.onset)
    for bar, hold in holders.items():
        ticks = sorted(hold.values())
        tick = ticks[len(ticks) // 2]
        others = {
            part.index: sounding
            for part in chart.parts
            if part.index not in hold
            if (sounding := _at(part.notes, bar, tick)) is not None
        }
        if not others:
            continue
        if len(hold) >= len(others):
            for lacking, sounding in others.items():
                yield Finding(
                    check="fermata",
                    severity="warning" if sounding else "note",
                    tick=tick,
                    part=lacking,
                    message=f"no fermata where {len(hold)} other "
                    f"part{'s hold' if len(hold) > 1 else ' holds'}",
                    fix="Write the fermata, over the rest too: whoever counts on comes in early.",
                )
        else:
            for holding, where in hold.items():
                yield Finding(
                    check="fermata",
                    severity="warning",
                    tick=where,
                    part=holding,
                    message=f"has a fermata that {len(others)} other "
                    f"part{'s have' if len(others) > 1 else ' has'} not",
                    fix="Ask the arranger: write it everywhere or take it out.",
                )


def _at(notes: Iterable[Note], bar: int, tick: int) -> bool | None:
    """Whether a part sounds at a tick of a bar; None where it has nothing there, not even a
    rest."""
    here = [note for note in notes if note.bar == bar and note.onset <= tick < note.end]
    return any(not note.is_rest for note in here) if here else None


CHECK = Check(
    finds={"fermata": "a part that does not hold at everybody's fermata"},
    matter="releases",
    find=_find,
)
