"""Hairpins: from where to where they run in the section, they run in every part of it."""

from __future__ import annotations

from bisect import bisect_left
from enum import Enum

from sectionprep.marking.desk import Job, removable
from sectionprep.marking.signs import direction
from sectionprep.music.hairpins import Pin
from sectionprep.music.notes import Note
from sectionprep.phrasing.plan import Hairpin


def spread_hairpins(job: Job) -> None:
    """Give the part the hairpins that the director asks for, those that hold in the section, and
    the plan's where nobody has another."""
    desk = job.desk
    for planned in job.planned.hairpins:
        if not planned.decided:
            continue
        pin = pin_of(planned)
        if pin in desk.asked[job.part]:
            _spread(job, pin, planned.why, _Claim.DECIDED)
        else:
            what = f"{pin.kind} not written: another hairpin was decided there as well"
            job.log(pin.start, "left", "", "", what, applied=False)
    for pin in job.word.hairpins():
        who = "most of the section" if job.is_lead else job.lead_name
        if not desk.asked[job.part].meeting(pin):
            _spread(job, pin, f"{who} has it", _Claim.PRINTED)
    for planned in job.planned.hairpins:
        pin = pin_of(planned)
        if not planned.decided and not any(
            desk.pins(part).meeting(pin) or desk.asked[part].meeting(pin)
            for part in job.passage.parts
        ):
            _spread(job, pin, planned.why, _Claim.PROPOSED)


class _Claim(Enum):
    """Why a hairpin is to be written: what may have to make room for it follows from that."""

    DECIDED = "the director asks for it"
    PRINTED = "it holds in the section"
    PROPOSED = "the plan proposes it"


def pin_of(planned: Hairpin) -> Pin:
    """A hairpin of the plan, as one that is printed."""
    return Pin(planned.start, planned.stop, planned.kind)


def _spread(job: Job, pin: Pin, why: str, claim: _Claim) -> None:
    desk, quarter = job.desk, job.desk.chart.resolution
    if job.word.near(job.part, pin.start) is None:
        return
    target = pin.within(job.chart.lines[job.part], job.passage.end)
    if job.word.pins(job.part).has_like(target, quarter):
        return
    in_the_way = desk.pins(job.part).meeting(target)
    if in_the_way and not _make_room(job, in_the_way, claim):
        if claim is _Claim.DECIDED:
            what = f"{pin.kind} not written: another hairpin stands there among other signs"
            job.log(pin.start, "left", "", "", what, applied=False)
        return
    ends = _ends(job, target)
    if ends is None:
        job.log(
            pin.start,
            "left",
            "",
            "",
            f"{pin.kind} not copied: it ends inside a note of this part",
            applied=False,
        )
        return
    _write(job, target, why, ends, in_the_way)


def _make_room(job: Job, in_the_way: list[Pin], claim: _Claim) -> bool:
    """Whether what is printed may go for a hairpin."""
    if claim is _Claim.DECIDED:
        return all(removable(own.signs) for own in in_the_way)
    return claim is _Claim.PRINTED and all(_may_go(job, own) for own in in_the_way)


def _may_go(job: Job, own: Pin) -> bool:
    inside = job.passage.start <= own.start and own.stop <= job.passage.end
    return (
        inside
        and removable(own.signs)
        and job.may_go(outvoted=job.word.pin_outvoted(job.part, own))
    )


def _ends(job: Job, pin: Pin) -> tuple[Note, Note, bool] | None:
    """The note before which the hairpin begins, the note at which it ends, and whether it ends
    before (not after) that note; None where no end of a note is near enough."""
    line = job.chart.lines[job.part]
    first = job.word.near(job.part, pin.start)
    at = bisect_left(line, pin.stop, key=lambda tone: tone.onset)
    notes = [
        note
        for tone in line[max(0, at - 1) : at + 1]
        for note in tone.notes
        if first is not None and note.onset >= first.onset
    ]
    places = [
        (abs(note.onset - pin.stop), False, note)
        for note in notes
        if first is not None and note.onset > first.onset
    ]
    places += [(abs(note.end - pin.stop), True, note) for note in notes]
    distance, after, last = min(places, key=lambda place: place[:2], default=(0, False, None))
    if first is None or last is None or distance >= job.desk.chart.resolution:
        return None
    return first, last, not after


def _write(
    job: Job, pin: Pin, why: str, ends: tuple[Note, Note, bool], in_the_way: list[Pin]
) -> None:
    desk, (first, last, before) = job.desk, ends
    if not desk.first_to_speak("hairpin", job.part, first.onset):
        return
    place = desk.chart.place
    was = "; ".join(
        f"{own.kind} from {place(own.start)} to {place(own.stop)}" for own in in_the_way
    )
    job.log(
        first.onset,
        "hairpin",
        was or "none",
        f"{pin.kind} to {desk.chart.end_place(pin.stop)}",
        why,
        address=first.address,
        taken=was,
    )
    if not desk.writes:
        return
    for own in in_the_way:
        desk.drop(own.signs)
    beside = desk.pins(job.part).touching(first.onset, last.onset if before else last.end)
    taken = {own.signs[0].number for own in beside if own not in in_the_way}
    free = next(
        n for n in range(1, 17) if n not in taken or n == 16
    )  # it may meet one of the part's own
    number = f' number="{free}"' if free > 1 else ""
    desk.edits[desk.front(first)].before.append(
        direction(f'<wedge type="{pin.kind}"{number}/>', "below", desk, job.part)
    )
    end = direction(f'<wedge type="stop"{number}/>', "below", desk, job.part)
    if before:
        desk.edits[desk.front(last)].before.insert(0, end)
    else:
        desk.edits[desk.back(last)].after.append(end)
