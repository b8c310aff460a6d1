"""Which files an audition has.

For each passage: the lead line flat and then shaped, with a bar between ("compare"); the lead in
each other reading; the section as planned; and for a part that is named (or for all), that part
with the lead, and the section without it. Slow tempos come as files of their own. The whole chart
comes flat and shaped.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import nullcontext
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from sectionprep.errors import BadArgument
from sectionprep.music.chart import Chart
from sectionprep.music.clock import Clock, steady
from sectionprep.music.naming import find_part
from sectionprep.outputs.audition.band import Band, Voice
from sectionprep.outputs.audition.midi import Signature, Track, midi_file, signatures_of
from sectionprep.outputs.audition.performance import Played
from sectionprep.outputs.audition.rhythm import is_generated
from sectionprep.outputs.audition.road import (
    LONGEST,
    Piece,
    is_cut,
    laid_out,
    length_of,
    most_bars,
    pieces_of,
    played_at,
    played_clock,
)
from sectionprep.outputs.audition.sampled import Player
from sectionprep.outputs.audition.soundfiles import write_sound
from sectionprep.outputs.audition.synth import DRUMS, blocks
from sectionprep.outputs.names import safe_name
from sectionprep.passages import Passage, Together
from sectionprep.phrasing import PassagePlan, Plan
from sectionprep.phrasing.plan import Reading

ALL = "all"  # parts


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What to play. passages: ids, empty for all. part: a player's part, or "all". tempos: shares
    of the chart's tempo. loops: how often each is played, a bar apart. click: a quiet click along.
    sound: wav, flac, ogg or mp3. rhythm: with what is generated for the rhythm section. font: a
    sound font whose instruments play, None for our own. many: also hundreds of files, or hours."""

    passages: tuple[str, ...] = ()
    part: str = ""
    tempos: tuple[float, ...] = (1.0,)
    loops: int = 1
    click: bool = False
    sound: str = "wav"
    rhythm: bool = True
    font: Path | None = None
    many: bool = False


@dataclass(frozen=True, slots=True)
class _Take:
    """One sound to be: its name, what makes its voices, and how often the passage is in it."""

    name: str
    voices: Callable[[], tuple[Voice, ...]]
    times: int = 1


def write_audition(
    chart: Chart,
    together: Together,
    plan: Plan,
    folder: Path,
    wish: Wish,
    say: Callable[[str], None] = lambda _: None,
) -> list[Path]:
    """Write the files and return their paths. Times start at zero; a bar is counted in. say: is
    told what a person should know."""
    known = {p.id for p in together.passages}
    unknown = [name for name in wish.passages if name not in known]
    if unknown:
        raise BadArgument(
            f"there is no passage {unknown[0]}.", remedy=f"Passages: {', '.join(sorted(known))}."
        )
    if wish.part and wish.part != ALL:
        wish = replace(wish, part=find_part(chart.parts, wish.part).label)
    band = Band(chart, together, plan, muted=not wish.rhythm)
    _ask_about_many(band, wish)
    folder.mkdir(parents=True, exist_ok=True)
    with Player(wish.font) if wish.font else nullcontext() as player:
        written = list(_everything(band, folder, wish, player))
        if player is not None and player.lost:
            say(f"The sound font was of no use ({player.lost}): our own instruments played.")
    return written


def _everything(band: Band, folder: Path, wish: Wish, player: Player | None) -> Iterator[Path]:
    for passage, share, clock, take in _of_passages(band, wish):
        suffix = "" if share == 1.0 else f"_{round(100 * share)}"
        stem = folder / f"{passage.id}_{take.name}{suffix}"
        yield from _write(band.chart, stem, take, clock, passage, wish, player)
    if not wish.passages:
        for flat in (False, True):
            stem = folder / ("whole_chart_flat" if flat else "whole_chart")
            yield from _whole(band, stem, wish, player, flat=flat)


def _of_passages(band: Band, wish: Wish) -> Iterator[tuple[Passage, float, Clock, _Take]]:
    """What is to be heard of each passage, at which share of the tempo, by which clock."""
    for passage in band.together.passages:
        planned = band.plan.of(passage.id)
        if planned is None or (wish.passages and passage.id not in wish.passages):
            continue
        for share in wish.tempos:
            clock = band.chart.clock.at_a_share(share)
            for take in _takes(band, passage, planned, clock, wish):
                yield passage, share, clock, take


def _reckoned(band: Band, wish: Wish) -> tuple[int, float]:
    """How many files there will be, and about how many seconds of sound."""
    chart, files, seconds = band.chart, 0, 0.0
    for passage, _, clock, take in _of_passages(band, wish):
        first, last = _bars(chart, passage)
        once = clock.second(last) - clock.second(first) + _bar_seconds(chart, passage, clock)
        files, seconds = files + 2, seconds + once * take.times * wish.loops
    if not wish.passages:
        files, seconds = files + 4, seconds + 2 * length_of(pieces_of(chart, chart.clock))
    return files, seconds


_MANY, _LONG = 200, 3 * 3600  # files and seconds of sound that nobody wants by mistake; judgement


def _ask_about_many(band: Band, wish: Wish) -> None:
    """Raises BadArgument where far more would come out than anybody listens to."""
    files, seconds = _reckoned(band, wish)
    if wish.many or (files <= _MANY and seconds <= _LONG):
        return
    raise BadArgument(
        f"that makes {files:,} files with {seconds / 3600:.1f} hours of sound.",
        remedy="Say --many if you want them all, or fewer of --tempos, --loops, --part, --passage.",
    )


def remarks(chart: Chart, wish: Wish) -> tuple[str, ...]:
    """What a listener must know: what the file does not say, what is generated, what is cut."""
    found = []
    if not chart.tempos:
        tempo = f"{chart.assumed_tempo:.0f} beats a minute"
        found.append(f"The chart states no tempo: played at {tempo}; --bpm changes it.")
    made = [part.label for part in chart.parts if is_generated(chart, part)]
    if made and wish.rhythm and not wish.passages:
        found.append(
            f"Generated where there are only slashes: {', '.join(made)} (simple time and chords; "
            f"--no-rhythm mutes them)."
        )
    if not wish.passages and is_cut(chart):
        found.append(
            f"The road map goes on beyond {most_bars(chart)} bars: the whole chart stops there, or "
            f"after {LONGEST} minutes. Check its repeats."
        )
    return tuple(found)


def _takes(
    band: Band, passage: Passage, planned: PassagePlan, clock: Clock, wish: Wish
) -> Iterable[_Take]:
    chart = band.chart

    def voice(part: int, plan: PassagePlan | None = planned) -> Voice:
        return band.in_passage(part, passage, plan, clock)

    def compared() -> tuple[Voice, ...]:
        flat, shaped = voice(passage.lead, None), voice(passage.lead)
        first, last = _bars(chart, passage)
        gap = clock.second(last) - clock.second(first) + _bar_seconds(chart, passage, clock)
        later = (replace(n, start=n.start + gap) for n in shaped.notes)
        return (replace(flat, notes=(*flat.notes, *later)),)

    def read(reading: Reading) -> tuple[Voice, ...]:
        return (voice(passage.lead, replace(planned, notes=reading.notes)),)

    def played(*parts: int) -> tuple[Voice, ...]:
        return tuple(voice(part) for part in parts)

    yield _Take("lead_compare", compared, times=2)
    for reading in (r for r in planned.readings if r.differs):
        yield _Take(f"lead_{safe_name(reading.name).lower()}", partial(read, reading))
    yield _Take("section", partial(played, *passage.parts))
    for part in passage.parts:
        name = chart.parts[part].label
        if wish.part not in (ALL, name):
            continue
        mine = "my_part" if wish.part != ALL else safe_name(name)
        me = "me" if wish.part != ALL else safe_name(name)
        if part != passage.lead:
            yield _Take(f"{mine}_with_lead", partial(played, part, passage.lead))
        others = [p for p in passage.parts if p != part]
        yield _Take(f"section_without_{me}", partial(played, *others))


def _bars(chart: Chart, passage: Passage) -> tuple[float, float]:
    """From the bar line before a passage to the one after it, in quarters."""
    last = chart.bars[chart.end_place(passage.end).index]
    return chart.bar_at(passage.start).start / chart.resolution, last.end / chart.resolution


def _bar_seconds(chart: Chart, passage: Passage, clock: Clock) -> float:
    bar = chart.bar_at(passage.start)
    return bar.length / chart.resolution * 60 / clock.tempo_at(bar.start / chart.resolution)


def _write(
    chart: Chart,
    stem: Path,
    take: _Take,
    clock: Clock,
    passage: Passage,
    wish: Wish,
    player: Player | None,
) -> list[Path]:
    """Count-in, then the take as often as wished, a bar apart."""
    bar = _bar_seconds(chart, passage, clock)
    first, last = _bars(chart, passage)
    made = take.voices()
    origin = clock.second(first)
    once = max(n.start + n.length for voice in made for n in voice.notes) - origin
    step = (-(-(once - 1e-6) // bar) + 1) * bar
    voices = [
        replace(
            voice,
            notes=tuple(
                replace(n, start=n.start - origin + bar + k * step)
                for k in range(wish.loops)
                for n in voice.notes
            ),
        )
        for voice in made
    ]
    tempo = clock.tempo_at(first)
    beats = max(1, round(bar * tempo / 60))
    clicks = [(n * 60 / tempo, n == 0) for n in range(beats)]
    if wish.click:
        count = round(last - first)
        clicks += [
            (bar + k * step + clock.second(first + n) - origin, n % beats == 0)
            for k in range(wish.loops)
            for n in range(count)
        ]
    here = chart.bar_at(passage.start)
    held = [sign for sign in signatures_of(chart, clock) if sign.second <= origin + 1e-6]
    signature = Signature(second=0.0, meter=here.meter, fifths=held[-1].fifths if held else 0)
    return _files(
        stem,
        voices,
        bar + (wish.loops - 1) * step + once,
        clicks,
        steady(tempo),
        [(bar, f"{passage.id} {passage.scope}")],
        [signature],
        wish,
        player,
    )


_TAIL = 0.25  # seconds in which the last note and the room ring out


def _files(
    stem: Path,
    voices: Sequence[Voice],
    seconds: float,
    clicks: list[tuple[float, bool]],
    clock: Clock,
    markers: list[tuple[float, str]],
    signatures: list[Signature],
    wish: Wish,
    player: Player | None,
    pieces: Sequence[Piece] = (),
) -> list[Path]:
    """Sound and MIDI of the same notes. pieces: the order in which they are played, if it is not
    that in which they stand."""

    def played(voice: Voice) -> Iterable[Played]:
        return laid_out(voice.notes, pieces) if pieces else voice.notes

    sound, score = stem.with_name(f"{stem.name}.{wish.sound}"), stem.with_name(f"{stem.name}.mid")
    if player is not None:
        player.write(voices, seconds + _TAIL, clicks, sound, pieces)
    else:
        heard = [(v.section, played(v)) for v in voices]
        write_sound(blocks(heard, seconds + _TAIL, clicks), sound)
    tracks = [
        Track(name=v.name, program=v.program, notes=played(v), drums=v.section == DRUMS)
        for v in voices
    ]
    score.write_bytes(midi_file(tracks, clock, markers, signatures))
    return [sound, score]


def _whole(band: Band, stem: Path, wish: Wish, player: Player | None, *, flat: bool) -> list[Path]:
    """The whole chart as it is played, repeats and jumps taken."""
    chart, clock = band.chart, band.chart.clock
    pieces = pieces_of(chart, clock)
    marks = [(bar.start, bar.rehearsal) for bar in chart.bars if bar.rehearsal] + [
        (p.start, f"{p.id} {p.scope}") for p in band.together.passages
    ]
    markers = [
        (second, text)
        for tick, text in marks
        for second in played_at(clock.second(tick / chart.resolution), pieces)
    ]
    return _files(
        stem,
        band.whole(clock, flat=flat),
        length_of(pieces),
        [],
        played_clock(chart, clock, pieces),
        sorted(markers),
        signatures_of(chart, clock, pieces),
        wish,
        player,
        pieces,
    )
