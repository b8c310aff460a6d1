"""The best set of leans for a phrase, found exactly.

A lean at a note earns its evidence minus the price of printing anything. Against it stand patterns
that a good player avoids; they involve two or three neighbouring leans, so a dynamic programme over
(the last lean, the lean before it) finds the optimum. Brute force over short phrases agrees with it
in the tests.

Notes that are brought out whatever the rest does (the last off-beat eighth before a rest) are kept
apart: they earn nothing and cost nothing, and the phrase is not bare that has one.

Patterns made of printed leans alone are free, whatever a new lean adds is charged: so a plan that
has been written out is its own best plan.

All prices are judgements on one scale on which about 1 of evidence is enough to print a mark.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from operator import itemgetter
from typing import NamedTuple

from sectionprep.phrasing.view import Spot

# beats of rest that make the next note a beginning of its own: no pattern reaches across
_PARTED = 0.25
_VETO = 50.0  # off-beat accent right before an accented beat (AfroImpro, Accentuation, rule 5)
_SIDE_BY_SIDE = 1.2  # less than a beat apart; two pushed quarters are equal
_CLOSE = 0.35  # within a beat of the last lean
# 1 and 3, one after the other, in a line of eighths: held notes and quarters stand there by nature
_SQUARE = 0.9
_EVERY_TURN = 0.5  # two neighbouring turning notes
# on-beat top after on-beat top, at which distances in beats: the off-beat before the second
# announces it; three or five beats apart they cut across the bar, one of them on 2 or 4
_ALIKE, _ALIKE_GAPS = 0.6, (1, 2, 4, 6)
_EVEN = 0.45  # the same square distance twice in a row
_SQUARE_GAPS = (1, 2, 4)  # beats; three beats or one and a half cut across the bar and are welcome
_EVEN_REACH = max(_SQUARE_GAPS)
_BARE = 0.5  # a whole phrase without a lean
_NONE, _FAR = -1, -2
_EMPTY_BEATS = 4.5  # from here on a stretch without a lean costs
_EMPTY = 0.22  # per further beat
# of running eighths without a lean: the line sits flat (common practice, no source; the number is
# a judgement)
_RUN_BEATS = 6
# price of a longer one, enough to lean somewhere; and of each further beat
_FLAT, _FLATTER = 1.7, 0.5


class Option(NamedTuple):
    """What printing a lean at this note would earn. locked: printed in the lead, so it is there
    anyway."""

    gain: float
    locked: bool = False


#: leans up to some note: their score, the lean before the last (or that it is too far away to
#: matter), the last, and the set without it
_Set = tuple[float, int, int, "_Set | None"]
_score_of = itemgetter(0)


class _Step(NamedTuple):
    """From one lean to the next. price: of the pair; empty: how much of it is for the emptiness
    between them, which never falls as the first moves away; near: within the reach of the
    even-distance rule; square: as many beats away as may be charged for twice in a row."""

    price: float
    empty: float
    near: bool
    square: bool


def pair_cost(a: Spot, b: Spot, turns_between: bool, *, sits: bool = False) -> tuple[float, str]:
    """Price of leaning on `b` next after `a`, distance apart, and the pattern that it is charged
    for. sits: the style sits on the beat, so that 1 and 3 in a row are no fault."""
    gap = _beats(a, b)
    if b.before >= _PARTED:
        return 0.0, ""
    square = (
        _SQUARE
        if not sits
        and a.is_eighth
        and a.on_beat
        and b.on_beat
        and a.strong
        and b.strong
        and gap == 2
        else 0.0
    )
    adjacent = b.index == a.index + 1
    if adjacent and a.off_beat and b.on_beat and gap <= 0.5:
        return _VETO, "an off-beat right before an accented beat must not be accented"
    if adjacent and gap < 1:
        return _SIDE_BY_SIDE + square, "two accents side by side cancel each other"
    cost, why = square, "leaning on 1 and 3 in a row sounds square" if square else ""
    hits = a.before >= _PARTED and b.pushed  # an entry and a push: two hits, as they are written
    if gap <= 1 and a.length < 1 and not a.compound and not hits:  # three parts are no crowd
        cost, why = cost + _CLOSE, why or "accents within one beat crowd the line"
    if a.turns and b.turns and not turns_between and not (a.pushed and b.pushed):
        cost, why = cost + _EVERY_TURN, why or "leaning on every turning note is predictable"
    if _on_beat_top(a) and _on_beat_top(b) and gap in _ALIKE_GAPS:
        cost, why = cost + _ALIKE, why or "one on-beat top after the other is predictable"
    return cost, why


def _on_beat_top(spot: Spot) -> bool:
    return spot.on_beat and spot.is_top and spot.is_eighth


def _beats(a: Spot, b: Spot) -> float:
    return (b.tone.onset - a.tone.onset) * a.length / a.tone.duration


def _moving(spots: Sequence[Spot]) -> list[float]:
    """Beats from the first note to each, held notes not counted: they are no empty stretch."""
    found = [0.0]
    for a, b in itertools.pairwise(spots):
        found.append(found[-1] + (0.0 if a.is_held else _beats(a, b)))
    return found


def _empty(beats: float) -> float:
    return _EMPTY * max(0.0, beats - _EMPTY_BEATS)


Shape = tuple[object, ...]


def shape_of(spots: Sequence[Spot], apart: frozenset[int]) -> Shape:
    """All that the prices of a phrase hang on: phrases of one shape have one chooser."""
    start = spots[0].tone.onset
    return apart, *(
        (
            spot.tone.onset - start,
            spot.tone.duration,
            spot.length,
            spot.before >= _PARTED,
            spot.on_beat,
            spot.off_beat,
            spot.strong,
            spot.compound,
            spot.is_top,
            spot.is_bottom,
            spot.is_held,
            spot.pushed,
        )
        for spot in spots
    )


class Chooser:
    """Finds best sets of leans for one phrase; keeps the prices of pairs, so that several readings
    cost little.

    apart: positions that are brought out anyway; they are never in a set. runs: False where the
    style lets a line run without a lean. sits: True where it sits on the beat.
    """

    def __init__(
        self,
        spots: Sequence[Spot],
        apart: frozenset[int] = frozenset(),
        *,
        runs: bool = True,
        sits: bool = False,
    ) -> None:
        self.spots, self.apart, self.sits = spots, apart, sits
        self.turns = _running_turns(spots)
        self.beats = [_beats(spots[0], spot) for spot in spots] if spots else []
        self.moving = _moving(spots)
        self.runs = _runs(spots) if runs else []
        # to each note, by the lean before
        self._steps: list[dict[int, _Step]] = [{} for _ in spots]
        self._chosen: dict[tuple[Option, ...], tuple[float, tuple[int, ...]]] = {}

    def _step(self, a: int, b: int) -> _Step:
        """From a lean on a to the next on b."""
        step = self._steps[b].get(a)
        if step is None:
            step = self._steps[b][a] = self._new_step(a, b)
        return step

    def _new_step(self, a: int, b: int) -> _Step:
        turns_between = self.turns[b] > self.turns[a + 1]
        empty = _empty(self.moving[b] - self.moving[a]) + self.flat(a, b)
        price, _ = pair_cost(self.spots[a], self.spots[b], turns_between, sits=self.sits)
        gap = self.beats[b] - self.beats[a]
        near = gap <= _EVEN_REACH
        return _Step(price + empty, empty, near, near and abs(gap - round(gap)) < 1e-6)

    def flat(self, a: int, b: int) -> float:
        """Price of running eighths between two leans (-1: from the beginning, the phrase's length:
        to its end)."""
        price = 0.0
        for first, last in self.runs:
            start, stop = max(a, first), min(b, last)
            if stop > start:
                beats = self.beats[stop] - self.beats[start]
                price += _FLAT + _FLATTER * (beats - _RUN_BEATS) if beats > _RUN_BEATS else 0.0
        return price

    def _opening(self, b: int) -> float:
        return _empty(self.moving[b]) + self.flat(_NONE, b)

    def _closing(self, last: int) -> float:
        """Price of what follows the last lean (-1: of the whole phrase), up to a note that is
        brought out anyway."""
        if not self.spots:
            return 0.0
        bare = _BARE if last == _NONE and self.moving[-1] > 0 and not self.apart else 0.0
        return (
            bare
            + _empty(self.moving[-1] - self.moving[max(last, 0)])
            + self.flat(last, len(self.spots))
        )

    def choose(self, options: Sequence[Option]) -> tuple[float, tuple[int, ...]]:
        """Score and positions (into `spots`) of the best set of leans. Exact: no set is left out
        beforehand.

        A state is the last lean and the one before it, but the one before matters only while it
        lies within the reach of the even-distance rule, and only at its square distances; so time
        grows with the square of the phrase's length, not with its cube. Asked again with the same
        options (a phrase that returns, another round) it answers from memory.
        """
        asked = tuple(options)
        if asked not in self._chosen:
            self._chosen[asked] = self._choose(asked)
        return self._chosen[asked]

    def _choose(self, options: Sequence[Option]) -> tuple[float, tuple[int, ...]]:
        count = len(self.spots)
        locked_before = [0]
        for n, option in enumerate(options):
            locked_before.append(locked_before[-1] + (option.locked and n not in self.apart))
        # at[last]: the best sets that end there, by the lean before, the best of them first
        at: dict[int, list[_Set]] = {_NONE: [(0.0, _FAR, _NONE, None)]}
        highest, top = {_NONE: 0.0}, 0.0  # the best score up to there
        for b in (n for n in range(count) if n not in self.apart):
            fresh = self._ending_at(b, options, at, highest, locked_before)
            if fresh:
                at[b] = fresh
                highest[b] = top = max(top, fresh[0][0])
        closing = {
            last: self._closing(last)
            for last in at
            if not locked_before[count] - locked_before[last + 1]
        }
        most = max(at[last][0][0] - price for last, price in closing.items())
        return max(
            (
                (found[0] - price, _leans(found))
                for last, price in closing.items()
                for found in at[last]
                if found[0] - price > most - 1e-6
            ),
            key=lambda item: (round(item[0], 9), -len(item[1]), tuple(-n for n in item[1])),
        )

    def _ending_at(
        self,
        b: int,
        options: Sequence[Option],
        at: dict[int, list[_Set]],
        highest: Mapping[int, float],
        locked_before: Sequence[int],
    ) -> list[_Set]:
        """The best sets whose last lean is b, by the lean before it; the best first, of equals the
        one whose lean before is further back.

        The lean before is looked for backwards, and no further than it can still win: emptiness
        costs ever more, and no set that ended further back scores above `highest`."""
        found: list[_Set] = []
        far, furthest = -math.inf, None
        gain, is_locked = options[b]
        locked, steps = locked_before[b], self._steps[b]
        free = not (is_locked and locked)  # else a printed lean further back may cost nothing
        for last in reversed(at):
            if locked > locked_before[last + 1]:
                break  # a printed lean lies between and cannot be skipped
            before = at[last][0]
            if last == _NONE:
                score, near = before[0] + gain - self._opening(b), False
            else:
                price, empty, near, square = steps.get(last) or self._step(last, b)
                if free and highest[last] + gain - empty < far - 1e-6:
                    break
                earned = gain if is_locked and options[last].locked else gain - price
                score = before[0] + earned
                if square and before[1] >= 0 and self._is_even(before[1], last, b):
                    score, before = self._charged(b, options, at[last], earned)
            if near:
                found.append((score, last, b, before))
            elif score >= far:
                far, furthest = score, before
        if furthest is not None:
            found.append((far, _FAR, b, furthest))
        found.reverse()
        found.sort(key=_score_of, reverse=True)
        return found

    def _is_even(self, a: int, b: int, c: int) -> bool:
        """The same distance twice."""
        return abs(2 * self.beats[b] - self.beats[a] - self.beats[c]) < 1e-6

    def _charged(
        self, b: int, options: Sequence[Option], sets: Sequence[_Set], earned: float
    ) -> tuple[float, _Set]:
        """The best of these sets with b added, which earns so much, and its score, where the first
        of them has the same distance twice. None of the others has, so it is the first or the
        second."""
        score, before, last, _ = first = sets[0]
        total = score + earned
        if not (options[before].locked and options[last].locked and options[b].locked):
            total -= even_cost(self.spots[before], self.spots[last], self.spots[b])
        if len(sets) > 1:
            other = sets[1]
            if (other[0] + earned, -other[1]) > (total, -before):
                return other[0] + earned, other
        return total, first

    def score(self, options: Sequence[Option], chosen: Sequence[int]) -> float:
        """Score of one given set: what `choose` maximises. Notes kept apart do not count."""
        chosen = [n for n in chosen if n not in self.apart]
        total = sum(options[n].gain for n in chosen) - self._closing(
            chosen[-1] if chosen else _NONE
        )
        if chosen:
            total -= self._opening(chosen[0])
        for a, b in itertools.pairwise(chosen):
            if not (options[a].locked and options[b].locked):
                total -= self._step(a, b).price
        for a, b, c in zip(chosen, chosen[1:], chosen[2:], strict=False):
            if not (options[a].locked and options[b].locked and options[c].locked):
                total -= even_cost(self.spots[a], self.spots[b], self.spots[c])
        return total


def _leans(found: _Set | None) -> tuple[int, ...]:
    """Positions of the leans of a set."""
    leans: list[int] = []
    while found is not None and found[2] != _NONE:
        leans.append(found[2])
        found = found[3]
    return tuple(reversed(leans))


def _runs(spots: Sequence[Spot]) -> list[tuple[int, int]]:
    """(first, last) position of each stretch of notes of half a beat or less, long enough to sit
    flat; it ends with the note that it runs into."""
    found, first = [], 0
    for n in range(len(spots) + 1):
        if n < len(spots) and spots[n].is_eighth and (n == first or spots[n].before < _PARTED):
            continue
        if n > first:
            last = min(n, len(spots) - 1) if n < len(spots) and spots[n].before < _PARTED else n - 1
            if _beats(spots[first], spots[last]) > _RUN_BEATS:
                found.append((first, last))
        first = n if n < len(spots) and spots[n].is_eighth else n + 1
    return found


def even_cost(a: Spot, b: Spot, c: Spot) -> float:
    """Price of the same distance twice in a row, unless the notes are long or stand between rests,
    or are pushes: then the rhythm is the composer's, and one push left out makes it limp."""
    if (_by_itself(a, b) and _by_itself(b, c)) or (b.pushed and c.pushed):
        return 0.0
    first, second = _beats(a, b), _beats(b, c)
    return _EVEN if abs(first - second) < 1e-6 and first in _SQUARE_GAPS else 0.0


def _by_itself(a: Spot, b: Spot) -> bool:
    return b.before >= _PARTED or (b.index == a.index + 1 and a.length >= 1)


def _running_turns(spots: Sequence[Spot]) -> list[int]:
    count = [0]
    for spot in spots:
        count.append(count[-1] + spot.turns)
    return count
