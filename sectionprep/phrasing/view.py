"""A line as a rule sees it: each note with its beat, neighbours, contour, rests and phrase."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from operator import attrgetter

from sectionprep.music.chart import Bar, Chart, Tone
from sectionprep.music.chords import Chord, parse_chord
from sectionprep.music.roadmap import leads_elsewhere
from sectionprep.phrasing.styles import Style


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """One note in its surroundings.

    offset: ticks from its bar line. A beat is a quarter whatever the lower number of the metre (a
    dotted quarter in 6/8 and 12/8), and an eighth in a phrase of running sixteenths (`fine`), which
    is phrased like one of eighths. beat: place in the bar, from 1, in these beats. length, before,
    after: of the note and of the silence on either side, in these beats (silence is a large number
    at the ends of the part). quarters: length in quarter notes, whatever the beat. strong: on 1 or
    3, or on 1 alone where the bar has an odd number of beats; `fine`: on any quarter. pushed: it
    begins off the metre's beat and sounds over the next one. compound: the metre's beat has three
    parts. rise: semitones from the note before; ahead: semitones to the note after (0 at the ends).
    triplet: 1, 2, 3 inside a triplet, else 0. slur: "first", "inside" or "last" note of a printed
    slur, else "".
    """

    index: int
    tone: Tone
    offset: int
    beat: Fraction
    length: float
    before: float
    after: float
    rise: int
    ahead: int
    triplet: int
    phrase: int
    first: bool
    last: bool
    quarters: float = 1.0
    strong: bool = False
    pushed: bool = False
    fine: bool = False
    compound: bool = False
    slur: str = ""

    @property
    def on_beat(self) -> bool:
        """On a felt beat."""
        return self.beat.denominator == 1

    @property
    def off_beat(self) -> bool:
        """Half way between two felt beats; of a beat in three parts, on the last of them."""
        return self.beat.denominator == 2 or (self.compound and self.beat % 1 == _LAST_THIRD)

    @property
    def off_pulse(self) -> bool:
        """Off the metre's own beat: among running sixteenths, any place but the quarter."""
        return not self.strong if self.fine else self.off_beat or self.beat.denominator == 4

    @property
    def is_quarter(self) -> bool:
        """One felt beat long, and not counted in eighths: the note whose length the style
        decides."""
        return not self.fine and not self.compound and abs(self.quarters - 1) < 0.01

    @property
    def is_held(self) -> bool:
        """Two quarters long or longer: a note of a pad, one that stops at an agreed place."""
        return self.quarters >= HELD

    @property
    def pitch(self) -> int:
        """Sounding MIDI number."""
        return self.tone.pitch

    @property
    def is_top(self) -> bool:
        """The line rises to this note and falls after it, inside one phrase."""
        return not self.first and not self.last and self.rise > 0 and self.ahead < 0

    @property
    def is_bottom(self) -> bool:
        """The line falls to this note and rises after it, inside one phrase."""
        return not self.first and not self.last and self.rise < 0 and self.ahead > 0

    @property
    def turns(self) -> bool:
        """The line changes direction here."""
        return self.is_top or self.is_bottom

    @property
    def is_eighth(self) -> bool:
        """Half a beat long, or shorter: a note of a running line."""
        return self.length <= 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class LineView:
    """A line cut into phrases. beat: ticks of the felt beat at its start. quarter: ticks of a
    quarter. phrases: (first, last) indices of spots. chords: (tick, sounding chord), from the part
    itself or from the first part that carries symbols. tutti: the band plays it."""

    spots: tuple[Spot, ...]
    phrases: tuple[tuple[int, int], ...]
    style: Style
    beat: int
    quarter: int
    tempo: float
    chords: tuple[tuple[int, Chord], ...] = ()
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
        throughout, nor in concert music."""
        short = spot.off_pulse and not spot.triplet and spot.quarters <= _EIGHTH
        rest = spot.after / 2 if spot.fine else spot.after
        return short and rest >= _EIGHTH and self.style.soft != "all"

    def du_dat(self, spot: Spot) -> bool:
        """The last note of a short figure between rests that goes from beat to beat, long and
        short: two quarters by themselves, or a quarter and an eighth."""
        figure = self.phrase_of(spot)
        if (
            not spot.last
            or spot.first
            or len(figure) > _FIGURE
            or figure[0].before < 0.5
            or spot.after < 0.5
        ):
            return False
        du = figure[-2]
        held = 1 <= du.quarters < HELD and du.on_beat and spot.before == 0 and not spot.compound
        return (
            held
            and spot.on_beat
            and (spot.quarters <= _EIGHTH or (spot.is_quarter and len(figure) == 2))
        )

    def set_off(self, silence: float, spot: Spot) -> bool:
        """Silence (beats of the note's own kind) that cuts a figure: half a quarter; in styles that
        think in sixteenths, one."""
        return (silence / 2 if spot.fine else silence) >= (
            _SIXTEENTH if self.style.unit == "16th" else _EIGHTH
        )

    def chord_at(self, spot: Spot) -> Chord | None:
        """The chord that sounds when a note begins."""
        at = self._chord_index(spot)
        return self.chords[at][1] if at >= 0 else None

    def new_chord(self, spot: Spot) -> Chord | None:
        """The chord, if it has changed within a beat before the note begins."""
        at = self._chord_index(spot)
        if (
            at < 1
            or spot.tone.onset - self.chords[at][0] >= self.beat
            or self.chords[at][1] == self.chords[at - 1][1]
        ):
            return None
        return self.chords[at][1]

    def _chord_index(self, spot: Spot) -> int:
        return bisect_right(self.chords, spot.tone.onset, key=lambda chord: chord[0]) - 1


HELD = 2  # quarters: a note of a pad, or one whose release is agreed; judgement
_EIGHTH, _SIXTEENTH = 0.5, 0.25  # quarters
_LAST_THIRD = Fraction(2, 3)  # of a beat: the eighth before the next beat of 6/8 and 12/8
_LONGEST = 64  # notes in one phrase: eight bars of eighths
_FIGURE = 4  # notes of a short figure; judgement
# notes from which half a beat of rest ends a figure after a rest, any phrase; judgement
_SET_OFF, _ENOUGH = 2, 4
_PHRASE_SLUR = 6  # notes under one slur from which it shows a phrase; judgement
END = 90.0  # beats: what lies beyond the first and the last note of a part


def felt_beat(chart: Chart, bar: int) -> int:
    """Ticks of the beat that lines are phrased in: a quarter, also where the metre counts halves or
    eighths, and a dotted quarter in metres of three eighths to a beat."""
    meter = chart.bars[bar].meter
    quarters = Fraction(12, meter.unit) if meter.unit >= 8 and meter.beats % 3 == 0 else Fraction(1)
    return max(1, int(quarters * chart.resolution))


def view_line(
    chart: Chart,
    tones: Sequence[Tone],
    style: Style,
    part: int,
    *,
    tutti: bool = False,
    elsewhere: Mapping[int, frozenset[int]] | None = None,
) -> LineView:
    """Look at consecutive tones of one part as a line. tutti: the band plays it. elsewhere: where
    bars lead to (roadmap), for who views many lines of a chart."""
    beat = felt_beat(chart, tones[0].bar)
    borders = sorted(_phrase_ends(tones, beat))
    triplets = _triplets(tones, chart)
    slurs = _slurs(tones)
    before, after = _silences(
        chart, part, tones, leads_elsewhere(chart) if elsewhere is None else elsewhere
    )
    spots: list[Spot] = []
    phrases: list[tuple[int, int]] = []
    first = 0
    for phrase, last in enumerate(borders):
        fine = _runs_in_sixteenths(tones[first : last + 1], chart.resolution, style)
        spots.extend(
            _spot(
                chart,
                tones,
                n,
                (before[n], after[n]),
                fine=fine,
                triplet=triplets[n],
                phrase=phrase,
                first=n == first,
                last=n == last,
                slur=slurs[n],
            )
            for n in range(first, last + 1)
        )
        phrases.append((first, last))
        first = last + 1
    return LineView(
        spots=tuple(spots),
        phrases=tuple(phrases),
        style=style,
        beat=beat,
        quarter=chart.resolution,
        tempo=chart.tempo_at(tones[0].onset if tones else 0),
        chords=_chords(chart, part),
        tutti=tutti,
    )


def _runs_in_sixteenths(tones: Sequence[Tone], quarter: int, style: Style) -> bool:
    """True for a phrase whose sixteenths run: two of them in styles that think in sixteenths, else
    half of the phrase and four (a line in double time). Judgements."""
    sixteenths = sum(4 * tone.duration <= quarter and not tone.head.in_tuplet for tone in tones)
    if style.unit == "16th":
        return sixteenths >= 2
    return sixteenths >= 4 and 2 * sixteenths >= len(tones)


def _spot(
    chart: Chart,
    tones: Sequence[Tone],
    n: int,
    silence: tuple[float, float],
    *,
    fine: bool,
    triplet: int,
    phrase: int,
    first: bool,
    last: bool,
    slur: str,
) -> Spot:
    tone, bar = tones[n], chart.bars[tones[n].bar]
    pulse = felt_beat(chart, tone.bar)
    halves = chart.resolution if fine else 2 * pulse  # ticks of two beats
    offset = tone.onset - bar.start
    counted = offset + _missing(chart, bar)
    place = _counted(2 * counted, halves)
    odd = not fine and bar.length % (2 * pulse) == pulse
    before, after = silence
    return Spot(
        index=n,
        tone=tone,
        offset=offset,
        beat=place,
        length=2 * tone.duration / halves,
        quarters=tone.duration / chart.resolution,
        strong=place == 1 if odd else place.denominator == 1 and place.numerator % 2 == 1,
        pushed=counted % pulse > 0
        and counted % pulse + tone.duration > pulse
        and not tone.head.in_tuplet,
        before=2 * before / halves,
        after=2 * after / halves,
        rise=tone.pitch - tones[n - 1].pitch if n else 0,
        ahead=tones[n + 1].pitch - tone.pitch if n + 1 < len(tones) else 0,
        triplet=triplet,
        phrase=phrase,
        first=first,
        last=last,
        slur=slur,
        fine=fine,
        compound=pulse != chart.resolution and not fine,
    )


@lru_cache(maxsize=1024)
def _counted(ticks: int, beat: int) -> Fraction:
    """Ticks from the bar line as a beat, from 1."""
    return Fraction(ticks, beat) + 1


def _missing(chart: Chart, bar: Bar) -> int:
    """Ticks that a pick-up bar lacks at its front: its notes lead to the next bar line."""
    whole = int(bar.meter.quarters * chart.resolution)
    return max(0, whole - bar.length) if bar.index == 0 else 0


def _silences(
    chart: Chart, part: int, tones: Sequence[Tone], elsewhere: Mapping[int, frozenset[int]]
) -> tuple[list[float], list[float]]:
    """Ticks of silence before and after each of these tones in their part; what lies beyond the
    part's own first and last note, when the chart has no bar there, is endless. After a bar that at
    some time goes back, the shortest silence counts: a note that runs on once must not be cut
    off."""
    line = chart.lines[part]
    at = bisect_left(line, tones[0].onset, key=_onset)
    before = [float(tone.onset - last.end) for last, tone in pairwise(tones)]
    first = tones[0].onset - line[at - 1].end if at else END * chart.resolution
    after = [_silence_after(chart, line, at + n, elsewhere) for n in range(len(tones))]
    return [max(float(first), 0.0), *before], after


def _silence_after(
    chart: Chart, line: Sequence[Tone], n: int, elsewhere: Mapping[int, frozenset[int]]
) -> float:
    tone = line[n]
    bar = chart.bar_at(tone.end - 1)
    then = line[n + 1] if n + 1 < len(line) else None
    to_line = bar.end - tone.end
    beyond = elsewhere.get(bar.index)
    if beyond is not None and (then is None or then.onset >= bar.end):
        return float(to_line + min(_lead_in(chart, line, index) for index in beyond))
    if then is not None:
        return float(then.onset - tone.end)
    left = chart.bars[-1].end - tone.end
    return float(left) if left > 0 else END * chart.resolution


def _lead_in(chart: Chart, line: Sequence[Tone], index: int) -> int:
    """Ticks from a bar line to the first note of the bar, the whole bar if it has none."""
    bar = chart.bars[index]
    at = bisect_left(line, bar.start, key=_onset)
    return min(line[at].onset - bar.start, bar.length) if at < len(line) else bar.length


_onset = attrgetter("onset")


# a chart says the same few chords again and again, and each round of a plan asks anew
_parsed = lru_cache(maxsize=512)(parse_chord)


def _chords(chart: Chart, part: int) -> tuple[tuple[int, Chord], ...]:
    """The chords over a line, sounding: from its own symbols, else from the first part that has
    any."""
    for source in (chart.parts[part], *chart.parts):
        symbols = [d for d in source.directions if d.kind == "chord"]
        if symbols:
            found = (
                (d.onset, _parsed(d.value, source.transposition_at(d.onset).chromatic))
                for d in symbols
            )
            return tuple(
                sorted(
                    ((onset, chord) for onset, chord in found if chord is not None),
                    key=lambda pair: pair[0],
                )
            )
    return ()


def _phrase_ends(tones: Sequence[Tone], beat: int) -> set[int]:
    """Where a player hears the line end: a rest of a beat; a shorter rest after four notes or more,
    or after two that a rest has set off (a short figure); a note of two beats or more that the line
    does not hurry away from; the end of one long slur and the start of the next (Basic Jazz
    Concepts slides: slurs often show phrases); a line without any of these (a walking bass) is cut
    at a bar line, which also keeps the time to plan it in proportion. The lengths are
    judgements."""
    ends = {len(tones) - 1}
    since = under_slur = 0
    set_off = True
    for n in range(len(tones) - 1):
        since += 1
        here, then = tones[n], tones[n + 1]
        gap = then.onset - here.end
        under_slur = 1 if here.slurs_from and not here.slurs_to else under_slur + 1
        joined = here.slurs_to and not here.slurs_from and then.slurs_from
        slurred_phrase = (
            joined and under_slur >= _PHRASE_SLUR and here.pitch != then.pitch
        )  # else a repeated note is tongued
        too_long = since >= _LONGEST and (then.bar != here.bar or since >= 2 * _LONGEST)
        if (
            too_long
            or slurred_phrase
            or _rest_ends(gap, beat, since, set_off)
            or _hold_ends(here, then, gap, beat)
        ):
            ends.add(n)
            since = 0
            set_off = 2 * gap >= beat
    return ends


def _rest_ends(gap: int, beat: int, since: int, set_off: bool) -> bool:
    return gap >= beat or (gap * 2 >= beat and since >= (_SET_OFF if set_off else _ENOUGH))


def _hold_ends(here: Tone, then: Tone, gap: int, beat: int) -> bool:
    on = then.duration >= HELD * beat  # a pad goes on from held note to held note
    return here.duration >= HELD * beat and (gap > 0 or (here.duration >= 3 * beat and not on))


def _slurs(tones: Sequence[Tone]) -> list[str]:
    """Where each note stands under a printed slur; a note between two slurs ends the first
    ("last"). A slur that is never closed ends at the next rest, and one that starts and stops on
    the notes of one tie is none."""
    found: list[str] = []
    depth = until = 0
    for tone in tones:
        if tone.onset > until:
            depth = 0
        until = tone.end
        if tone.slurs_from and tone.slurs_to and not depth:
            found.append("")
            continue
        ends = depth > 0 and tone.slurs_to
        depth = max(0, depth - ends)
        found.append(
            "last"
            if ends and not depth
            else ("inside" if depth else ("first" if tone.slurs_from else ""))
        )
        depth += tone.slurs_from
    return found


def _triplets(tones: Sequence[Tone], chart: Chart) -> list[int]:
    """1, 2, 3 for the notes of each group of three equal notes in the time of one beat or half
    beat."""
    found = [0] * len(tones)
    n = 0
    while n + 2 < len(tones):
        a, b, c = tones[n : n + 3]
        same = a.duration == b.duration == c.duration and a.end == b.onset and b.end == c.onset
        if (
            same
            and a.head.in_tuplet
            and 3 * a.duration in (chart.resolution, chart.resolution * 2, chart.resolution // 2)
        ):
            found[n : n + 3] = [1, 2, 3]
            n += 3
        else:
            n += 1
    return found
