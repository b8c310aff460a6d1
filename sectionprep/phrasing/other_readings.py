"""Other ways to phrase a line that differ from the plan and from each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from sectionprep.phrasing.chooser import Chooser
from sectionprep.phrasing.choosing import choose_all, option_of
from sectionprep.phrasing.drafts import (
    Draft,
    Work,
)
from sectionprep.phrasing.notes import notes_of, settle
from sectionprep.phrasing.plan import PlannedNote, Reading
from sectionprep.phrasing.readings import FORCES, LEAST, NEAR, SAME, WAYS, Way

_Choosers = dict[int, Chooser]


def readings_of(
    work: Work,
    printed: str,
    planned: Sequence[PlannedNote],
    chosen: frozenset[int],
    locks: Mapping[int, frozenset[str]],
    choosers: _Choosers,
) -> tuple[Reading, ...]:
    """Other ways to phrase the line that differ from the plan and from each other, each carried
    through to the last note. work: the line without marks of the kind that rules write; planned,
    chosen: the plan, and what is brought out of the bare line; locks: what is printed, by tick.

    Which way and how far is found on the bare line; what is printed is laid over and stays."""
    known = [chosen]
    found: list[Reading] = []
    for tries in WAYS:
        way, force, other, why = _way(work, printed, choosers, tries, known)
        if other != chosen:
            known.append(other)
        copy = replace(work, drafts=[_with_print(d, locks, printed) for d in work.drafts])
        leans = _leans(copy, printed, choosers, way, force, chosen) if force else chosen
        if leans == {n for n, note in enumerate(planned) if note.leaned}:
            why = SAME
        settle(copy, leans)
        notes = (
            replace(note, tone=ours.tone, added=note.marks - ours.tone.marks)
            for note, ours in zip(notes_of(copy, leans), planned, strict=True)
        )
        found.append(
            Reading(
                name=tries[0][1].name,
                says=f"{tries[0][1].says}; {why}" if why else tries[0][1].says,
                notes=tuple(notes),
            )
        )
    return tuple(found)


def _with_print(draft: Draft, locks: Mapping[int, frozenset[str]], printed: str) -> Draft:
    """A note of the bare line with what is printed on it."""
    here = locks.get(draft.spot.tone.onset, frozenset()) if printed != "ignore" else frozenset()
    said = list(draft.said)
    return replace(draft, said=said, printed=draft.printed | here, agreed=(), agreed_length="")


def _way(
    work: Work,
    printed: str,
    choosers: _Choosers,
    tries: Sequence[tuple[float, Way]],
    known: Sequence[frozenset[int]],
) -> tuple[Way, float, frozenset[int], str]:
    """The first of these tries that is unlike all readings before (else the one that differs most;
    how far is 0 where none does), its leans, and what is to be said of it."""
    best, unlike = (tries[0][1], 0.0, known[0], ""), 0
    for force, way in tries:
        other = _leans(work, printed, choosers, way, force, known[0])
        differs = min(len(other ^ before) for before in known)
        if differs > unlike and len(other) <= way.most * len(known[0]):
            best, unlike = (way, force, other, way.further), differs
        if unlike >= LEAST:
            return best
    return *best[:3], NEAR if unlike else SAME


def _leans(
    work: Work,
    printed: str,
    choosers: _Choosers,
    way: Way,
    force: float,
    chosen: frozenset[int],
) -> frozenset[int]:
    """What is brought out on this way, gone so far, with what is printed."""
    other = _bent(work, printed, choosers, way, force, chosen)
    if way.within:
        other &= chosen | {n for n in other if _locked(work, printed, n)}
    if not way.closes and force == FORCES[-1]:
        other = frozenset(n for n in other if not _signed_by_habit(work, printed, n))
    return other


def _locked(work: Work, printed: str, n: int) -> bool:
    return option_of(work.drafts[n], printed, 0.0).locked


def _signed_by_habit(work: Work, printed: str, n: int) -> bool:
    """The last off-beat eighth before a rest, whose sign nobody has printed: it is short anyway."""
    return work.view.closes(work.drafts[n].spot) and not _locked(work, printed, n)


def _bent(
    work: Work,
    printed: str,
    choosers: _Choosers,
    way: Way,
    force: float,
    chosen: frozenset[int],
) -> frozenset[int]:
    bent = [
        replace(d, pooled=d.pooled + force * bend) if bend else d
        for d in work.drafts
        for bend in (way.bend(work.view, d.spot, chosen),)
    ]
    return choose_all(work.view, bent, printed, choosers, force * way.price)
