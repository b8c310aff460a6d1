"""On request: slash bars of the rhythm section say on which beats the horns hit ("hits: 2and
4")."""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

from sectionprep.marking import signs
from sectionprep.music.chart import Note
from sectionprep.music.marks import ATTACKS
from sectionprep.music.timing import say_beat
from sectionprep.passages import Together
from sectionprep.phrasing import Plan

if TYPE_CHECKING:
    from sectionprep.marking.desk import Desk

_PARTS = 4  # horns that make a hit worth catching; judgement
_MOST = 4  # hits in one bar that can still be read in passing; judgement
WORDS = "hits: "


def hits_by_bar(desk: Desk, together: Together, plan: Plan) -> dict[int, list[int]]:
    """Ticks of marked hits by bar index: notes with an attack mark, set off by a rest, in four
    parts or more."""
    found: dict[int, set[int]] = defaultdict(set)
    for passage in together.marked:
        planned = plan.of(passage.id)
        if planned is None or len(passage.parts) < _PARTS:
            continue
        for n, note in enumerate(planned.notes):
            following = planned.notes[n + 1].tone.onset if n + 1 < len(planned.notes) else None
            set_off = following is None or following > note.tone.end
            if note.marks & ATTACKS - {"ghost"} and set_off:
                found[note.tone.bar].add(note.tone.onset)
    return {bar: sorted(ticks) for bar, ticks in found.items() if len(ticks) <= _MOST}


def write_hits(desk: Desk, together: Together, plan: Plan) -> None:
    """Write the hits over the first slash of each slash bar of a rhythm-section part."""
    hits = hits_by_bar(desk, together, plan)
    for part in desk.chart.parts:
        if part.chair.section != "rhythm":
            continue
        first: dict[int, Note] = {}
        for note in part.notes:
            if note.is_slash:
                first.setdefault(note.bar, note)
        said = {d.bar for d in part.directions if d.kind == "words" and d.value.startswith(WORDS)}
        for bar, note in first.items():
            if bar in hits and bar not in said:
                words = WORDS + " ".join(
                    say_beat(desk.chart.place(tick).beat) for tick in hits[bar]
                )
                desk.log(
                    part.index,
                    note.onset,
                    "hits",
                    "none",
                    words,
                    "the horns hit here",
                    "",
                    address=note.address,
                )
                if desk.writes:
                    desk.edits[note.address].before.append(
                        signs.words_above(words, desk, part.index)
                    )
