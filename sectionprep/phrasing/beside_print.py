"""A finished plan beside what is printed in all parts of the passage.

The lines were planned on what holds in the section (`music/section_word.py`). Here each note is the
lead's own again, and what the plan adds gives way where some part has something printed that
contradicts it: there the arranger has spoken.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from sectionprep.music.marks import BREATHS, ORNAMENTS, SLURS, as_one, contradict, say
from sectionprep.music.notes import Tone
from sectionprep.music.section_word import SectionWord
from sectionprep.phrasing.plan import PassagePlan, PlannedNote


def beside_print(word: SectionWord, planned: PassagePlan, printed: str) -> PassagePlan:
    """The plan of one passage as it goes to the parts. printed: "keep", or how else the director
    wants printed marks treated."""
    if not planned.notes:
        return planned
    notes = list(planned.notes)
    if printed == "keep":
        notes = _without_crossed_slurs(word, [_beside(word, note) for note in notes])
    own = word.chart.between(planned.part, notes[0].tone.onset, notes[-1].tone.onset + 1)
    return replace(
        planned, notes=tuple(_the_leads(note, tone) for note, tone in zip(notes, own, strict=True))
    )


def shared_notes(words: Mapping[str, SectionWord]) -> dict[str, dict[int, str]]:
    """By passage: ticks at which its lead's note belongs to an earlier passage too, and that
    passage."""
    owner: dict[int, str] = {}  # by address of the note
    found: dict[str, dict[int, str]] = {}
    for name, word in words.items():
        for tick, tone in word.tones[word.passage.lead].items():
            first = owner.get(tone.head.address)
            if first is not None:
                found.setdefault(name, {})[tick] = first
            for part in word.striking(tick):
                owner.setdefault(word.tones[part][tick].head.address, name)
    return found


def alike(
    plan: PassagePlan,
    word: SectionWord,
    shared: Mapping[int, str],
    plans: Mapping[str, PassagePlan],
) -> PassagePlan:
    """The plan with the marks of the earlier passage on the notes that belong to both. shared: by
    tick, that passage."""
    known = {
        name: {note.tone.onset: note for note in plans[name].notes}
        for name in set(shared.values())
        if name in plans
    }
    notes = list(plan.notes)
    for n, note in enumerate(notes):
        tick = note.tone.onset
        theirs = known.get(shared.get(tick, ""), {}).get(tick)
        if theirs is not None:
            holds = word.marks(tick)
            marks = (
                holds
                | {m for m in theirs.marks - SLURS if not any(contradict(m, h) for h in holds)}
                | (note.marks & SLURS)
            )
            notes[n] = (
                note._replace(marks=marks, added=marks - note.tone.marks, why=theirs.why)
                if marks != note.marks
                else note
            )
    return replace(plan, notes=tuple(notes))


def carrying(line: Sequence[Tone], planned: PassagePlan) -> tuple[Tone, ...]:
    """A line as it is read when the plan's marks stand in it."""
    made = []
    for tone, note in zip(line, planned.notes, strict=True):
        marks = as_one(note.marks - ORNAMENTS)
        made.append(
            tone._replace(
                marks=marks, slurs_from="slur-start" in marks, slurs_to="slur-stop" in marks
            )
        )
    return tuple(made)


def joined(plan: PassagePlan, again: PassagePlan) -> PassagePlan:
    """A plan with what another look at it adds. again: made from a line that carries the first
    plan's marks."""
    notes = []
    for note, more in zip(plan.notes, again.notes, strict=True):
        new = more.marks - note.marks
        why = (
            "; ".join(
                dict.fromkeys(
                    piece for piece in more.why.split("; ") if not piece.startswith("printed in")
                )
            )
            if new
            else note.why
        )
        seen = more if new else note  # what is new may bring the note out, or make it short
        notes.append(
            note._replace(
                marks=note.marks | new,
                added=note.added | new,
                why=why,
                leaned=seen.leaned,
                length=seen.length,
            )
        )
    return replace(plan, notes=tuple(notes))


def _beside(word: SectionWord, note: PlannedNote) -> PlannedNote:
    """The note without our marks where some part has others printed."""
    tick, ours = note.tone.onset, note.added - SLURS - BREATHS
    part = word.against(tick, note.marks - SLURS) if ours else None
    if part is None:
        return note
    theirs = say(word.tones[part][tick].marks - SLURS)
    return note._replace(
        marks=note.marks - ours,
        added=note.added - ours,
        lost=f"left as printed: {word.chart.parts[part].label} has {theirs} here",
    )


def _without_crossed_slurs(word: SectionWord, notes: Sequence[PlannedNote]) -> list[PlannedNote]:
    """The notes without the slurs of ours that a printed slur of some part crosses."""
    made = list(notes)
    start = -1
    for n, note in enumerate(notes):
        if start >= 0 and "slur-stop" in note.added:
            if word.slurred_otherwise((notes[start].tone.onset, note.tone.onset)):
                for at, end in ((start, "slur-start"), (n, "slur-stop")):
                    made[at] = made[at]._replace(
                        marks=made[at].marks - {end}, added=made[at].added - {end}
                    )
            start = -1
        if "slur-start" in note.added:
            start = n
    return made


def _the_leads(note: PlannedNote, tone: Tone) -> PlannedNote:
    """The note on the lead's own tone, which may lack what most of the section has printed."""
    from_section = not tone.marks - ORNAMENTS and note.tone.marks
    why = (
        note.why.replace("printed in the lead", "printed in most of the section")
        if from_section
        else note.why
    )
    return note._replace(tone=tone, added=note.marks - tone.marks, why=why)
