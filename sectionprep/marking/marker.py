"""From plan to edits.

Stated rules:
- A mark on the attack goes to the first note of a tie, a fall, doit or breath to the last.
- Of a chord (divisi, two players on a staff) one note carries the mark for all: the first in the
  document, or the last where
  the file itself puts marks there. It is written only if no note of the chord has it.
- Grace notes get nothing: the mark is on their main note.
- A part that does not strike where the lead does gets nothing there, and the change list says so.
- A trombone keeps a copied slur; the change list reminds of the legato tongue (W. Barrett, Playing
  the
  Trombone: a notated slur does not mean untongued).
- Ornaments change the notes: trills, turns, tremolos are never copied, and a shake belongs to the
  lead trumpet; lower parts
  trill with the valve (after Reinhardt, The Shake).
- Two players on one staff: the second, on stems of his own, gets what the first gets where they
  play together.
- A guest of a passage gets its marks where it plays with the lead, after all passages and hits.
- Slash bars get nothing: what the horns hit stands over them on the sheets alone.
- Cut-offs, dynamics and hairpins spread inside the passage only.
- What is printed stays, but for what desk.py allows; what contradicts something that stays is not
  written.
"""

from __future__ import annotations

from collections.abc import Sequence

from sectionprep.errors import BadArgument
from sectionprep.marking import hairpins, signs, slurs
from sectionprep.marking.changes import Marking
from sectionprep.marking.copied_words import copy_words
from sectionprep.marking.desk import SECTION_POLICIES, Desk, Job
from sectionprep.marking.guests import guest_job
from sectionprep.music.chart import Chart
from sectionprep.music.lines import lower_notes
from sectionprep.music.marks import BREATHS, BY_NAME, EFFECTS, ORNAMENTS, SLURS, contradict, say
from sectionprep.music.notes import Tone
from sectionprep.music.section_word import SectionWord
from sectionprep.musicxml.editing.note_text import NoteEdit
from sectionprep.passages import Passage, Together
from sectionprep.passages.model import VISIT, is_in
from sectionprep.phrasing import PassagePlan, Plan, PlannedNote

#: marks that stand where the sound ends
_AT_THE_END = (EFFECTS | BREATHS) - {"scoop", "plop", "rip"}


def mark_chart(
    chart: Chart,
    together: Together,
    plan: Plan,
    *,
    section: str = "match",
    copied: Sequence[str] = (),
) -> Marking:
    """Edits that give every part of every passage the plan's marks. section: add, match or report.
    copied:
    instructions to be written into every part that they concern, as a plan file names them."""
    if section not in SECTION_POLICIES:
        raise BadArgument(
            f"there is no section policy {section!r}.",
            remedy=f"Choose one of: {', '.join(SECTION_POLICIES)}.",
        )
    overrules = plan.printed != "keep"
    desk = Desk(chart=chart, policy=section, overrules=overrules, apart=together.apart)
    words: dict[str, SectionWord] = {}
    planned_for = [
        (passage, planned)
        for passage in together.marked
        if (planned := plan.of(passage.id)) is not None
    ]
    for passage, planned in planned_for:
        _note_what_is_asked(desk, passage, planned)
    for passage, planned in planned_for:
        words[passage.id] = word = SectionWord(chart, passage)
        for part in passage.parts:
            _mark_part(Job(desk=desk, passage=passage, planned=planned, word=word, part=part))
    for visit in together.visits:
        name = visit.id.partition(VISIT)[0]
        planned = plan.of(name)
        if planned is not None:
            _mark_part(guest_job(desk, visit, planned, words[name]))
    for planned in plan.own:
        passage = _alone(chart, planned)
        word = SectionWord(chart, passage)
        job = Job(desk=desk, passage=passage, planned=planned, word=word, part=planned.part)
        for note in planned.notes:
            if not note.hands_off:
                _mark_tone(job, note, note.tone)
            if note.cutoff is not None:
                signs.write_cutoff(job, note.tone, note.cutoff, note.release)
    copy_words(desk, copied)
    edits = {address: edit for address, edit in desk.edits.items() if edit != NoteEdit()}
    for address in lower_notes(chart) & edits.keys():
        edits[address].below = True
    changes = sorted(desk.changes, key=lambda c: (c.part, c.tick, c.kind, c.now))
    return Marking(edits=edits, dropped=frozenset(desk.dropped), changes=tuple(changes))


def _note_what_is_asked(desk: Desk, passage: Passage, planned: PassagePlan) -> None:
    """What the director wants goes before what any passage proposes that shares a part with it."""
    desk.tongued.update(slurs.tongued(passage, planned))
    for pin in (hairpins.pin_of(h) for h in planned.hairpins if h.decided):
        for part in passage.parts:
            if not desk.asked[part].meeting(pin):
                desk.asked[part].add(pin)


def _alone(chart: Chart, planned: PassagePlan) -> Passage:
    """What a part plays by itself, as a passage of one."""
    first, last = planned.notes[0].tone, planned.notes[-1].tone
    return Passage(
        id=planned.id,
        texture="alone",
        start=first.onset,
        end=last.end,
        parts=(planned.part,),
        lead=planned.part,
        lead_why="nobody else plays it",
        attacks=tuple(note.tone.onset for note in planned.notes),
        confidence=1.0,
        scope=planned.lead(chart),
        seconds=frozenset({planned.part}) if planned.second else frozenset(),
    )


def _mark_part(job: Job) -> None:
    silent: list[int] = []
    for note in job.planned.notes:
        tone = job.tones.get(note.tone.onset)
        if tone is None:
            if note.marks - SLURS:
                silent.append(note.tone.onset)
            continue
        first = job.desk.first_to_speak("marks", job.part, job.desk.front(tone.head))
        if note.hands_off:
            continue
        if first:
            _mark_tone(job, note, tone)
            if job.part not in job.passage.seconds:
                _mark_second_player(job, note, tone)
        if note.cutoff is not None and tone.end == note.tone.end:
            signs.write_cutoff(job, tone, note.cutoff, note.release)
    slurs.mark_slurs(job)
    signs.decided_dynamics(job)
    signs.spread_dynamics(job)
    signs.propose_dynamics(job)
    hairpins.spread_hairpins(job)
    if silent:
        job.log(
            silent[0],
            "left",
            "",
            "",
            f"does not strike with the lead at {len(silent)} marked "
            f"place{'s' if len(silent) > 1 else ''}: nothing written there",
            applied=False,
        )


def _mark_tone(job: Job, note: PlannedNote, tone: Tone) -> None:
    has = tone.marks - SLURS
    wanted = note.marks - SLURS
    ornaments = wanted & ORNAMENTS  # there are any only where the director has asked for them
    if not job.is_lead and ornaments:
        wanted -= ornaments
        job.log(tone.onset, "left", "", "", f"{say(ornaments)}: for the lead alone", applied=False)
    gone = frozenset(mark for mark in has - wanted - ORNAMENTS if _may_go(job, note, tone, mark))
    stays = has - gone
    add = frozenset(
        mark for mark in wanted - has if not any(contradict(mark, other) for other in stays)
    )
    if not add and not gone:
        return
    desk = job.desk
    job.log(
        tone.onset,
        "marks",
        say(has),
        say(stays | add),
        _why(job, note, gone),
        address=desk.carrier(tone, tone.head),
        taken=say(gone) if gone else "",
    )
    if not desk.writes:
        return
    for mark in add:
        desk.edits[
            desk.carrier(tone, tone.notes[-1] if mark in _AT_THE_END else tone.head)
        ].add.add(mark)
    for member in tone.chord:
        for mark in gone & member.marks:
            pair = (
                {"tenuto", "staccato"} if mark == "detached-legato" else set()
            )  # written as one or as two
            desk.edits[member.address].remove |= ({mark} | pair) & set(BY_NAME)


def _mark_second_player(job: Job, note: PlannedNote, tone: Tone) -> None:
    """Who shares the staff on a stem of his own has the same marks as the first player where both
    play together, with nothing of his own taken out, unless he has a passage of his own there.
    Common practice, no source."""
    second = job.desk.seconds.get(job.part, {}).get(tone.onset)
    if second is None or is_in(job.desk.apart, job.part, tone.onset):
        return
    if not job.desk.first_to_speak("marks", job.part, job.desk.front(second.head)):
        return
    has, wanted = second.marks - SLURS, note.marks - SLURS - ORNAMENTS
    add = frozenset(
        mark for mark in wanted - has if not any(contradict(mark, other) for other in has)
    )
    if not add:
        return
    desk = job.desk
    why = f"second player on the staff, with the first: {note.why}"
    address = desk.carrier(second, second.head)
    job.log(tone.onset, "marks", say(has), say(has | add), why, address=address)
    for mark in add if desk.writes else ():
        at = second.notes[-1] if mark in _AT_THE_END else second.head
        desk.edits[desk.carrier(second, at)].add.add(mark)


def _may_go(job: Job, note: PlannedNote, tone: Tone, mark: str) -> bool:
    if mark in BREATHS and not note.decided:
        return False
    return job.may_go(
        outvoted=job.word.outvoted(job.part, tone.onset, mark),
        decided=note.decided,
        member=job.part in job.word.members(tone.onset),
    )


def _why(job: Job, note: PlannedNote, gone: frozenset[str]) -> str:
    if not gone or job.is_lead or note.decided or job.desk.overrules:
        return note.why if job.is_lead else f"as {job.lead_name}: {note.why}"
    holds = job.word.marks(note.tone.onset)
    return f"{job.lead_name} and most of the section have {say(holds)} here"
