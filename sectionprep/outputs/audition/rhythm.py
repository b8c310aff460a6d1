"""What the rhythm section plays where only slashes and chord symbols stand: simple time, no
performance. Every pattern is common practice, no source; levels are judgement.

Ride and hi-hat keep time in the chart's style, and the band's accents are kicked; guitar and piano
comp the symbols; a bass without notes plays roots and fifths.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction

from sectionprep.music.chart import Bar, Chart, Part
from sectionprep.music.chords import Chord, parse_chord
from sectionprep.music.clock import Clock
from sectionprep.music.in_force import in_force
from sectionprep.music.instruments import HORNS
from sectionprep.outputs.audition.dynamics import Loudness
from sectionprep.outputs.audition.performance import Played, SwungTime
from sectionprep.passages import Together
from sectionprep.phrasing import Plan
from sectionprep.phrasing.styles import Style

KICK, STICK, SNARE, HAT, PEDAL, CRASH, RIDE = 36, 37, 38, 42, 44, 49, 51
_HALF = Fraction(1, 2)
#: the drum that a written place on the staff means in most band charts
_PLACES = {
    ("D", 4): PEDAL,
    ("F", 4): KICK,
    ("A", 4): 41,
    ("C", 5): SNARE,
    ("D", 5): 45,
    ("E", 5): 48,
    ("F", 5): RIDE,
    ("G", 5): HAT,
    ("A", 5): CRASH,
}
_TIME_DB, _COMP_DB, _KICK_DB, _SHORTEST = -20.0, -24.0, -12.0, 0.05
_MOST_KICKS = 3  # in a bar: more is a solo; judgement
Beat = tuple[Fraction, int, float]  # quarters from the bar line, drum, decibels


def is_kit(part: Part) -> bool:
    """True for drums and unpitched percussion."""
    return part.chair.instrument.key in ("drums", "percussion")


def written_drums(part: Part, time: SwungTime, loudness: Loudness) -> list[Played]:
    """The notes of a drum part, each on the drum of its place. Without a place (the reader keeps
    none of unpitched notes) the upper voice is the snare's, the lower the bass drum's."""
    found = []
    for note in part.notes:
        if note.is_slash or note.is_rest or note.is_cue or note.tie_stop:
            continue
        if note.pitch is not None:
            drum = _PLACES.get((note.pitch.step, note.pitch.octave), SNARE)
        elif note.is_unpitched:
            drum = SNARE if note.voice == "1" else KICK
        else:
            continue
        level = -16.0 + loudness.at(note.onset)
        found.append(Played(start=time.at(note.onset), length=0.1, pitch=drum, level=level))
    return found


def generated(
    chart: Chart, part: Part, together: Together, plan: Plan, clock: Clock, style: Style
) -> list[Played]:
    """What a part of the rhythm section plays in its bars of slashes."""
    if not is_generated(chart, part):
        return []
    bars = slash_bars(chart, part)
    time = SwungTime(chart, clock, style)
    loudness = Loudness(chart, part.index)
    if is_kit(part):
        return _drums(chart, bars, together, plan, time, loudness, style)
    return list(_comped(chart, part, bars, time, loudness))


def is_generated(chart: Chart, part: Part) -> bool:
    """True where something of a part is made up: slashes of the rhythm section. A solo of another
    section is its player's."""
    return part.chair.section in ("rhythm", "percussion") and bool(slash_bars(chart, part))


def slash_bars(chart: Chart, part: Part) -> list[Bar]:
    """The bars of a part that say no more than slashes."""
    slashed = {note.bar for note in part.notes if note.is_slash}
    return [chart.bars[n] for n in sorted(slashed)]


def _drums(
    chart: Chart,
    bars: Sequence[Bar],
    together: Together,
    plan: Plan,
    time: SwungTime,
    loudness: Loudness,
    style: Style,
) -> list[Played]:
    kicks = _kicks(chart, together, plan)
    found = []
    for bar in bars:
        beats = list(_pattern(bar, chart.resolution, style))
        for tick, held in kicks.get(bar.index, ()):
            place = Fraction(tick - bar.start, chart.resolution)
            beats += [(place, KICK, _KICK_DB), (place, CRASH if held else SNARE, _KICK_DB)]
        for place, drum, level in beats:
            tick = bar.start + int(place * chart.resolution)
            level += loudness.at(tick) * 0.7
            found.append(Played(start=time.at(tick), length=0.1, pitch=drum, level=min(level, -3)))
    return sorted(found, key=lambda note: note.start)


def _pattern(bar: Bar, resolution: int, style: Style) -> Iterator[Beat]:
    """One bar of time: the beats in quarters."""
    quarters = Fraction(bar.length, resolution)
    whole = range(int(quarters))
    if style.swing:
        for n in whole:
            yield Fraction(n), RIDE, _TIME_DB
            back = n % 2 == 1 if quarters != 3 else n == 1
            if back or style.name == "shuffle":
                yield n + _HALF, RIDE, _TIME_DB - 5
            if back:
                yield Fraction(n), SNARE if style.name == "shuffle" else PEDAL, _TIME_DB
        return
    for n in whole:
        yield Fraction(n), HAT, _TIME_DB
        yield n + _HALF, HAT, _TIME_DB - 4
    if style.name == "ballad":
        yield from ((Fraction(n), STICK, _TIME_DB) for n in whole if n % 2)
    elif style.name in ("latin", "samba"):
        for n in whole:
            yield Fraction(n) + (n % 2) * _HALF, KICK, _TIME_DB
        places = (0, 3 * _HALF, 3) if bar.index % 2 == 0 else (1, 5 * _HALF)
        yield from ((Fraction(p), STICK, _TIME_DB + 2) for p in places if p < quarters)
    else:
        yield from ((Fraction(n), SNARE if n % 2 else KICK, _TIME_DB + 4) for n in whole)


def _kicks(chart: Chart, together: Together, plan: Plan) -> dict[int, list[tuple[int, bool]]]:
    """The band's accents by bar: (tick, it is held), from what is planned for the winds of two
    sections or more."""
    found: dict[int, dict[int, bool]] = {}
    for passage in together.marked:
        sections = {chart.parts[p].chair.section for p in passage.parts} & HORNS
        planned = plan.of(passage.id)
        if len(sections) < 2 or planned is None:
            continue
        for note in planned.notes:
            if note.leaned:
                held = note.tone.duration > chart.resolution
                found.setdefault(note.tone.bar, {})[note.tone.onset] = held
    return {bar: sorted(at.items())[:_MOST_KICKS] for bar, at in found.items()}


def _symbols(chart: Chart, part: Part) -> list[tuple[int, Chord]]:
    """Chord symbols in sounding pitch, by tick: the part's own, else of the first part that has
    some."""
    for other in (part, *chart.parts):
        signs = chart.signs(other.index, "chord")
        if signs:
            shift = 0 if chart.concert else other.transposition_at(0).chromatic
            read = ((s.onset, parse_chord(s.value, shift)) for s in signs)
            return [(tick, chord) for tick, chord in read if chord is not None]
    return []


def _comped(
    chart: Chart, part: Part, bars: Iterable[Bar], time: SwungTime, loudness: Loudness
) -> Iterator[Played]:
    symbols = _symbols(chart, part)
    kind = part.chair.instrument.key
    for bar in bars:
        for place, length in _comping(kind, Fraction(bar.length, chart.resolution)):
            tick = bar.start + int(place * chart.resolution)
            chord = in_force(symbols, tick, before=None)
            if chord is None:
                continue
            start = time.at(tick)
            end = time.at(min(bar.end, tick + int(length * chart.resolution)))
            level = _COMP_DB + 0.7 * loudness.at(tick) + (8 if kind == "bass" else 0)
            for pitch in _voicing(kind, chord, int(place)):
                yield Played(
                    start=start, length=max(_SHORTEST, end - start), pitch=pitch, level=level
                )


def _comping(kind: str, quarters: Fraction) -> Iterator[tuple[Fraction, Fraction]]:
    """When chords are struck in a bar, and for how long, in quarters."""
    whole = range(int(quarters))
    if kind == "bass":
        yield from ((Fraction(n), Fraction(9, 10)) for n in whole)
    elif kind == "guitar":
        yield from ((Fraction(n), Fraction(3, 5)) for n in whole)
    else:
        yield Fraction(0), Fraction(5, 4)
        if quarters >= 2:
            yield 3 * _HALF, _HALF


def _voicing(kind: str, chord: Chord, beat: int) -> list[int]:
    """MIDI numbers: roots and fifths for a bass, else the chord in one octave around middle C."""
    if kind == "bass":
        rest = sorted(chord.tones - chord.guide, key=lambda t: (t - chord.root) % 12)
        return [28 + (rest[beat % 2 % len(rest)] - 28) % 12]
    low = 52 if kind == "guitar" else 55
    return sorted(low + (tone - low) % 12 for tone in chord.tones)
