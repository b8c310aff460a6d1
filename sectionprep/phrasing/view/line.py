"""A line of notes as a rule sees it: phrases, figures, chords."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from operator import itemgetter

from sectionprep.music.chords import Chord
from sectionprep.music.in_force import in_force, index_in_force
from sectionprep.phrasing.styles import Style
from sectionprep.phrasing.view.spot import HELD, Spot

_EIGHTH, _SIXTEENTH = 0.5, 0.25  # quarters
#: why a note may be brought out and weigh little
CUT_OFF = "last off-beat eighth before the rest: cut off by the tongue, not loud"
_FIGURE = 4  # notes of a short figure; judgement
_STEPS, _FAR, _STEP = 3, 10, 2  # notes, semitones of a long climb; of a step; judgements


@dataclass(frozen=True, kw_only=True)
class LineView:
    """A line cut into phrases. beat: ticks of the felt beat at its start. quarter: ticks of a
    quarter. phrases: (first, last) indices of spots. chords: (tick, sounding chord), from the part
    itself or from the first part that carries symbols. sections: ticks where one opens: at a
    rehearsal letter and after a double bar line. dynamics: (tick, sign) printed in the part, the
    one in force at the line's start among them. tutti: the band plays it."""

    spots: tuple[Spot, ...]
    phrases: tuple[tuple[int, int], ...]
    style: Style
    beat: int
    quarter: int
    tempo: float
    chords: tuple[tuple[int, Chord], ...] = ()
    sections: tuple[int, ...] = ()
    dynamics: tuple[tuple[int, str], ...] = ()
    tutti: bool = False

    def phrase_of(self, spot: Spot) -> Sequence[Spot]:
        """The notes of the phrase a note belongs to."""
        first, last = self.phrases[spot.phrase]
        return self.spots[first : last + 1]

    def prev(self, spot: Spot) -> Spot | None:
        """The note before, in the same phrase."""
        return None if spot.first else self.spots[spot.index - 1]

    def next(self, spot: Spot) -> Spot | None:
        """The note after, in the same phrase."""
        return None if spot.last else self.spots[spot.index + 1]

    def in_pad(self, spot: Spot) -> bool:
        """A held note among held notes: sustained, with no peak to lean on."""
        first, last = self.phrases[spot.phrase]
        around = self.spots[max(first, spot.index - 2) : min(last, spot.index + 2) + 1]
        return len(around) > 1 and all(near.is_held for near in around)

    def closes(self, spot: Spot) -> bool:
        """The last off-beat eighth before a rest: short, stopped by the tongue, wherever the leans
        of the line fall (everythingsaxophone, 2018). Not in styles that are let go with the air
        throughout, nor in concert music; and not where the weight is spent already, so that it is
        short and no more (`_spent`)."""
        return spot.index in self._closing

    @cached_property
    def _closing(self) -> frozenset[int]:
        """The notes that `closes` is true of."""
        return frozenset(spot.index for spot in self.spots if self._is_stopped(spot))

    def _is_stopped(self, spot: Spot) -> bool:
        short = spot.off_pulse and not spot.triplet and spot.quarters <= _EIGHTH
        rest = spot.after / 2 if spot.fine else spot.after
        stopped = short and rest >= _EIGHTH and self.style.soft != "all"
        return stopped and not self._spent(spot)

    def tail(self, spot: Spot) -> bool:
        """The last off-beat eighth of a line, not a hit by itself: cut off, not loud."""
        return self.closes(spot) and spot.before < _EIGHTH

    def _spent(self, tail: Spot) -> bool:
        """The line comes down to this last eighth from the quarter of "du-DAHT-du" (M. Kilpatrick:
        a rhythmic figure gets one accent; two of three readers); where eighths are even, from a
        push, or on the way to one half a beat later; or in a shuffle, which sits on the beat, from
        quarters on the beat (a reader each)."""
        before = self.prev(tail)
        if before is None or tail.before > 0 or tail.rise > 0:
            return False
        pushed = before.pushed and not self.style.swing
        if self.syncopated(before) or pushed or self.before_push(tail):
            return True
        walks = self.prev(before)
        down = self.style.sits_on_the_beat and before.rise < 0
        return down and walks is not None and walks.is_quarter and walks.on_beat

    def before_push(self, spot: Spot) -> bool:
        """Where eighths are even: half a beat of rest after this note, to which the line has not
        risen, a push begins and is what the figure goes to."""
        if spot.rise > 0 or spot.after > _EIGHTH or spot.index + 1 == len(self.spots):
            return False
        return not self.style.swing and self.spots[spot.index + 1].pushed

    def syncopated(self, spot: Spot) -> bool:
        """The quarter of eighth, quarter, eighth, begun on a beat, where it is the highest of the
        three: "du-DAHT-du", one figure with one point; among running sixteenths the same in half
        the time. Over a bar line it is none: there the quarter anticipates the downbeat."""
        before, after = self.prev(spot), self.next(spot)
        return (
            (spot.is_quarter or (spot.fine and spot.length == 1))
            and spot.is_top
            and before is not None
            and after is not None
            and before.is_eighth
            and before.on_beat
            and spot.before == 0
            and before.tone.bar == after.tone.bar
            and after.is_eighth
            and spot.after == 0
        )

    def du_dat(self, spot: Spot) -> bool:
        """The last note of a short figure between rests that goes from beat to beat, long and
        short: two quarters by themselves, or a quarter and an eighth. Not where a hit off the beat
        follows half a beat later: then the figure goes on to it, and the quarters walk."""
        figure = self.phrase_of(spot)
        if (
            not spot.last
            or spot.first
            or len(figure) > _FIGURE
            or figure[0].before < 0.5
            or spot.after < 0.5
            or self.kicked(spot)
        ):
            return False
        du = figure[-2]
        held = 1 <= du.quarters < HELD and du.on_beat and spot.before == 0 and not spot.compound
        return (
            held
            and spot.on_beat
            and (spot.quarters <= _EIGHTH or (spot.is_quarter and len(figure) == 2))
        )

    def kicked(self, spot: Spot) -> bool:
        """Half a beat after this note a hit off the beat, by itself, ends the figure."""
        if spot.after > _EIGHTH or spot.index + 1 == len(self.spots):
            return False
        hit = self.spots[spot.index + 1]
        return hit.first and hit.last and self.closes(hit)

    def climbed(self, spot: Spot) -> tuple[int, int]:
        """How many notes before this one the line has risen through, and how far, in semitones."""
        steps = semitones = 0
        near = spot
        while not near.first and near.rise > 0:
            steps, semitones = steps + 1, semitones + near.rise
            near = self.spots[near.index - 1]
        return steps, semitones

    def climbs_far(self, spot: Spot) -> bool:
        """The top of four notes or more that rise a minor seventh or more, no step below it: the
        climb was for it, and the note before is on its way like the others."""
        steps, semitones = self.climbed(spot)
        return steps >= _STEPS and semitones >= _FAR and spot.rise > _STEP

    def set_off(self, silence: float, spot: Spot) -> bool:
        """Silence (beats of the note's own kind) that cuts a figure: half a quarter; in styles that
        think in sixteenths, one."""
        return (silence / 2 if spot.fine else silence) >= (
            _SIXTEENTH if self.style.unit == "16th" else _EIGHTH
        )

    def chord_at(self, spot: Spot) -> Chord | None:
        """The chord that sounds when a note begins."""
        return in_force(self.chords, spot.tone.onset, before=None)

    def new_chord(self, spot: Spot) -> Chord | None:
        """The chord, if it has changed within a beat before the note begins."""
        at = index_in_force(self.chords, spot.tone.onset, itemgetter(0))
        if (
            at < 1
            or spot.tone.onset - self.chords[at][0] >= self.beat
            or self.chords[at][1] == self.chords[at - 1][1]
        ):
            return None
        return self.chords[at][1]

    def opens_section(self, spot: Spot) -> bool:
        """The first note of this line since a section opened, less than a bar's four beats late."""
        before = self.spots[spot.index - 1].tone.onset if spot.index else -1
        at = bisect_right(self.sections, spot.tone.onset) - 1
        return at >= 0 and before < self.sections[at] > spot.tone.onset - 4 * self.beat

    def dynamic_at(self, spot: Spot) -> str:
        """The printed dynamic in force when a note begins, "" if there is none."""
        return in_force(self.dynamics, spot.tone.onset, before="")
