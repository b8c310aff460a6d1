"""From plan to edits.

Stated rules:
- A mark on the attack goes to the first note of a tie, a fall, doit or breath to the last.
- Of a chord (divisi, two players on a staff) the first note in the document carries the mark for all.
- Grace notes get nothing: the mark is on their main note.
- A part that does not strike where the lead does gets nothing there, and the change list says so.
- A trombone keeps a copied slur; the change list reminds of the legato tongue (W. Barrett, Playing the
  Trombone: a notated slur does not mean untongued).
- A shake belongs to the lead trumpet; lower parts trill with the valve, so it is not copied
  (after Reinhardt, The Shake).
- Slash bars get nothing, unless asked for: then words name the beats of the horns' hits (rhythm_hits.py).
- Cut-offs, dynamics and hairpins spread inside the passage only.
"""

from __future__ import annotations

import itertools
from bisect import bisect_left, bisect_right
from collections import defaultdict
from dataclasses import dataclass, field
from operator import attrgetter

from sectionprep.errors import BadArgument
from sectionprep.marking import signs
from sectionprep.marking.changes import Change, Marking
from sectionprep.marking.rhythm_hits import write_hits
from sectionprep.music.chart import Chart, Note, Tone
from sectionprep.music.lines import slur_runs
from sectionprep.music.marks import BREATHS, BY_NAME, EFFECTS, SLURS, contradict, say
from sectionprep.musicxml.insertions import NoteEdit
from sectionprep.passages import Passage, Together
from sectionprep.phrasing import PassagePlan, Plan, PlannedNote

SECTION_POLICIES = ("add", "match", "report")
#: marks that stand where the sound ends
_AT_THE_END = (EFFECTS | BREATHS) - {"scoop", "plop", "rip", "shake", "trill-mark", "turn"}
_LEAD_ONLY = frozenset({"shake"})


@dataclass(slots=True)
class Desk:
    """The work on one chart: where edits and changes gather."""

    chart: Chart
    policy: str
    edits: dict[int, NoteEdit] = field(default_factory=lambda: defaultdict(NoteEdit))
    dropped: set[int] = field(default_factory=set)
    changes: list[Change] = field(default_factory=list)
    tones: list[dict[int, Tone]] = field(default_factory=list)
    chord_heads: list[dict[tuple[int, str], int]] = field(default_factory=list)
    cutoffs: dict[int, set[int]] = field(default_factory=lambda: defaultdict(set))
    proposed: dict[int, set[int]] = field(default_factory=lambda: defaultdict(set))
    marked: dict[int, set[int]] = field(default_factory=lambda: defaultdict(set))

    def __post_init__(self) -> None:
        self.tones = [{tone.onset: tone for tone in line} for line in self.chart.lines]
        self.chord_heads = [
            {(n.onset, n.voice): n.address for n in part.notes
             if not n.is_chord and not n.is_grace and not n.is_cue and not n.is_rest}
            for part in self.chart.parts
        ]

    @property
    def writes(self) -> bool:
        """False under policy "report"."""
        return self.policy != "report"

    def address(self, note: Note) -> int:
        """Where marks for this note go: the first note of its chord."""
        return self.chord_heads[note.part].get((note.onset, note.voice), note.address)

    def log(self, part: int, tick: int, kind: str, was: str, now: str, why: str, passage: str, address: int = -1,
            applied: bool | None = None) -> None:
        """Add a line to the change list."""
        self.changes.append(Change(
            part=part, tick=tick, kind=kind, was=was, now=now, why=why, passage=passage, address=address,
            applied=self.writes if applied is None else applied))


def mark_chart(
    chart: Chart, together: Together, plan: Plan, *, section: str = "match", rhythm_hits: bool = False
) -> Marking:
    """Edits that give every part of every passage the plan's marks. section: add, match or report. rhythm_hits: slash
    bars of the rhythm section say on which beats the horns hit."""
    if section not in SECTION_POLICIES:
        raise BadArgument(f"there is no section policy {section!r}.",
                          remedy=f"Choose one of: {', '.join(SECTION_POLICIES)}.")
    desk = Desk(chart=chart, policy=section)
    for passage in together.marked:
        planned = plan.of(passage.id)
        if planned is not None:
            for part in passage.parts:
                _mark_part(desk, passage, planned, part)
    if rhythm_hits:
        write_hits(desk, together, plan)
    edits = {address: edit for address, edit in desk.edits.items() if edit != NoteEdit()}
    changes = sorted(desk.changes, key=lambda c: (c.part, c.tick, c.kind, c.now))
    return Marking(edits=edits, dropped=frozenset(desk.dropped), changes=tuple(changes))


def _mark_part(desk: Desk, passage: Passage, planned: PassagePlan, part: int) -> None:
    is_lead = part == passage.lead
    silent: list[int] = []
    for note in planned.notes:
        tone = desk.tones[part].get(note.tone.onset)
        if tone is None:
            if note.marks - SLURS:
                silent.append(note.tone.onset)
            continue
        if note.hands_off:
            desk.marked[part].add(tone.onset)
            continue
        _mark_tone(desk, passage, note, tone, part, is_lead)
        if note.cutoff is not None and tone.end == note.tone.end:
            signs.write_cutoff(desk, passage, tone, part, note.cutoff, note.release)
    _mark_slurs(desk, passage, planned, part, is_lead)
    if not is_lead:
        signs.spread_dynamics(desk, passage, part)
    signs.propose_dynamics(desk, passage, planned, part)
    signs.spread_hairpins(desk, passage, planned, part)
    if silent:
        desk.log(part, silent[0], "left", "", "", f"does not strike with the lead at {len(silent)} marked "
                 f"place{'s' if len(silent) > 1 else ''}: nothing written there", passage.id, applied=False)


def _wanted(note: PlannedNote, is_lead: bool) -> frozenset[str]:
    marks = note.marks - SLURS
    return marks if is_lead else marks - _LEAD_ONLY


def _mark_tone(desk: Desk, passage: Passage, note: PlannedNote, tone: Tone, part: int, is_lead: bool) -> None:
    if tone.onset in desk.marked[part]:
        return  # a passage and a hit beside it share this note: the passage has spoken
    desk.marked[part].add(tone.onset)
    has = tone.marks - SLURS
    wanted = _wanted(note, is_lead)
    if not is_lead and note.marks & _LEAD_ONLY:
        desk.log(part, tone.onset, "left", "", "", f"{say(note.marks & _LEAD_ONLY)}: for the lead alone", passage.id, applied=False)
    add = wanted - has
    extra = has - wanted - _LEAD_ONLY
    if desk.policy == "add" and not is_lead:
        add = frozenset(m for m in add if not any(contradict(m, other) for other in has))
        extra = frozenset()
    if not add and not extra:
        return
    why = note.why if is_lead else f"as {desk.chart.parts[passage.lead].label}: {note.why}"
    if extra and not is_lead:
        has_none = "none here: taken out" if not wanted else f"{say(wanted)} here"
        why = f"{desk.chart.parts[passage.lead].label} has {has_none}"
    head, last = desk.address(tone.head), desk.address(tone.notes[-1])
    desk.log(part, tone.onset, "marks", say(has), say((has - extra) | add), why, passage.id, head)
    if not desk.writes:
        return
    for mark in add:
        desk.edits[last if mark in _AT_THE_END else head].add.add(mark)
    for mark in extra:
        for tied in tone.notes:
            spoken = {mark}
            if mark == "detached-legato" and mark in tied.marks:
                spoken |= {"tenuto", "staccato"}
            if mark in tied.marks:
                desk.edits[_carrier(desk, tied, mark)].remove |= spoken & set(BY_NAME)


def _carrier(desk: Desk, note: Note, mark: str) -> int:
    return note.address if mark in note.marks else desk.address(note)


# -- slurs --------------------------------------------------------------------------------------------


def _slur_pairs(note_marks: list[tuple[int, frozenset[str]]]) -> list[tuple[int, int]]:
    """(start, stop) onsets, innermost last begun first ended."""
    open_slurs: list[int] = []
    pairs: list[tuple[int, int]] = []
    for onset, marks in note_marks:
        if "slur-stop" in marks and open_slurs:
            pairs.append((open_slurs.pop(), onset))
        if "slur-start" in marks:
            open_slurs.append(onset)
    return sorted(pairs)


def _mark_slurs(desk: Desk, passage: Passage, planned: PassagePlan, part: int, is_lead: bool) -> None:
    at = {n.tone.onset: n for n in planned.notes}
    left = {onset for onset, n in at.items() if n.hands_off}
    wanted = [pair for pair in _slur_pairs([(onset, n.marks) for onset, n in at.items()]) if pair[0] not in left]
    own = desk.chart.slurs(part)
    has = dict.fromkeys((a, b) for a, b in own if passage.start <= a and b < passage.end)
    crossing = [(a, b) for a, b in own if (a, b) not in has and a < passage.end and b >= passage.start]
    runs = {pair: slur_runs(desk.chart.between(part, pair[0], pair[1] + 1)) if all(t in desk.tones[part] for t in pair) else []
            for pair in wanted}  # a note that this part repeats is tongued
    fitting = {(run[0].onset, run[-1].onset) for found in runs.values() for run in found}
    if desk.policy != "add" or is_lead:
        for pair in list(has):
            if pair not in fitting and not left & set(pair) and all(t in at for t in pair):
                _drop_slur(desk, passage, part, pair)
                del has[pair]
    others = sorted([*has, *crossing])
    begins, reach = [a for a, _ in others], list(itertools.accumulate((b for _, b in others), max))

    def clashes(run: list[Tone]) -> bool:
        """With a slur that begins before this one ends and ends after it begins."""
        before = bisect_left(begins, run[-1].onset)
        return before > 0 and reach[before - 1] > run[0].onset

    for pair, found in runs.items():
        missing = [run for run in found if (run[0].onset, run[-1].onset) not in has]
        if found and not missing:
            continue
        if not missing or any(clashes(run) for run in missing):
            desk.log(part, pair[0], "left", "", "", "slur not copied: this part has another slur, a rest or a "
                     "repeated note there", passage.id, applied=False)
            continue
        for run in missing:
            _add_slur(desk, passage, at[run[0].onset].why if run[0].onset in at else "", part, run[0], run[-1],
                      cut=(run[0].onset, run[-1].onset) != pair)


def _add_slur(desk: Desk, passage: Passage, why: str, part: int, first: Tone, last: Tone, *, cut: bool) -> None:
    """cut: the lead's slur goes over a note that is repeated here."""
    chart = desk.chart
    if cut:
        why += "; the repeated note is tongued"
    if chart.parts[part].chair.instrument.key in ("trombone", "bass-trombone"):
        why += "; trombone: the slur is a phrase, legato tongue where slide and line go the same way"
    until = chart.place(last.onset)
    desk.log(part, first.onset, "slur", "no slur", f"slur to {until}", why, passage.id, first.head.address)
    if desk.writes:
        number = _free_number(chart, part, first, last)
        desk.edits[desk.address(first.head)].slur_start = number
        desk.edits[desk.address(last.head)].slur_stop = number


_bar = attrgetter("bar")


def _free_number(chart: Chart, part: int, first: Tone, last: Tone) -> int:
    used: set[int] = set()
    notes = chart.parts[part].notes
    begin = bisect_left(notes, first.bar, key=_bar)
    for note in notes[begin : bisect_right(notes, chart.bar_at(last.end).index, begin, key=_bar)]:
        if first.onset <= note.onset <= last.end:
            used.update(note.slur_starts)
            used.update(note.slur_stops)
    return next(n for n in range(1, 17) if n not in used or n == 16)


def _drop_slur(desk: Desk, passage: Passage, part: int, pair: tuple[int, int]) -> None:
    first, last = desk.tones[part][pair[0]], desk.tones[part][pair[1]]
    lead = desk.chart.parts[passage.lead].label
    desk.log(part, pair[0], "slur", f"slur to {desk.chart.place(pair[1])}", "no slur",
             f"{lead} slurs otherwise here", passage.id, first.head.address)
    if not desk.writes:
        return
    for note in first.notes:
        if note.slur_starts:
            desk.edits[note.address].drop_slur_start = True
    for note in last.notes:
        if note.slur_stops:
            desk.edits[note.address].drop_slur_stop = True
