"""What a section has printed: the word of the lead, unless most of its parts have another.

The lead is the measure. But what most of the parts that play a note with the lead have printed
there holds for all, also where the lead lacks it or has something that contradicts it; what a
minority has does not. A part has a say at a note when it strikes with the lead, for the same
length, and the finder saw no slip in either. For signs between the notes it is enough to strike
there. A part that has nothing there goes with what holds. What the lead itself has printed is never
outvoted so far that it is taken out: a person decides.
"""

from __future__ import annotations

from bisect import bisect_left
from collections import Counter, defaultdict
from collections.abc import Sequence
from operator import attrgetter
from typing import Protocol

from sectionprep.music.chart import Chart
from sectionprep.music.hairpins import Pin, Pins, pins_of
from sectionprep.music.lines import slur_ends
from sectionprep.music.marks import BREATHS, ORNAMENTS, SLURS, contradict
from sectionprep.music.notes import Note, Tone
from sectionprep.music.spans import Pair, Spans

_onset = attrgetter("onset")
#: marks that are no matter of the section: slurs go by pairs, ornaments by player
APART = SLURS | ORNAMENTS


class HasPlace(Protocol):
    """Something that names a part and a tick."""

    @property
    def part(self) -> int: ...
    @property
    def tick(self) -> int: ...


class Moving(Protocol):
    """A group of parts that moves together: a passage."""

    @property
    def parts(self) -> tuple[int, ...]: ...
    @property
    def lead(self) -> int: ...
    @property
    def start(self) -> int: ...
    @property
    def end(self) -> int: ...
    @property
    def seconds(self) -> frozenset[int]: ...
    @property
    def deviations(self) -> Sequence[HasPlace]: ...


class SectionWord:
    """What the parts of one passage have printed, and what holds."""

    def __init__(self, chart: Chart, passage: Moving) -> None:
        self.chart, self.passage = chart.read_by(passage.seconds), passage
        self.lines = {
            part: self.chart.between(part, passage.start, passage.end) for part in passage.parts
        }
        self.tones = {
            part: {tone.onset: tone for tone in line} for part, line in self.lines.items()
        }
        self.odd = {(place.part, place.tick) for place in passage.deviations}
        self._spans: Spans | None = None
        self._all_slurs: Spans | None = None
        self._hairpins: Pins | None = None
        self._own: dict[int, frozenset[Pair]] = {}
        self._meant: dict[int, frozenset[Pair]] = {}
        self._notes: dict[int, list[Note]] = {}
        self._pins: dict[int, Pins] = {}

    # -- marks on notes ---------------------------------------------------------------------------

    def members(self, tick: int) -> list[int]:
        """The parts with a say at a note of the lead; none where the lead itself is odd."""
        lead = self.tones[self.passage.lead].get(tick)
        if lead is None or (self.passage.lead, tick) in self.odd:
            return []
        return [
            part
            for part in self.passage.parts
            if (part, tick) not in self.odd and self._lasts(part, tick, lead.duration)
        ]

    def _lasts(self, part: int, tick: int, duration: int) -> bool:
        tone = self.tones[part].get(tick)
        return tone is not None and tone.duration == duration

    def marks(self, tick: int) -> frozenset[str]:
        """The marks that hold at a note of the lead; slurs and ornaments apart."""
        lead = self.tones[self.passage.lead][tick]
        own = lead.marks - APART
        voters = self.members(tick)
        votes = Counter(mark for part in voters for mark in self.tones[part][tick].marks - APART)
        agreed = frozenset(mark for mark, count in votes.items() if 2 * count > len(voters))
        return agreed | {
            mark for mark in own if not any(contradict(mark, other) for other in agreed - own)
        }

    def outvoted(self, part: int, tick: int, mark: str) -> bool:
        """True where something is printed that holds, this printed mark does not belong to it, and
        most of the passage's parts do not have it. Never in the lead; and never where nothing
        holds, for then the mark may be the only one that was written."""
        holds = (
            self.marks(tick)
            if part in self.members(tick) and part != self.passage.lead
            else frozenset[str]()
        )
        if not holds or mark in holds:
            return False
        return self._most(
            sum(
                mark not in self.tones[other][tick].marks
                for other in self.members(tick)
                if other != part
            )
        )

    def against(self, tick: int, marks: frozenset[str]) -> int | None:
        """A part with something printed at a note where nothing holds, that is not among these
        marks, or with something that contradicts one of them; None where there is none. Breaths
        apart: they are each player's own."""
        nothing_holds = not self.marks(tick)
        for part, tones in self.tones.items():
            theirs = tones[tick].marks - APART - BREATHS if tick in tones else frozenset[str]()
            if (nothing_holds and theirs - marks) or any(
                contradict(mark, other) for mark in marks for other in theirs
            ):
                return part
        return None

    def _most(self, count: int) -> bool:
        return count >= 2 and 2 * count > len(self.passage.parts)

    # -- slurs ------------------------------------------------------------------------------------

    def slurs(self) -> tuple[Pair, ...]:
        """The slurs that hold, as onsets of their first and last notes."""
        return tuple(self._held().pairs)

    def _held(self) -> Spans:
        if self._spans is None:
            lead = self.own_slurs(self.passage.lead)
            everywhere = {pair for part in self.passage.parts for pair in self._slurs_meant(part)}
            agreed = {pair for pair in everywhere if self._slur_is_agreed(pair)}
            new = Spans(agreed - lead)
            self._spans = Spans(agreed | {pair for pair in lead - agreed if not new.across(*pair)})
        return self._spans

    def own_slurs(self, part: int) -> frozenset[Pair]:
        """What a part has printed inside the passage."""
        if part not in self._own:
            start, end = self.passage.start, self.passage.end
            self._own[part] = frozenset(
                pair for pair in self.chart.slurs(part, start, end) if pair[0] >= start
            )
        return self._own[part]

    def _slurs_meant(self, part: int) -> frozenset[Pair]:
        """A part's slurs; where it repeats a note under another's slur and so has it in pieces,
        that one instead of the pieces."""
        if part not in self._meant:
            own = self.own_slurs(part)
            others = {
                pair for p in self.passage.parts if p != part for pair in self.own_slurs(p)
            } - own
            found = set(own)
            for pair in others if own else ():
                if self._plays(part, pair) and self._breaks(part, pair):
                    pieces = set(slur_ends(self.chart.between(part, pair[0], pair[1] + 1)))
                    if pieces and pieces <= own:
                        found = (found - pieces) | {pair}
            self._meant[part] = frozenset(found)
        return self._meant[part]

    def _plays(self, part: int, pair: Pair) -> bool:
        return all(tick in self.tones[part] for tick in pair)

    def _both(self, pair: Pair) -> set[int]:
        """The parts with a say at both ends of a slur."""
        return set(self.members(pair[0])) & set(self.members(pair[1]))

    def _slur_voters(self, pair: Pair) -> set[int]:
        """Who could have this slur: a part that repeats a note under it tongues there and has no
        say, nor has one that rests."""
        return {
            part
            for part in self._both(pair)
            if pair in self._slurs_meant(part) or not self._breaks(part, pair)
        }

    def _breaks(self, part: int, pair: Pair) -> bool:
        """True where a part cannot have this slur whole: it repeats a note under it, or rests."""
        return slur_ends(self.chart.between(part, pair[0], pair[1] + 1)) != [pair]

    def _slur_is_agreed(self, pair: Pair) -> bool:
        voters = self._slur_voters(pair)
        count = sum(pair in self._slurs_meant(part) for part in voters)
        return count >= 2 and 2 * count > len(voters)

    def slur_outvoted(self, part: int, pair: Pair) -> bool:
        """True where most of the passage's parts go with a printed slur that cannot stand beside
        this one. Never in the lead."""
        if (
            part == self.passage.lead
            or pair in self._held().pairs
            or part not in self._slur_voters(pair)
        ):
            return False
        against = [
            held for held in self._held().across(*pair) if held not in self._slurs_meant(part)
        ]
        return any(self._most(self._slur_with(held, part)) for held in against)

    def _slur_with(self, held: Pair, but: int) -> int:
        """How many other parts have this slur, or none against it."""
        return sum(
            held in self._slurs_meant(part) or not Spans(self.own_slurs(part)).across(*held)
            for part in self._both(held)
            if part != but
        )

    def slurred_otherwise(self, pair: Pair) -> bool:
        """True where some part has a printed slur that cannot stand beside this one."""
        if self._all_slurs is None:
            start, end = self.passage.start, self.passage.end
            self._all_slurs = Spans(
                {
                    own
                    for part in self.passage.parts
                    for own in self.chart.slurs(part, start)
                    if own[0] < end
                }
            )
        return bool(self._all_slurs.across(*pair))

    # -- the lead's line --------------------------------------------------------------------------

    def line(self) -> tuple[Tone, ...]:
        """The lead's tones, carrying what holds instead of what the lead alone has printed."""
        own, word = self.own_slurs(self.passage.lead), self.slurs()
        ends = [({pair[side] for pair in own}, {pair[side] for pair in word}) for side in (0, 1)]
        made = []
        for tone in self.lines[self.passage.lead]:
            flags = [
                at in new or (flag and at not in old)
                for at, flag, (old, new) in zip(
                    (tone.onset, tone.onset), (tone.slurs_from, tone.slurs_to), ends, strict=True
                )
            ]
            slurs = {
                name for name, flag in zip(("slur-start", "slur-stop"), flags, strict=True) if flag
            }
            made.append(
                tone._replace(
                    marks=self.marks(tone.onset) | slurs, slurs_from=flags[0], slurs_to=flags[1]
                )
            )
        return tuple(made)

    # -- signs between the notes ------------------------------------------------------------------

    def dynamics(self) -> dict[int, dict[int, str]]:
        """For every tick with a dynamic of the passage's parts: part -> its signs there, side by
        side."""
        found: dict[int, dict[int, str]] = defaultdict(dict)
        for part in self.passage.parts:
            for sign in self.chart.signs(part, "dynamic", self.passage.start, self.passage.end):
                here = found[sign.onset].setdefault(part, sign.value)
                if here != sign.value:  # the same sign twice, for two players on a staff, is one
                    found[sign.onset][part] = f"{here} {sign.value}"
        return dict(sorted(found.items()))

    def dynamic(self, tick: int, printed: dict[int, str]) -> str | None:
        """The dynamic that holds at a tick, of those `printed` there (as `dynamics` gives them);
        None where the lead has none and no other has most of the parts."""
        voters = self.striking(tick)
        votes = Counter(value for part, value in printed.items() if part in voters)
        value, count = max(votes.items(), key=lambda item: (item[1], item[0]), default=("", 0))
        if count >= 2 and 2 * count > len(voters):
            return value
        return printed.get(self.passage.lead)

    def dynamic_outvoted(self, tick: int, printed: dict[int, str], part: int) -> bool:
        """True where most of the passage's parts go with what holds, and this part has something
        else printed. Never in the lead."""
        holds = self.dynamic(tick, printed)
        with_it = [
            other
            for other in self.striking(tick)
            if other != part and printed.get(other, holds) == holds
        ]
        mine = part != self.passage.lead and part in self.striking(tick)
        return mine and printed[part] != holds and self._most(len(with_it))

    def near(self, part: int, tick: int) -> Note | None:
        """The note of a part, struck or tied over, at which a sign stands that was put at `tick`:
        files put signs a little beside their notes. None where no note begins within a quarter
        note."""
        if part not in self._notes:
            self._notes[part] = [note for tone in self.lines[part] for note in tone.notes]
        notes = self._notes[part]
        at = bisect_left(notes, tick, key=_onset)
        beside = min(
            notes[max(0, at - 1) : at + 1], key=lambda note: abs(note.onset - tick), default=None
        )
        return (
            beside
            if beside is not None and abs(beside.onset - tick) < self.chart.resolution
            else None
        )

    def striking(self, tick: int) -> list[int]:
        """The parts that strike a note at a tick."""
        return [part for part in self.passage.parts if tick in self.tones[part]]

    def pins(self, part: int) -> Pins:
        """A part's hairpins inside the passage, as far as its notes reach; one that leads out of it
        is no matter of this group."""
        if part not in self._pins:
            start, end = self.passage.start, self.passage.end
            found = pins_of(self.chart.signs(part, "wedge", start), end)
            self._pins[part] = Pins(
                pin.within(self.chart.lines[part], end)
                for pin in found
                if pin.stop < end + self.chart.resolution
            )
        return self._pins[part]

    def hairpins(self) -> Pins:
        """The hairpins that hold."""
        if self._hairpins is None:
            agreed = Pins()
            for pin in (pin for part in self.passage.parts for pin in self.pins(part)):
                if self._pin_is_agreed(pin) and not agreed.meeting(pin):
                    agreed.add(pin)
            kept = [pin for pin in self.pins(self.passage.lead) if not agreed.meeting(pin)]
            self._hairpins = Pins(sorted([*agreed, *kept], key=lambda pin: pin[:3]))
        return self._hairpins

    def _pin_is_agreed(self, pin: Pin) -> bool:
        quarter = self.chart.resolution
        voters = [part for part in self.passage.parts if self.near(part, pin.start) is not None]
        count = sum(self.pins(part).has_like(pin, quarter) for part in voters)
        return count >= 2 and 2 * count > len(voters)

    def pin_outvoted(self, part: int, pin: Pin) -> bool:
        """True where most of the passage's parts go with a hairpin that holds instead of this one.
        Never in the lead."""
        if part == self.passage.lead:
            return False
        quarter = self.chart.resolution
        instead = [held for held in self.hairpins().meeting(pin) if not held.like(pin, quarter)]
        return any(
            self._most(
                len([p for p in self.passage.parts if p != part and self._swells_with(p, held)])
            )
            for held in instead
        )

    def _swells_with(self, part: int, held: Pin) -> bool:
        return self.near(part, held.start) is not None and all(
            pin.like(held, self.chart.resolution) for pin in self.pins(part).meeting(held)
        )
