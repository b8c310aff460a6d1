"""The chart: what a score says, exactly, with each note's permanent address in the document."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from dataclasses import dataclass, field, replace
from fractions import Fraction
from operator import attrgetter, itemgetter

from sectionprep.music.chords import Chord, parse_chord
from sectionprep.music.clock import TEMPO_IF_SILENT, Clock, clock_of
from sectionprep.music.in_force import in_force
from sectionprep.music.instruments import Chair, Instrument
from sectionprep.music.notes import Direction, Note, Slur, Tone
from sectionprep.music.pitch import Transposition
from sectionprep.music.timing import Meter, Place

#: after the label of a part: the second player on its staff
SECOND = "(2nd player)"


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """One measure of the chart's common grid; start and length in ticks."""

    index: int
    number: str
    start: int
    length: int
    meter: Meter
    rehearsal: str = ""
    repeat_start: bool = False
    repeat_end: int = 0
    endings: tuple[str, ...] = ()
    double_bar: bool = False

    @property
    def end(self) -> int:
        """Tick of the bar line that closes this bar."""
        return self.start + self.length


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """One part of the score, in score order. name: as the file has it, often empty or another
    part's too; label: what we call it, unique in the chart; says: the shortest name that is no
    other's. instruments: (tick, instrument) from which on its player holds it, the chair's own
    first; an instrument that nothing names is unknown. is_second: the
    second player on the staff of the part with this id."""

    index: int
    id: str
    name: str
    label: str
    abbreviation: str
    chair: Chair
    notes: tuple[Note, ...]
    directions: tuple[Direction, ...]
    transpositions: tuple[tuple[int, Transposition], ...]
    clefs: tuple[tuple[int, str], ...] = ()
    keys: tuple[tuple[int, int], ...] = ()
    staves: int = 1
    bars_read: int = 0
    instruments: tuple[tuple[int, Instrument], ...] = ()
    says: str = ""
    is_second: bool = False

    @property
    def first(self) -> Part:
        """The same staff as the part of the first of its players alone."""
        return replace(self, chair=replace(self.chair, number=self.chair.number or 1, numbers=()))

    @property
    def second(self) -> Part:
        """The same staff as the part of the second player on it."""
        number = self.chair.numbers[1] if len(self.chair.numbers) > 1 else 2
        return replace(
            self,
            label=f"{self.label} {SECOND}",
            says=f"{self.says} {SECOND}",
            chair=replace(self.chair, number=number, numbers=()),
            is_second=True,
        )

    def instrument_at(self, tick: int) -> Instrument:
        """What the player holds at `tick`."""
        return in_force(self.instruments, tick, before=self.chair.instrument)

    def transposition_at(self, tick: int) -> Transposition:
        """The transposition in force at `tick`."""
        return in_force(self.transpositions, tick, before=Transposition())

    def clef_at(self, tick: int) -> str:
        """The clef in force at `tick`, by sign and line: "G2", "F4"."""
        return in_force(self.clefs, tick, before="G2")

    def key_at(self, tick: int) -> int:
        """The written key in force at `tick`, in sharps; flats are below zero."""
        return in_force(self.keys, tick, before=0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Remark:
    """Something the reader met and settled; `where` names part and bar."""

    where: str
    what: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """A whole chart. resolution: ticks per quarter note. lines: one tuple of tones per part.
    second_lines: by part, the tones of a second player on its staff, where there is one. tempos:
    (tick, quarters a minute) of every change, in order; assumed_tempo: where it states none."""

    title: str
    composer: str
    arranger: str
    resolution: int
    bars: tuple[Bar, ...]
    parts: tuple[Part, ...]
    lines: tuple[tuple[Tone, ...], ...]
    second_lines: dict[int, tuple[Tone, ...]] = field(default_factory=dict)
    tempos: tuple[tuple[int, float], ...] = ()
    assumed_tempo: float = TEMPO_IF_SILENT
    style_words: str = ""
    swing: bool | None = None
    concert: bool = False
    remarks: tuple[Remark, ...] = ()
    lyricist: str = ""
    rights: tuple[str, ...] = ()
    _starts: tuple[int, ...] = field(default=(), repr=False)
    _places: dict[int, Place] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )  # asked for again and again
    _clock: list[Clock] = field(default_factory=list, init=False, repr=False, compare=False)
    _pairs: dict[int, tuple[tuple[int, int], ...]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )
    _chords: dict[int, tuple[tuple[int, Chord], ...]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )
    _signs: dict[tuple[int, str, bool], tuple[Direction, ...]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )
    _slurs: dict[int, tuple[Slur, ...]] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )
    _read_by: dict[frozenset[int], Chart] = field(
        default_factory=dict, init=False, repr=False, compare=False
    )

    def read_by(self, seconds: frozenset[int]) -> Chart:
        """The chart as a passage reads it in which these parts are played by the second player on
        their staff: his line stands for the part's, and the part is called after him."""
        if not seconds:
            return self
        if seconds not in self._read_by:
            lines, parts = list(self.lines), list(self.parts)
            for index in seconds:
                lines[index] = self.second_lines.get(index, ())
                parts[index] = parts[index].second
            self._read_by[seconds] = replace(self, lines=tuple(lines), parts=tuple(parts))
        return self._read_by[seconds]

    @property
    def says_pickup(self) -> str:
        """Which number the pick-up bar has, in words: "bar 0 is the pick-up"; "" without one."""
        first = self.bars[0] if self.bars else None
        if first is None or first.length >= first.meter.quarters * self.resolution:
            return ""
        return f"bar {first.number} is the pick-up"

    @property
    def tempo(self) -> float | None:
        """The first tempo that the chart states, in quarters a minute."""
        return self.tempos[0][1] if self.tempos else None

    @property
    def clock(self) -> Clock:
        """Seconds for places in quarters, through all metronome marks of all parts."""
        if not self._clock:
            places = {tick / self.resolution: tempo for tick, tempo in self.tempos}
            self._clock.append(clock_of(places or {0.0: self.assumed_tempo}))
        return self._clock[0]

    def seconds(self, start: float, end: float) -> float:
        """Seconds from one tick to another, as written (no repeats)."""
        clock = self.clock
        return clock.second(end / self.resolution) - clock.second(start / self.resolution)

    def tempo_at(self, tick: int) -> float:
        """Quarters a minute at a tick; a moderate tempo where the chart states none."""
        return self.clock.tempo_at(tick / self.resolution)

    def bar_at(self, tick: int) -> Bar:
        """The bar in which `tick` lies (the last bar for ticks past the end)."""
        return self.bars[max(0, bisect_right(self._starts, tick) - 1)]

    def place(self, tick: int) -> Place:
        """Bar and beat of a tick."""
        known = self._places.get(tick)
        if known is None:
            bar = self.bar_at(tick)
            known = self._places[tick] = Place(
                bar=bar.number, index=bar.index, beat=self._beat(bar, tick)
            )
        return known

    def end_place(self, tick: int) -> Place:
        """Like `place`, but a tick on a bar line belongs to the bar it closes (beat 5 of a 4/4
        bar)."""
        bar = self.bar_at(max(0, tick - 1))
        return Place(
            bar=bar.number, index=bar.index, beat=self._beat(bar, tick), is_end=tick == bar.end
        )

    def _beat(self, bar: Bar, tick: int) -> Fraction:
        whole = 4 * self.resolution
        return Fraction((tick - bar.start) * bar.meter.unit + whole, whole)

    def tick(self, index: int, beat: Fraction | float) -> int:
        """Tick of a beat (counted from 1) in the bar with this index."""
        bar = self.bars[index]
        unit = Fraction(4 * self.resolution, bar.meter.unit)
        return bar.start + round((Fraction(beat).limit_denominator(960) - 1) * unit)

    def bars_by_number(self) -> dict[str, int]:
        """Index of the first bar of each printed number."""
        return {bar.number: bar.index for bar in reversed(self.bars)}

    def between(self, part: int, start: int, end: int) -> tuple[Tone, ...]:
        """The tones of a part's line that begin in [start, end)."""
        line = self.lines[part]
        first = bisect_left(line, start, key=_onset)
        return line[first : bisect_left(line, end, first, key=_onset)]

    def slurs(
        self, part: int, start: float = 0, end: float = math.inf
    ) -> tuple[tuple[int, int], ...]:
        """The complete slurs of a part's line that end in [start, end), as onsets of their first
        and last tones, in order of their ends; ends are joined by their numbers. A slur that begins
        and ends in one tone (a tie drawn as a slur) is none."""
        if part not in self._pairs:
            self._pairs[part] = tuple(
                dict.fromkeys((slur.start, slur.stop) for slur in self.whole_slurs(part))
            )
        pairs = self._pairs[part]
        first = bisect_left(pairs, start, key=_second)
        return pairs[first : bisect_left(pairs, end, first, key=_second)]

    def whole_slurs(self, part: int) -> tuple[Slur, ...]:
        """All of them, each with its number and its notes; the notes of a chord may each have
        one."""
        if part not in self._slurs:
            self._slurs[part] = tuple(self._joined_slurs(part))
        return self._slurs[part]

    def _joined_slurs(self, part: int) -> list[Slur]:
        tone_at = {note.address: tone.onset for tone in self.lines[part] for note in tone.chord}
        begun: dict[int, tuple[int, int]] = {}
        found: list[Slur] = []
        for note in self.parts[part].notes:
            at = tone_at.get(note.address)
            if at is None:
                continue
            for number in note.slur_stops:
                start, first = begun.pop(number, (at, note.address))
                if start != at:
                    found.append(Slur(start, at, number, first, note.address))
            begun.update(dict.fromkeys(note.slur_starts, (at, note.address)))
        return sorted(found, key=attrgetter("stop"))

    def signs(
        self,
        part: int,
        kind: str,
        start: float = 0,
        end: float = math.inf,
        *,
        any_staff: bool = False,
    ) -> tuple[Direction, ...]:
        """A part's signs of one kind that stand in [start, end) on its first staff, or on any, in
        order of time."""
        asked = part, kind, any_staff
        if asked not in self._signs:
            mine = [
                sign
                for sign in self.parts[part].directions
                if sign.kind == kind and (any_staff or sign.staff == 1)
            ]
            self._signs[asked] = tuple(sorted(mine, key=_onset))
        found = self._signs[asked]
        first = bisect_left(found, start, key=_onset)
        return found[first : bisect_left(found, end, first, key=_onset)]

    def chords(self, part: int) -> tuple[tuple[int, Chord], ...]:
        """(tick, sounding chord) over a part's line: of its own symbols, else of the first part
        that has any."""
        sources = (
            n for n in (part, *range(len(self.parts))) if self.signs(n, "chord", any_staff=True)
        )
        source = next(sources, None)
        if source is None:
            return ()
        if source not in self._chords:
            read = (
                (
                    sign.onset,
                    parse_chord(
                        sign.value, self.parts[source].transposition_at(sign.onset).chromatic
                    ),
                )
                for sign in self.signs(source, "chord", any_staff=True)
            )
            self._chords[source] = tuple((tick, chord) for tick, chord in read if chord is not None)
        return self._chords[source]

    def quarters(self, ticks: int) -> Fraction:
        """A length in quarter notes."""
        return Fraction(ticks, self.resolution)

    @property
    def labels(self) -> tuple[str, ...]:
        """The labels of the parts in score order."""
        return tuple(part.label for part in self.parts)


_onset = attrgetter("onset")
_second = itemgetter(1)


def same_music(one: Chart, other: Chart) -> bool:
    """True when both charts have the same parts playing the same notes at the same times, whatever
    their marks."""
    return (
        one.labels == other.labels
        and one.resolution == other.resolution
        and all(
            len(a) == len(b)
            and all(
                x.onset == y.onset and x.duration == y.duration and x.pitches == y.pitches
                for x, y in zip(a, b, strict=True)
            )
            for a, b in zip(one.lines, other.lines, strict=True)
        )
    )
