"""Which files an audition has.

For each passage: the lead line flat and then shaped, with a bar between ("compare"); the lead in
each other reading; the section as planned; and for a part that is named (or for all), that part
with the lead, and the section without it. Slow tempos come as files of their own. The whole chart
comes flat and shaped.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from sectionprep.errors import BadArgument
from sectionprep.music.chart import Chart, Note, Part, Tone
from sectionprep.music.clock import Clock, steady
from sectionprep.music.lines import line_of
from sectionprep.music.naming import find_part
from sectionprep.outputs.audition.midi import Signature, Track, midi_file, signatures_of
from sectionprep.outputs.audition.performance import Played, play, tones_in
from sectionprep.outputs.audition.road import (
    laid_out,
    length_of,
    pieces_of,
    played_at,
    played_clock,
)
from sectionprep.outputs.audition.synth import encoded, render
from sectionprep.outputs.names import safe_name
from sectionprep.passages import Passage, Together
from sectionprep.phrasing import PassagePlan, Plan
from sectionprep.phrasing.styles import Style, styles

ALL = "all"  # parts


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What to play. passages: ids, empty for all. part: a player's part, or "all". tempos: shares
    of the chart's tempo. loops: how often each is played, a bar apart. click: a quiet click along.
    sound: wav, flac, ogg or mp3."""

    passages: tuple[str, ...] = ()
    part: str = ""
    tempos: tuple[float, ...] = (1.0,)
    loops: int = 1
    click: bool = False
    sound: str = "wav"


@dataclass(frozen=True, slots=True)
class _Voice:
    """One part of a take: its section (which tone), name, General MIDI program and notes."""

    section: str
    name: str
    program: int
    notes: tuple[Played, ...]


@dataclass(frozen=True, slots=True)
class _Take:
    """One file to be: name and voices."""

    name: str
    voices: tuple[_Voice, ...]


def write_audition(
    chart: Chart, together: Together, plan: Plan, folder: Path, wish: Wish
) -> list[Path]:
    """Write the files and return their paths. Times start at zero; a bar is counted in."""
    known = {p.id for p in together.passages}
    unknown = [name for name in wish.passages if name not in known]
    if unknown:
        raise BadArgument(
            f"there is no passage {unknown[0]}.", remedy=f"Passages: {', '.join(sorted(known))}."
        )
    if wish.part and wish.part != ALL:
        wish = replace(wish, part=find_part(chart.parts, wish.part).label)
    style = styles().get(plan.style) or styles()["medium-swing"]
    folder.mkdir(parents=True, exist_ok=True)
    written: list[Path] = []
    for passage in together.passages:
        planned = plan.of(passage.id)
        if planned is None or (wish.passages and passage.id not in wish.passages):
            continue
        for share in wish.tempos:
            clock = chart.clock.at_a_share(share)
            for take in _takes(chart, passage, planned, clock, style, wish):
                suffix = "" if share == 1.0 else f"_{round(100 * share)}"
                written += _write(
                    chart, folder / f"{passage.id}_{take.name}{suffix}", take, clock, passage, wish
                )
    if not wish.passages:
        written += _whole(chart, together, plan, folder / "whole_chart", style, wish)
        flat = replace(plan, passages=(), hits=())
        written += _whole(chart, together, flat, folder / "whole_chart_flat", style, wish)
    return written


def _voice(chart: Chart, part: int, notes: Iterable[Played]) -> _Voice:
    chair = chart.parts[part].chair
    return _Voice(
        chair.section, chart.parts[part].label, (chair.instrument.programs or (1,))[0], tuple(notes)
    )


def _takes(
    chart: Chart, passage: Passage, planned: PassagePlan, clock: Clock, style: Style, wish: Wish
) -> Iterable[_Take]:
    def voice(part: int, plan: PassagePlan | None) -> _Voice:
        return _voice(
            chart, part, play(chart, tones_in(chart, passage, part), plan, clock=clock, style=style)
        )

    flat, shaped = voice(passage.lead, None), voice(passage.lead, planned)
    first, last = _bars(chart, passage)
    gap = clock.second(last) - clock.second(first) + _bar_seconds(chart, passage, clock)
    yield _Take(
        "lead_compare",
        (
            replace(
                flat, notes=(*flat.notes, *(replace(n, start=n.start + gap) for n in shaped.notes))
            ),
        ),
    )
    for reading in (r for r in planned.readings if r.differs):
        yield _Take(
            f"lead_{safe_name(reading.name).lower()}",
            (voice(passage.lead, replace(planned, notes=reading.notes)),),
        )
    yield _Take("section", tuple(voice(p, planned) for p in passage.parts))
    for part in passage.parts:
        name = chart.parts[part].label
        if wish.part not in (ALL, name):
            continue
        mine = "my_part" if wish.part != ALL else safe_name(name)
        me = "me" if wish.part != ALL else safe_name(name)
        if part != passage.lead:
            yield _Take(f"{mine}_with_lead", (voice(part, planned), shaped))
        yield _Take(
            f"section_without_{me}", tuple(voice(p, planned) for p in passage.parts if p != part)
        )


def _bars(chart: Chart, passage: Passage) -> tuple[float, float]:
    """From the bar line before a passage to the one after it, in quarters."""
    last = chart.bars[chart.end_place(passage.end).index]
    return chart.bar_at(passage.start).start / chart.resolution, last.end / chart.resolution


def _bar_seconds(chart: Chart, passage: Passage, clock: Clock) -> float:
    bar = chart.bar_at(passage.start)
    return bar.length / chart.resolution * 60 / clock.tempo_at(bar.start / chart.resolution)


def _write(
    chart: Chart, stem: Path, take: _Take, clock: Clock, passage: Passage, wish: Wish
) -> list[Path]:
    """Count-in, then the take as often as wished, a bar apart."""
    bar = _bar_seconds(chart, passage, clock)
    first, last = _bars(chart, passage)
    origin = clock.second(first)
    once = max(n.start + n.length for voice in take.voices for n in voice.notes) - origin
    step = (-(-once // bar) + 1) * bar
    voices = [
        replace(
            voice,
            notes=tuple(
                replace(n, start=n.start - origin + bar + k * step)
                for k in range(wish.loops)
                for n in voice.notes
            ),
        )
        for voice in take.voices
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
        bar + wish.loops * step,
        clicks,
        steady(tempo),
        [(bar, f"{passage.id} {passage.scope}")],
        [signature],
        wish,
    )


def _files(
    stem: Path,
    voices: list[_Voice],
    seconds: float,
    clicks: list[tuple[float, bool]],
    clock: Clock,
    markers: list[tuple[float, str]],
    signatures: list[Signature],
    wish: Wish,
) -> list[Path]:
    """Sound and MIDI of the same notes."""
    sound, score = stem.with_name(f"{stem.name}.{wish.sound}"), stem.with_name(f"{stem.name}.mid")
    sound.write_bytes(
        encoded(render([(v.section, v.notes) for v in voices], seconds, clicks), wish.sound)
    )
    tracks = [Track(name=v.name, program=v.program, notes=v.notes) for v in voices]
    score.write_bytes(midi_file(tracks, clock, markers, signatures))
    return [sound, score]


def _whole(
    chart: Chart, together: Together, plan: Plan, stem: Path, style: Style, wish: Wish
) -> list[Path]:
    """The whole chart as it is played, repeats and jumps taken: passages as the plan has them,
    everything else as written."""
    clock = chart.clock
    notes: dict[int, list[Played]] = {}
    covered: dict[int, set[int]] = {part.index: set() for part in chart.parts}
    for passage in together.passages:
        planned = plan.of(passage.id)
        for part in passage.parts:
            tones = [t for t in tones_in(chart, passage, part) if t.onset not in covered[part]]
            covered[part].update(t.onset for t in tones)
            notes.setdefault(part, []).extend(play(chart, tones, planned, clock=clock, style=style))
    for other in chart.parts:
        rest = [t for t in chart.lines[other.index] if t.onset not in covered[other.index]]
        rest += _other_voices(chart, other)
        notes.setdefault(other.index, []).extend(play(chart, rest, None, clock=clock, style=style))
    pieces = pieces_of(chart, clock)
    marks = [(bar.start, bar.rehearsal) for bar in chart.bars if bar.rehearsal] + [
        (p.start, f"{p.id} {p.scope}") for p in together.passages
    ]
    markers = [
        (second, text)
        for tick, text in marks
        for second in played_at(clock.second(tick / chart.resolution), pieces)
    ]
    voices = [
        _voice(chart, part.index, laid_out(notes[part.index], pieces))
        for part in chart.parts
        if notes.get(part.index)
    ]
    return _files(
        stem,
        voices,
        length_of(pieces),
        [],
        played_clock(chart, clock, pieces),
        sorted(markers),
        signatures_of(chart, clock, pieces),
        wish,
    )


def _other_voices(chart: Chart, part: Part) -> list[Tone]:
    """What a part plays beside its line: further voices, the other hand, the lower notes of
    chords."""
    line = chart.lines[part.index]
    tops = {note.address for tone in line for note in tone.notes}
    groups: dict[tuple[int, str], list[Note]] = {}
    for note in part.notes:
        groups.setdefault((note.staff, note.voice), []).append(note)
    found: list[Tone] = []
    for notes in groups.values():
        for tone in line_of(notes):
            own = tone.head.address in tops
            found += [tone._replace(pitch=pitch) for pitch in tone.pitches[own:]]
    return found
