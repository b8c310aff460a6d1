"""Other ways to phrase a line that differ from the plan and from each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from sectionprep.phrasing.chooser import Chooser
from sectionprep.phrasing.choosing import choose_all, option_of
from sectionprep.phrasing.drafts import (
    Work,
)
from sectionprep.phrasing.notes import notes_of, settle
from sectionprep.phrasing.plan import Reading
from sectionprep.phrasing.readings import FORCES, LEAST, NEAR, SAME, WAYS, Way


def readings_of(
    work: Work, printed: str, chosen: frozenset[int], choosers: dict[int, Chooser]
) -> tuple[Reading, ...]:
    """Other ways to phrase the line that differ from the plan and from each other, each carried
    through to the last note."""
    found: list[Reading] = []
    known = [chosen]
    for tries in WAYS:
        way = tries[0][1]
        other, why = _other_leans(work, printed, choosers, tries, known)
        if other != chosen:
            known.append(other)
        copy = replace(
            work,
            drafts=[
                replace(d, said=list(d.said), agreed=(), agreed_length="") for d in work.drafts
            ],
        )
        settle(copy, other)
        found.append(
            Reading(
                name=way.name,
                says=f"{way.says}; {why}" if why else way.says,
                notes=tuple(notes_of(copy, other)),
                differs=len(other ^ chosen),
            )
        )
    return tuple(found)


def _other_leans(
    work: Work,
    printed: str,
    choosers: dict[int, Chooser],
    tries: Sequence[tuple[float, Way]],
    known: Sequence[frozenset[int]],
) -> tuple[frozenset[int], str]:
    """The first leans of these tries that are unlike all readings before (else those that differ
    most), and what is to be said of them."""
    best, unlike, said = known[0], 0, ""
    for force, way in tries:
        other = _bent(work, printed, choosers, way, force, known[0])
        other = other & known[0] if way.within else other
        if not way.closes and force == FORCES[-1]:
            other = frozenset(n for n in other if not _signed_by_habit(work, printed, n))
        differs = min(len(other ^ before) for before in known)
        if differs > unlike and len(other) <= way.most * len(known[0]):
            best, unlike, said = other, differs, way.further
        if unlike >= LEAST:
            return best, said
    return best, NEAR if unlike else SAME


def _signed_by_habit(work: Work, printed: str, n: int) -> bool:
    """The last off-beat eighth before a rest, whose sign nobody has printed: it is short anyway."""
    draft = work.drafts[n]
    return work.view.closes(draft.spot) and not option_of(draft, printed, 0.0).locked


def _bent(
    work: Work,
    printed: str,
    choosers: dict[int, Chooser],
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
