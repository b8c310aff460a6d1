"""What a person has decided, in the eyes of the planner.

What is printed at such places may be ours, from an earlier run with the same decisions, or what the
decision overrules. Either way it speaks for no other note: so a chart is planned alike before it
carries what was decided and afterwards.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from sectionprep.music.marks import ORNAMENTS, SLURS, as_one
from sectionprep.music.notes import Tone
from sectionprep.phrasing.drafts import WRITTEN_BY_RULES
from sectionprep.phrasing.plan import PassagePlan

KEPT = SLURS | ORNAMENTS  # of a decided note: nobody decides them
_Place = tuple[str, int]  # a passage, and the tick of a note of its lead


@dataclass(frozen=True, slots=True, kw_only=True)
class Decided:
    """notes: on which something is decided and printed; unslurred: from which no slur shall begin;
    reread: passages for which another reading was chosen."""

    notes: frozenset[_Place] = frozenset()
    unslurred: frozenset[_Place] = frozenset()
    reread: frozenset[str] = frozenset()

    def without(self, name: str, line: Sequence[Tone]) -> tuple[Tone, ...]:
        """The line of a passage without what speaks for no other note."""
        made = [self._mark_apart(name, tone) for tone in line]
        opened: list[int] = []
        for n, tone in enumerate(line):
            if tone.slurs_to and opened:
                start = opened.pop()
                if (name, line[start].onset) in self.unslurred:
                    made[start] = _without(made[start], "slur-start")
                    made[n] = _without(made[n], "slur-stop")
            if tone.slurs_from:
                opened.append(n)
        return tuple(made)

    def _mark_apart(self, name: str, tone: Tone) -> Tone:
        if (name, tone.onset) in self.notes:
            return tone._replace(marks=tone.marks & KEPT)
        return tone._replace(marks=tone.marks - WRITTEN_BY_RULES) if name in self.reread else tone

    def locks(self, name: str, line: Sequence[Tone]) -> dict[int, frozenset[str]]:
        """By tick what is printed in the line of a passage and stays in every reading."""
        return {t.onset: as_one(t.marks - KEPT) for t in line if (name, t.onset) not in self.notes}


def _without(tone: Tone, slur: str) -> Tone:
    marks = tone.marks - {slur}
    return tone._replace(
        marks=marks, slurs_from="slur-start" in marks, slurs_to="slur-stop" in marks
    )


def with_print(plan: PassagePlan, printed: Sequence[Tone], read: Sequence[Tone]) -> PassagePlan:
    """The plan with the marks that are printed where they spoke for no other note. printed, read:
    the line as it is printed, and as it was planned."""
    apart = {
        tone.onset: tone.marks - SLURS
        for tone, other in zip(printed, read, strict=True)
        if (tone.marks ^ other.marks) - SLURS
    }
    notes = []
    for note in plan.notes:
        if note.tone.onset in apart:
            marks = apart[note.tone.onset] | (note.marks & SLURS)
            note = note._replace(marks=marks, added=marks - note.tone.marks)
        notes.append(note)
    return replace(plan, notes=tuple(notes)) if apart else plan
