"""Slurs: the plan's go round the notes that a part repeats; what a part has otherwise stays unless
it is outvoted."""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterator
from operator import attrgetter

from sectionprep.marking.desk import Desk, Job
from sectionprep.music.chart import Part
from sectionprep.music.lines import slur_runs
from sectionprep.music.notes import Tone
from sectionprep.music.spans import Pair, Spans
from sectionprep.passages import Passage
from sectionprep.phrasing import PassagePlan, PlannedNote

_address = attrgetter("address")


def _planned_pairs(job: Job) -> list[Pair]:
    """Onsets of the first and last notes of all slurs the part shall have: what holds in the
    section, and what the plan adds."""
    at = {note.tone.onset: note for note in job.planned.notes}
    pairs = [pair for pair in job.word.slurs() if pair[0] in at and not _made_plain(at[pair[0]])]
    starts, stops = ({pair[side] for pair in pairs} for side in (0, 1))
    opened: list[int] = []
    for onset, note in at.items():
        if "slur-stop" in note.marks and opened and onset not in stops:
            pairs.append((opened.pop(), onset))
        if "slur-start" in note.marks and onset not in starts:
            opened.append(onset)
    return sorted(set(pairs))


def _made_plain(note: PlannedNote) -> bool:
    """The director wants no slur from here; any other mark on the note leaves its slur alone."""
    return note.decided and not (note.hands_off or note.marks - {"slur-stop"} or note.cutoff)


def tongued(passage: Passage, planned: PassagePlan) -> Iterator[tuple[int, int]]:
    """(part, tick) of the notes from which the director wants no slur, in no passage that shares
    them."""
    ticks = [note.tone.onset for note in planned.notes if _made_plain(note)]
    return itertools.product(passage.parts, ticks)


def mark_slurs(job: Job) -> None:
    """Give the part the plan's slurs."""
    desk, chart, part = job.desk, job.chart, job.part
    at = {note.tone.onset: note for note in job.planned.notes}
    left = {onset for onset, note in at.items() if note.hands_off}
    wanted = [pair for pair in _planned_pairs(job) if pair[0] not in left]
    has = dict.fromkeys(sorted(job.word.own_slurs(part)))
    crossing = [
        pair
        for pair in chart.slurs(part, job.passage.start)
        if pair not in has and pair[0] < job.passage.end
    ]
    runs = {
        pair: slur_runs(chart.between(part, pair[0], pair[1] + 1))
        if all(t in job.tones for t in pair)
        else []
        for pair in wanted
    }  # a note that this part repeats is tongued
    fitting = {(run[0].onset, run[-1].onset) for found in runs.values() for run in found}
    for pair in list(has):
        if pair in fitting or left & set(pair) or not all(t in at for t in pair):
            continue
        both = all(part in job.word.members(t) for t in pair)
        if job.may_go(
            outvoted=job.word.slur_outvoted(part, pair),
            decided=_made_plain(at[pair[0]]),
            member=both,
        ):
            _drop(job, pair)
            del has[pair]
    others = Spans([*has, *crossing, *desk.slurred[part]])
    for pair, found in runs.items():
        missing = [run for run in found if (run[0].onset, run[-1].onset) not in has]
        if found and not missing:
            continue
        if not missing or any(others.across(run[0].onset, run[-1].onset) for run in missing):
            if not job.is_lead:
                job.log(
                    pair[0],
                    "left",
                    "",
                    "",
                    "slur not copied: this part has another slur, a rest or a repeated note there",
                    applied=False,
                )
            continue
        for run in missing:
            if (part, run[0].onset) in desk.tongued:
                continue
            _add(
                job,
                at[run[0].onset].why if run[0].onset in at else "",
                run[0],
                run[-1],
                cut=(run[0].onset, run[-1].onset) != pair,
            )


def _add(job: Job, why: str, first: Tone, last: Tone, *, cut: bool) -> None:
    """cut: the lead's slur goes over a note that is repeated here."""
    desk, chart, part = job.desk, job.chart, job.part
    if cut:
        why += "; the repeated note is tongued"
    if chart.parts[part].chair.instrument.key in ("trombone", "bass-trombone"):
        why += (
            "; trombone: the slur is a phrase, legato tongue where slide and line go the same way"
        )
    job.log(
        first.onset,
        "slur",
        "no slur",
        f"slur to {chart.place(last.onset)}",
        why,
        address=first.head.address,
    )
    desk.slurred[part].append((first.onset, last.onset))
    if desk.writes:
        number = _free_number(desk, part, first, last)
        desk.edits[desk.carrier(first, first.head)].slur_start = number
        desk.edits[desk.carrier(last, last.head)].slur_stop = number


def _free_number(desk: Desk, part: int, first: Tone, last: Tone) -> int:
    """A number that no slur has which is open, in the order of the document, between these notes
    or ends on one of them: so any reader can tell them apart (MusicXML 4.0, slur: number)."""
    if part not in desk.numbered:
        desk.numbered[part] = _numbered(desk.chart.parts[part])
    spans, numbers = desk.numbered[part]
    begin, end = desk.front(first.head), desk.back(last.head) + 1
    used = {n for pair in spans.across(begin, end) for n in numbers[pair]}
    used |= numbers.get((begin, end), set())
    return next(n for n in range(1, 17) if n not in used or n == 16)


def _numbered(part: Part) -> tuple[Spans, dict[Pair, set[int]]]:
    """All slurs of a part, of every voice, as (address of its first note, one past its last); and
    the numbers of each. One without an end is open to the end of the part."""
    notes = sorted((n for n in part.notes if n.slur_starts or n.slur_stops), key=_address)
    begun: dict[int, int] = {}
    numbers: dict[Pair, set[int]] = defaultdict(set)
    for note in notes:
        for number in note.slur_stops:
            numbers[begun.pop(number, note.address), note.address + 1].add(number)
        begun.update(dict.fromkeys(note.slur_starts, note.address))
    for number, start in begun.items():
        numbers[start, part.notes[-1].address + 1].add(number)
    return Spans(numbers), dict(numbers)


def _drop(job: Job, pair: Pair) -> None:
    desk, part = job.desk, job.part
    words = f"slur to {desk.chart.place(pair[1])}"
    why = f"{job.lead_name} and most of the section slur otherwise here"
    if job.is_lead or job.desk.overrules:
        why = "as planned"
    job.log(
        pair[0],
        "slur",
        words,
        "no slur",
        why,
        address=job.tones[pair[0]].head.address,
        taken=words,
    )
    for slur in job.chart.whole_slurs(part) if desk.writes else ():
        if (slur.start, slur.stop) == pair:
            desk.edits[slur.first].drop_starts.add(slur.number)
            desk.edits[slur.last].drop_stops.add(slur.number)
