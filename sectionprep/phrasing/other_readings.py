"""Other ways to phrase a line that differ from the plan and from each other."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from sectionprep.music.marks import as_one
from sectionprep.phrasing.chooser import Chooser
from sectionprep.phrasing.choosing import Claims, choose_all, claims_of
from sectionprep.phrasing.drafts import (
    Draft,
    Work,
)
from sectionprep.phrasing.notes import notes_of, settle
from sectionprep.phrasing.plan import PlannedNote, Reading
from sectionprep.phrasing.readings import FORCES, LEAST, NEAR, SAME, WAYS, Way

_Choosers = dict[int, Chooser]
_Tries = Sequence[tuple[float, Way]]


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
    chosen: the plan, and what is brought out of the bare line; locks: what is printed, by tick,
    which stays in every reading. A line in which a reading is printed gets that one again."""
    desk = _Desk(work, locks, printed, chosen, choosers)
    bare, known = [chosen], [chosen | desk.there]
    found: list[Reading] = []
    for tries in WAYS:
        other, why = desk.reading(tries, bare, known)
        if other == {n for n, note in enumerate(planned) if note.leaned}:
            why = SAME
        copy = replace(work, drafts=[replace(d, said=list(d.said)) for d in desk.printed.drafts])
        settle(copy, other)
        notes = (
            note._replace(tone=ours.tone, added=as_one(note.marks - ours.tone.marks))
            for note, ours in zip(notes_of(copy, other), planned, strict=True)
        )
        found.append(
            Reading(
                name=tries[0][1].name,
                says=f"{tries[0][1].says}; {why}" if why else tries[0][1].says,
                notes=tuple(notes),
            )
        )
    return tuple(found)


class _Desk:
    """A line without and with what is printed. there: the leans that are printed."""

    def __init__(
        self,
        bare: Work,
        locks: Mapping[int, frozenset[str]],
        how: str,
        chosen: frozenset[int],
        choosers: _Choosers,
    ) -> None:
        self._view, self._chosen, self._choosers = bare.view, chosen, choosers
        self.printed = replace(bare, drafts=[_with_print(d, locks, how) for d in bare.drafts])
        self._bare_claims = claims_of(bare.view, bare.drafts, how)
        self._claims = claims_of(bare.view, self.printed.drafts, how)
        self._bends: dict[object, tuple[float, ...]] = {}
        self.there = frozenset(n for n, there in enumerate(self._claims.locked) if there)
        self._is_read = 2 * len(self.there) >= len(chosen) and self.there != chosen

    def reading(
        self, tries: _Tries, bare: list[frozenset[int]], known: list[frozenset[int]]
    ) -> tuple[frozenset[int], str]:
        """What is brought out in one reading, and what is to be said of it. bare, known: the
        readings before, without and with what is printed, the plan first; this one is added.

        Where it stands printed already, that; else on the way that is unlike them on the bare
        line; else, where what is printed makes that the plan itself, on one that is unlike them
        with it."""
        if self._is_read:
            for force, way in tries:
                if self._leans(self._claims, way, force) == self.there:
                    return self.there, _said(self.there, way, known)
        force, way, found = self._unlike(self._bare_claims, tries, bare)
        bare.append(found)
        other = self._leans(self._claims, way, force) if force else known[0]
        if other == known[0]:
            force, way, other = self._unlike(self._claims, tries, known)
        why = _said(other, way, known)
        known.append(other)
        return other, why

    def _unlike(
        self, claims: Claims, tries: _Tries, known: Sequence[frozenset[int]]
    ) -> tuple[float, Way, frozenset[int]]:
        """How far, the way, and its leans: of the first that are unlike all readings before, else
        of those that differ most; 0 for how far where none does."""
        best, unlike = (0.0, tries[0][1], known[0]), 0
        for force, way in tries:
            other = self._leans(claims, way, force)
            differs = min(len(other ^ before) for before in known)
            if differs > unlike and len(other) <= way.most * len(known[0]):
                best, unlike = (force, way, other), differs
            if unlike >= LEAST:
                break
        return best

    def _leans(self, claims: Claims, way: Way, force: float) -> frozenset[int]:
        """What is brought out on this way, gone so far, with what is printed."""
        bends = [force * bend for bend in self._bent(way)]
        other = choose_all(self._view, claims, self._choosers, force * way.price, bends)
        if way.within:
            other &= self._chosen | {n for n in other if claims.locked[n]}
        if not way.closes and force == FORCES[-1]:
            # the last off-beat eighth before a rest is short anyway, without a sign
            spots = self._view.spots
            other -= {n for n in other if self._view.closes(spots[n]) and not claims.locked[n]}
        return other

    def _bent(self, way: Way) -> tuple[float, ...]:
        """What a way adds to the evidence of each note."""
        found = self._bends.get(way.bend)
        if found is None:
            found = tuple(way.bend(self._view, spot, self._chosen) for spot in self._view.spots)
            self._bends[way.bend] = found
        return found


def _said(leans: frozenset[int], way: Way, known: Sequence[frozenset[int]]) -> str:
    """What is to be said of a reading beside what it is. known: the ones before, the plan first."""
    if leans == known[0]:
        return SAME
    return way.further if min(len(leans ^ other) for other in known) >= LEAST else NEAR


def _with_print(draft: Draft, locks: Mapping[int, frozenset[str]], printed: str) -> Draft:
    """A note of the bare line with what is printed on it."""
    here = locks.get(draft.spot.tone.onset, frozenset()) if printed != "ignore" else frozenset()
    return replace(draft, printed=as_one(draft.printed | here), agreed=(), agreed_length="")
