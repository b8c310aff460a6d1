"""A line as a rule sees it: each note with its beat, neighbours, contour, rests and phrase."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from operator import attrgetter

from sectionprep.music.chart import Chart, Tone
from sectionprep.music.chords import Chord, parse_chord
from sectionprep.phrasing.styles import Style


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """One note in its surroundings.

    offset: ticks from its bar line. length: in beats (the style's felt beat). before, after: silence on
    either side, in beats (a large number at the ends of the part). strong: on 1 or 3, or on 1 alone where the bar has an odd
    number of beats. rise: semitones from the note before;
    ahead: semitones to the note after (0 at the ends). triplet: 1, 2, 3 inside a triplet, else 0. slur: "first",
    "inside" or "last" note of a printed slur, else "".
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
    strong: bool = False
    slur: str = ""

    @property
    def on_beat(self) -> bool:
        """On a felt beat."""
        return self.beat.denominator == 1

    @property
    def off_beat(self) -> bool:
        """Half way between two felt beats."""
        return self.beat.denominator == 2

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
    """A line cut into phrases. beat: ticks of the felt beat. phrases: (first, last) indices of spots. chords: (tick, sounding
    chord), from the part itself or from the first part that carries symbols."""

    spots: tuple[Spot, ...]
    phrases: tuple[tuple[int, int], ...]
    style: Style
    beat: int
    tempo: float
    chords: tuple[tuple[int, Chord], ...] = ()

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
        return len(around) > 1 and all(near.length >= PAD for near in around)

    @property
    def short(self) -> float:
        """Beats of a note that a player calls short, an eighth: half a beat, or a whole one where the beat is an eighth."""
        return 1.0 if self.style.unit == "16th" else 0.5

    @property
    def beat_name(self) -> str:
        """The note that one beat is written as."""
        return "eighth" if self.style.unit == "16th" else "quarter"

    def chord_at(self, spot: Spot) -> Chord | None:
        """The chord that sounds when a note begins."""
        at = self._chord_index(spot)
        return self.chords[at][1] if at >= 0 else None

    def new_chord(self, spot: Spot) -> Chord | None:
        """The chord, if it has changed within a beat before the note begins."""
        at = self._chord_index(spot)
        if at < 1 or spot.tone.onset - self.chords[at][0] >= self.beat or self.chords[at][1] == self.chords[at - 1][1]:
            return None
        return self.chords[at][1]

    def _chord_index(self, spot: Spot) -> int:
        return bisect_right(self.chords, spot.tone.onset, key=lambda chord: chord[0]) - 1


PAD = 2  # beats: a note of a pad; judgement
_LONGEST = 64  # notes in one phrase: eight bars of eighths
_PHRASE_SLUR = 6  # notes under one slur from which it shows a phrase; judgement
END = 90.0  # beats: what lies beyond the first and the last note of a part

TEMPO_IF_SILENT = 120.0  # where a chart states no tempo


def felt_beat(chart: Chart, bar: int, style: Style) -> int:
    """Ticks of the felt beat: the meter's pulse, halved in styles that think in sixteenths."""
    ticks = chart.bars[bar].meter.pulse * chart.resolution
    if style.unit == "16th":
        ticks /= 2
    return max(1, int(ticks))


def view_line(chart: Chart, tones: Sequence[Tone], style: Style, part: int) -> LineView:
    """Look at consecutive tones of one part as a line."""
    beat = felt_beat(chart, tones[0].bar, style)
    borders = _phrase_ends(tones, beat)
    triplets = _triplets(tones, chart)
    slurs = _slurs(tones)
    silence = _silence_around(chart, part, tones)
    spots: list[Spot] = []
    phrase, first = 0, 0
    phrases: list[tuple[int, int]] = []
    here, start, own_beat, odd = -1, 0, beat, False  # of the bar of the note at hand
    for n, tone in enumerate(tones):
        if tone.bar != here:
            here, bar = tone.bar, chart.bars[tone.bar]
            start, own_beat = bar.start, felt_beat(chart, here, style)
            odd = Fraction(bar.length, own_beat) % 2 == 1
        last = n in borders
        starts = n == first
        place = Fraction(tone.onset - start + own_beat, own_beat)
        spots.append(Spot(
            index=n, tone=tone, offset=tone.onset - start,
            beat=place, length=tone.duration / own_beat,
            strong=place == 1 if odd else place.denominator == 1 and place.numerator % 2 == 1,
            before=(tone.onset - tones[n - 1].end) / own_beat if n else silence[0] / own_beat,
            after=(tones[n + 1].onset - tone.end) / own_beat if n + 1 < len(tones) else silence[1] / own_beat,
            rise=tone.pitch - tones[n - 1].pitch if n else 0,
            ahead=tones[n + 1].pitch - tone.pitch if n + 1 < len(tones) else 0,
            triplet=triplets[n], phrase=phrase, first=starts, last=last, slur=slurs[n],
        ))
        if last:
            phrases.append((first, n))
            phrase, first = phrase + 1, n + 1
    return LineView(spots=tuple(spots), phrases=tuple(phrases), style=style, beat=beat,
                    tempo=chart.tempo or TEMPO_IF_SILENT, chords=_chords(chart, part))


def _silence_around(chart: Chart, part: int, tones: Sequence[Tone]) -> tuple[float, float]:
    """Ticks of silence before the first and after the last of these tones in their part; what lies beyond the part's own
    first and last note, when the chart has no bar there, is endless."""
    line = chart.lines[part]
    first, last = bisect_left(line, tones[0].onset, key=_onset), bisect_left(line, tones[-1].onset, key=_onset)
    before = tones[0].onset - line[first - 1].end if first else END * chart.resolution
    after = line[last + 1].onset - tones[-1].end if last + 1 < len(line) else chart.bars[-1].end - tones[-1].end
    return max(before, 0), after if after > 0 or last + 1 < len(line) else END * chart.resolution


_onset = attrgetter("onset")


def _chords(chart: Chart, part: int) -> tuple[tuple[int, Chord], ...]:
    """The chords over a line, sounding: from its own symbols, else from the first part that has any."""
    for source in (chart.parts[part], *chart.parts):
        symbols = [d for d in source.directions if d.kind == "chord"]
        if symbols:
            found = ((d.onset, parse_chord(d.value, source.transposition_at(d.onset).chromatic)) for d in symbols)
            return tuple(sorted(((onset, chord) for onset, chord in found if chord is not None), key=lambda pair: pair[0]))
    return ()


def _phrase_ends(tones: Sequence[Tone], beat: int) -> set[int]:
    """Where a player hears the line end: a rest of a beat; a shorter rest after four notes or more; a note
    of two beats or more that the line does not hurry away from; the end of one long slur and the start of the next (Basic
    Jazz Concepts slides: slurs often show phrases); a line without any of these (a walking bass) is cut at
    a bar line, which also keeps the time to plan it in proportion. The lengths are judgements."""
    ends = {len(tones) - 1}
    since = under_slur = 0
    for n in range(len(tones) - 1):
        since += 1
        gap = tones[n + 1].onset - tones[n].end
        held = tones[n].duration >= PAD * beat
        on = tones[n + 1].duration >= PAD * beat  # a pad goes on from held note to held note
        under_slur = 1 if tones[n].slurs_from and not tones[n].slurs_to else under_slur + 1
        slurred_phrase = tones[n].slurs_to and not tones[n].slurs_from and tones[n + 1].slurs_from and under_slur >= _PHRASE_SLUR
        too_long = since >= _LONGEST and (tones[n + 1].bar != tones[n].bar or since >= 2 * _LONGEST)
        if too_long or slurred_phrase or gap >= beat or (gap * 2 >= beat and since >= 4) or (held and (gap > 0 or (tones[n].duration >= 3 * beat and not on))):
            ends.add(n)
            since = 0
    return ends


def _slurs(tones: Sequence[Tone]) -> list[str]:
    """Where each note stands under a printed slur; a note between two slurs ends the first ("last"). A slur that is never
    closed ends at the next rest, and one that starts and stops on the notes of one tie is none."""
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
        found.append("last" if ends and not depth else ("inside" if depth else ("first" if tone.slurs_from else "")))
        depth += tone.slurs_from
    return found


def _triplets(tones: Sequence[Tone], chart: Chart) -> list[int]:
    """1, 2, 3 for the notes of each group of three equal notes in the time of one beat or half beat."""
    found = [0] * len(tones)
    n = 0
    while n + 2 < len(tones):
        a, b, c = tones[n : n + 3]
        same = a.duration == b.duration == c.duration and a.end == b.onset and b.end == c.onset
        if same and a.head.in_tuplet and 3 * a.duration in (chart.resolution, chart.resolution * 2, chart.resolution // 2):
            found[n : n + 3] = [1, 2, 3]
            n += 3
        else:
            n += 1
    return found
