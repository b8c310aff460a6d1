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


_Set = tuple[float, tuple[int, ...]]  # score and positions of leans
_score_of = itemgetter(0)


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
        self._pairs: dict[tuple[int, int], tuple[float, float]] = {}
        self._chosen: dict[tuple[Option, ...], _Set] = {}

    def _pair(self, a: int, b: int) -> tuple[float, float]:
        """Price of leaning on b next after a, and how much of it is for the emptiness between
        them: that part never falls as a moves away."""
        found = self._pairs.get((a, b))
        if found is None:
            turns_between = self.turns[b] - self.turns[a + 1] > 0
            empty = _empty(self.moving[b] - self.moving[a]) + self.flat(a, b)
            price, _ = pair_cost(self.spots[a], self.spots[b], turns_between, sits=self.sits)
            found = self._pairs[a, b] = price + empty, empty
        return found

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
        # at[last][before or _FAR] = (score, set so far); best[last]: the best of them;
        # highest[last]: the best score up to there
        at: dict[int, dict[int, _Set]] = {_NONE: {_FAR: (0.0, ())}}
        best: dict[int, _Set] = {_NONE: (0.0, ())}
        highest, top = {_NONE: 0.0}, 0.0
        for b in (n for n in range(count) if n not in self.apart):
            fresh = self._ending_at(b, options, at, best, highest, locked_before)
            at[b] = fresh
            if fresh:
                best[b] = max(fresh.values(), key=_score_of)
                highest[b] = top = max(top, best[b][0])
        closing = {
            last: self._closing(last)
            for last in best
            if not locked_before[count] - locked_before[last + 1]
        }
        most = max(best[last][0] - price for last, price in closing.items())
        return max(
            (
                (score - price, chosen)
                for last, price in closing.items()
                for score, chosen in at[last].values()
                if score - price > most - 1e-6
            ),
            key=lambda item: (round(item[0], 9), -len(item[1]), tuple(-n for n in item[1])),
        )

    def _ending_at(
        self,
        b: int,
        options: Sequence[Option],
        at: Mapping[int, Mapping[int, _Set]],
        best: dict[int, _Set],
        highest: Mapping[int, float],
        locked_before: Sequence[int],
    ) -> dict[int, _Set]:
        """The best sets whose last lean is b, by the lean before it.

        The lean before is looked for backwards, and no further than it can still win: emptiness
        costs ever more, and no set that ended further back scores above `highest`."""
        near: list[tuple[int, _Set]] = []
        far: tuple[float, int] | None = None
        here, beats = options[b], self.beats
        locked = locked_before[b]
        free = not (here.locked and locked)  # else a printed lean further back may cost nothing
        for last in reversed(best):
            if locked > locked_before[last + 1]:
                break  # a printed lean lies between and cannot be skipped
            score, chosen = best[last]
            both = here.locked and last != _NONE and options[last].locked
            if last == _NONE:
                price, gap = self._opening(b), math.inf
            else:
                (price, empty), gap = self._pair(last, b), beats[b] - beats[last]
                if free and far is not None and highest[last] + here.gain - empty < far[0] - 1e-6:
                    break
                price = 0.0 if both else price
            earned = here.gain - price
            if gap > _EVEN_REACH:
                if far is None or score + earned >= far[0]:
                    far = score + earned, last
            elif abs(gap - round(gap)) < 1e-6:
                near.append((last, self._least_even(b, last, earned, both, options, at[last])))
            else:
                near.append((last, (score + earned, (*chosen, b))))
        fresh = dict(reversed(near))
        if far is None:
            return fresh
        return {_FAR: (far[0], (*best[far[1]][1], b)), **fresh}

    def _least_even(
        self,
        b: int,
        last: int,
        earned: float,
        both: bool,
        options: Sequence[Option],
        states: Mapping[int, _Set],
    ) -> _Set:
        """The best of these states with b added, which earns so much, once the same distance twice
        in a row is charged for."""
        most = -math.inf
        found: tuple[int, ...] = ()
        gap = self.beats[b] - self.beats[last]
        for before, (score, chosen) in states.items():
            total = score + earned
            even = before >= 0 and abs(self.beats[last] - self.beats[before] - gap) < 1e-6
            if even and not (both and options[before].locked):
                total -= even_cost(self.spots[before], self.spots[last], self.spots[b])
            if total > most:
                most, found = total, chosen
        return most, (*found, b)

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
                total -= self._pair(a, b)[0]
        for a, b, c in zip(chosen, chosen[1:], chosen[2:], strict=False):
            if not (options[a].locked and options[b].locked and options[c].locked):
                total -= even_cost(self.spots[a], self.spots[b], self.spots[c])
        return total


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
