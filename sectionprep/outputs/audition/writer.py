"""Which files an audition has.

For each passage: the lead line flat and then shaped, with a bar between ("compare"); the section as planned; and for
a part that is named, that part with the lead, and the section without it. Slow tempos come as files of their own.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from sectionprep.errors import BadArgument
from sectionprep.music.chart import Chart
from sectionprep.outputs.audition.midi import Track, midi_file
from sectionprep.outputs.audition.performance import Played, play, tempo_of, tones_in
from sectionprep.outputs.audition.synth import render, wav
from sectionprep.passages import Passage, Together
from sectionprep.phrasing import PassagePlan, Plan
from sectionprep.phrasing.styles import Style, styles


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What to play. passages: ids, empty for all. part: a player's part. tempos: shares of the chart's tempo.
    loops: how often each is played, a bar apart. click: a quiet click along."""

    passages: tuple[str, ...] = ()
    part: str = ""
    tempos: tuple[float, ...] = (1.0,)
    loops: int = 1
    click: bool = False


@dataclass(frozen=True, slots=True)
class _Take:
    """One file to be: name and voices (section, part name, program, notes)."""

    name: str
    voices: tuple[tuple[str, str, int, tuple[Played, ...]], ...]


def write_audition(chart: Chart, together: Together, plan: Plan, folder: Path, wish: Wish) -> list[Path]:
    """Write the files and return their paths. Times start at zero; a bar is counted in."""
    known = {p.id for p in together.passages}
    unknown = [name for name in wish.passages if name not in known]
    if unknown:
        raise BadArgument(f"there is no passage {unknown[0]}.", remedy=f"Passages: {', '.join(sorted(known))}.")
    if wish.part and wish.part not in chart.names:
        raise BadArgument(f"there is no part {wish.part!r}.", remedy=f"Parts: {', '.join(chart.names)}.")
    style = styles().get(plan.style) or styles()["medium-swing"]
    written: list[Path] = []
    for passage in together.passages:
        planned = plan.of(passage.id)
        if planned is None or (wish.passages and passage.id not in wish.passages):
            continue
        for share in wish.tempos:
            tempo = tempo_of(chart) * share
            for take in _takes(chart, passage, planned, tempo, style, wish):
                suffix = "" if share == 1.0 else f"_{round(100 * share)}"
                written += _write(chart, folder / f"{passage.id}_{take.name}{suffix}", take, tempo, passage, wish)
    if not wish.passages:
        written += _whole(chart, together, plan, folder, style)
    return written


def _takes(chart: Chart, passage: Passage, planned: PassagePlan, tempo: float, style: Style, wish: Wish) -> Iterable[_Take]:
    def voice(part: int, plan: PassagePlan | None) -> tuple[str, str, int, tuple[Played, ...]]:
        chosen = chart.parts[part]
        programs = chosen.chair.instrument.programs
        notes = play(chart, tones_in(chart, passage, part), plan, tempo=tempo, style=style)
        return chosen.chair.section, chosen.name, programs[0] if programs else 1, tuple(notes)

    flat, shaped = voice(passage.lead, None), voice(passage.lead, planned)
    gap = _length(chart, passage, tempo) + _bar_seconds(chart, passage, tempo)
    later = tuple(replace(n, start=n.start + gap) for n in shaped[3])
    yield _Take("lead_compare", ((*flat[:3], (*flat[3], *later)),))
    yield _Take("section", tuple(voice(p, planned) for p in passage.parts))
    mine = next((p for p in passage.parts if chart.parts[p].name == wish.part), None)
    if mine is not None:
        if mine != passage.lead:
            yield _Take("my_part_with_lead", (voice(mine, planned), shaped))
        yield _Take("section_without_me", tuple(voice(p, planned) for p in passage.parts if p != mine))


def _bar_seconds(chart: Chart, passage: Passage, tempo: float) -> float:
    return chart.bar_at(passage.start).length / chart.resolution * 60 / tempo


def _length(chart: Chart, passage: Passage, tempo: float) -> float:
    bars = chart.end_place(passage.end).index
    return (chart.bars[bars].end - chart.bar_at(passage.start).start) / chart.resolution * 60 / tempo


def _write(chart: Chart, stem: Path, take: _Take, tempo: float, passage: Passage, wish: Wish) -> list[Path]:
    bar = _bar_seconds(chart, passage, tempo)
    origin = chart.bar_at(passage.start).start / chart.resolution * 60 / tempo
    once = max(n.start + n.length for _, _, _, notes in take.voices for n in notes) - origin
    step = (-(-once // bar) + 1) * bar
    voices = [
        (section, name, program, [replace(n, start=n.start - origin + bar + k * step) for k in range(wish.loops) for n in notes])
        for section, name, program, notes in take.voices
    ]
    total = bar + wish.loops * step
    beat = 60 / tempo
    counted = range(round((total if wish.click else bar) / beat))
    beats = max(1, round(bar / beat))
    clicks = [(n * beat, n % beats == 0) for n in counted]
    stem.parent.mkdir(parents=True, exist_ok=True)
    sound, score = stem.with_name(stem.name + ".wav"), stem.with_name(stem.name + ".mid")
    sound.write_bytes(wav(render([(section, notes) for section, _, _, notes in voices], total, clicks)))
    tracks = [Track(name=name, program=program, notes=notes) for _, name, program, notes in voices]
    score.write_bytes(midi_file(chart, tracks, tempo, [(bar, f"{passage.id} {passage.scope}")]))
    return [sound, score]


def _whole(chart: Chart, together: Together, plan: Plan, folder: Path, style: Style) -> list[Path]:
    """The whole chart as MIDI and sound: passages as planned, everything else as written."""
    tempo = tempo_of(chart)
    notes: dict[int, list[Played]] = {}
    covered: dict[int, set[int]] = {part.index: set() for part in chart.parts}
    for passage in together.passages:
        planned = plan.of(passage.id)
        for part in passage.parts:
            tones = tones_in(chart, passage, part)
            covered[part].update(t.onset for t in tones)
            notes.setdefault(part, []).extend(play(chart, tones, planned, tempo=tempo, style=style))
    for other in chart.parts:
        rest = [t for t in chart.lines[other.index] if t.onset not in covered[other.index]]
        notes.setdefault(other.index, []).extend(play(chart, rest, None, tempo=tempo, style=style))
    markers = [(bar.start / chart.resolution * 60 / tempo, bar.rehearsal) for bar in chart.bars if bar.rehearsal]
    markers += [(p.start / chart.resolution * 60 / tempo, f"{p.id} {p.scope}") for p in together.passages]
    playing = [part for part in chart.parts if notes.get(part.index)]
    tracks = [Track(name=p.name, program=(p.chair.instrument.programs or (1,))[0], notes=notes[p.index]) for p in playing]
    folder.mkdir(parents=True, exist_ok=True)
    score, sound = folder / "whole_chart.mid", folder / "whole_chart.wav"
    score.write_bytes(midi_file(chart, tracks, tempo, markers))
    seconds = chart.bars[-1].end / chart.resolution * 60 / tempo
    voices: Sequence[tuple[str, Sequence[Played]]] = [(p.chair.section, notes[p.index]) for p in playing]
    sound.write_bytes(wav(render(voices, seconds)))
    return [score, sound]
