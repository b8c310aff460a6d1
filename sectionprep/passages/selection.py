"""The runs with the most evidence in all: each part is in one of them at a time."""

from __future__ import annotations

import heapq
from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np

from sectionprep.passages.followed import LEAST_NOTES, LEAST_ODDS, Followed
from sectionprep.passages.grid import Grid

_CUT = 8.0  # what a cut through an older run costs; who cuts must have a passage's notes
_SURE = 20.0  # odds from which a group goes on without its guests; judgement
_GOES_ON = 3  # notes of a group without its guests that make them guests; judgement
_LONGER = 2  # times as long are the notes of a pad that goes before or after a line; judgement
_ALONE = 40.0  # evidence of a group without its guests from which it is told whole; judgement


class Piece(NamedTuple):
    """Columns [first, last] of a candidate, by its place in the list."""

    candidate: int
    first: int
    last: int


class Selection:
    """Runs chosen so far; no part is in two of them at once. A newcomer may cut into older ones."""

    def __init__(self, followed: Sequence[Followed], grid: Grid) -> None:
        self.followed = followed
        self._struck = struck = grid.struck
        self._length = grid.length
        self.pieces: dict[int, Piece] = {}
        self._owner = np.full(struck.shape, -1, dtype=np.int32)
        self._made = 0

    def unions(self, grid: Grid) -> dict[frozenset[int], set[int]]:
        """Groups that sound at the same time as another, put together, if nobody has tried it yet,
        and the bars in which they meet."""
        tried = {candidate.group for candidate in self.followed}
        pieces = sorted(self.pieces.values(), key=lambda piece: (piece.first, piece))
        found: dict[frozenset[int], set[int]] = defaultdict(set)
        for n, one in enumerate(pieces):
            for other in pieces[n + 1 :]:
                if other.first > one.last:
                    break
                union = self.followed[one.candidate].group | self.followed[other.candidate].group
                if union not in tried and len({grid.staff[part] for part in union}) == len(union):
                    last = min(one.last, other.last)
                    found[union] |= set(range(int(grid.bar[other.first]), int(grid.bar[last]) + 1))
        return found

    def overlapping(self, piece: Piece) -> list[Piece]:
        """Chosen pieces that share a part and a moment with this one."""
        rows = self.followed[piece.candidate].rows
        owners = self._owner[rows, piece.first : piece.last + 1]
        top = owners.max()
        if top < 0:
            return []
        found = {int(top)} if (owners == top).all() else set(owners.ravel().tolist()) - {-1}
        return [self.pieces[number] for number in sorted(found)]

    def free(self, piece: Piece) -> list[Piece]:
        """What is left of a piece beside the chosen ones, where that is less than the whole."""
        rests = [piece]
        for old in self.overlapping(piece):
            rests = [rest for whole in rests for rest in _left(whole, old)]
        return [rest for rest in rests if rest != piece and self.odds(rest) >= LEAST_ODDS]

    def gain(self, piece: Piece) -> float:
        """What the whole gains in evidence if this piece cuts into the others."""
        gain = self.odds(piece) - LEAST_ODDS
        for old in self.overlapping(piece):
            first, last = max(old.first, piece.first), min(old.last, piece.last)
            if self._is_visit(piece, old):
                return -np.inf
            alone = self.odds(piece) - self.followed[piece.candidate].odds(first, last)
            evicts = alone >= _ALONE and self._is_visit(old, piece)
            host = piece if evicts else old
            gain -= self.followed[host.candidate].odds(first, last)
            rests = _left(old, piece)
            if (
                rests
                and self.followed[piece.candidate].attacks(piece.first, piece.last) < LEAST_NOTES
            ):
                return -np.inf
            gain += LEAST_ODDS - _CUT * len(rests)
        return gain

    def _is_visit(self, piece: Piece, host: Piece) -> bool:
        """Few parts join a group that goes on without them: told as guests, no group of its own."""
        here, there = self.followed[host.candidate].group, self.followed[piece.candidate].group
        if not here < there or len(there - here) >= max(2, len(here) / 2):
            return False
        if self._is_everybody(piece):
            return False
        alone = _left(host, piece)
        return any(
            self.followed[host.candidate].attacks(rest.first, rest.last) >= _GOES_ON
            and self.odds(rest) >= _SURE
            and self._note(host, rest) < _LONGER * self._note(host, piece)
            for rest in alone
        )

    def _note(self, host: Piece, where: Piece) -> float:
        """Ticks of a note of a group where another piece stands."""
        rows, columns = self.followed[host.candidate].rows, slice(where.first, where.last + 1)
        struck = self._struck[rows, columns]
        return float(self._length[rows, columns][struck].mean()) if struck.any() else 0.0

    def _is_everybody(self, piece: Piece) -> bool:
        """Nobody else plays there: to a listener that is another texture, whoever came in."""
        active = self._struck[:, piece.first : piece.last + 1].any(axis=1)
        return int(active.sum()) == len(self.followed[piece.candidate].group)

    def odds(self, piece: Piece) -> float:
        """Evidence of a piece."""
        return self.followed[piece.candidate].odds(piece.first, piece.last)

    def take(self, piece: Piece) -> None:
        """Choose a piece; what it overlaps keeps what is left before and after it."""
        for old in self.overlapping(piece):
            self._drop(old)
            for rest in _left(old, piece):
                if self.odds(rest) >= LEAST_ODDS:
                    self._add(rest)
        self._add(piece)

    def _add(self, piece: Piece) -> None:
        self.pieces[self._made] = piece
        rows = self.followed[piece.candidate].rows
        self._owner[rows, piece.first : piece.last + 1] = self._made
        self._made += 1

    def _drop(self, piece: Piece) -> None:
        rows = self.followed[piece.candidate].rows
        here = self._owner[rows, piece.first : piece.last + 1]
        del self.pieces[int(here.flat[0])]
        here[:] = -1
        self._owner[rows, piece.first : piece.last + 1] = here


def _left(old: Piece, piece: Piece) -> list[Piece]:
    """What a piece leaves of an older one, before and after it."""
    rests = (
        Piece(old.candidate, old.first, min(old.last, piece.first - 1)),
        Piece(old.candidate, max(old.first, piece.last + 1), old.last),
    )
    return [rest for rest in rests if rest.first <= rest.last]


def offers_of(
    grid: Grid, followed: Sequence[Followed], known: int
) -> list[tuple[tuple[int, ...], Piece]]:
    """The phrases of the candidates from `known` on."""
    return [
        (tuple(sorted(candidate.group)), Piece(index, first, last))
        for index, candidate in enumerate(followed[known:], start=known)
        for first, last in candidate.phrases(grid.bar)
    ]


def take_best(selection: Selection, offers: Iterable[tuple[tuple[int, ...], Piece]]) -> int:
    """Take offers in order of their gain; how many were taken."""
    heap = [(-selection.gain(piece), parts, piece) for parts, piece in offers]
    heapq.heapify(heap)
    taken = 0
    while heap:
        promised, parts, piece = heapq.heappop(heap)
        gain = selection.gain(piece)
        if gain <= 0:
            for rest in selection.free(piece):
                heapq.heappush(heap, (-selection.gain(rest), parts, rest))
            continue
        if -promised > gain + 1e-9:
            heapq.heappush(heap, (-gain, parts, piece))
            continue
        selection.take(piece)
        taken += 1
    return taken
