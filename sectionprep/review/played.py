"""A passage played by our audition. Sound begins at the bar line before the passage and ends with
its last bar, so that it can be looped by bars.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from sectionprep.music.clock import Clock
from sectionprep.outputs.audition.dynamics import Loudness
from sectionprep.outputs.audition.performance import Played, SwungTime, play, tones_in
from sectionprep.outputs.audition.synth import Sound, blocks
from sectionprep.phrasing import PassagePlan
from sectionprep.review.sound import FLAT, SHAPED, Take
from sectionprep.review.view import stretches

if TYPE_CHECKING:
    from sectionprep.review.session import Review

_TAIL = 0.4  # seconds for the last note to die away


def times(review: Review, take: Take) -> dict[str, Any]:
    """When the notes of the lead sound and the bars begin, in seconds of the take: notes as
    [number, begin, end], bars as [index, printed number, begin, end]."""
    chart, planned = review.score.chart, review.planned(take.passage)
    clock, style = chart.clock.at_a_share(take.tempo / 100), review.style
    at = SwungTime(chart, clock, style)
    first, last = stretches(chart, review.passages[take.passage])[take.stretch]
    origin = at.at(chart.bars[first].start)
    return {
        "notes": [
            [n, round(at.at(note.tone.onset) - origin, 4), round(at.at(note.tone.end) - origin, 4)]
            for n, note in enumerate(planned.notes)
            if first <= note.tone.bar <= last
        ],
        "bars": [
            [bar.index, bar.number, round(at.at(bar.start) - origin, 4),
             round(at.at(bar.end) - origin, 4)]
            for bar in chart.bars[first : last + 1]
        ],
    }  # fmt: skip


def sound_of(review: Review, planned: PassagePlan, take: Take) -> Iterator[Sound]:
    """A take, block by block. Raises KeyError for a reading that there is not."""
    chart, passage = review.score.chart, review.passages[take.passage]
    clock, style = chart.clock.at_a_share(take.tempo / 100), review.style
    plan = _way(review, planned, take.how)
    first, last = (chart.bars[n] for n in stretches(chart, passage)[take.stretch])
    origin = clock.second(first.start / chart.resolution)
    seconds = clock.second(last.end / chart.resolution) - origin + _TAIL
    voices = []
    for part in passage.parts if take.whole else (passage.lead,):
        tones = [t for t in tones_in(chart, passage, part) if first.start <= t.onset < last.end]
        loudness = Loudness(chart, part, [planned])
        notes = play(chart, tones, plan, clock=clock, style=style, loudness=loudness)
        voices.append(
            (chart.parts[part].chair.section, [replace(n, start=n.start - origin) for n in notes])
        )
    held: list[tuple[str, list[Played]]] = [
        (section, [_within(note, seconds) for note in notes]) for section, notes in voices
    ]
    clicks = _clicks(review, take, clock, origin) if take.click else []
    return iter(blocks(held, seconds, clicks))


def _within(note: Played, seconds: float) -> Played:
    """A note that is held beyond the last bar ends with the sound."""
    return replace(note, length=max(min(note.length, seconds - note.start), 0.02))


def _way(review: Review, planned: PassagePlan, how: str) -> PassagePlan | None:
    if how == FLAT:
        return None
    if how == SHAPED:
        return planned
    by_rules = review.rules.of(planned.id)
    readings = {r.name: r for r in by_rules.readings} if by_rules else {}
    return replace(planned, notes=readings[how].notes)


def _clicks(review: Review, take: Take, clock: Clock, origin: float) -> list[tuple[float, bool]]:
    chart = review.score.chart
    first, last = stretches(chart, review.passages[take.passage])[take.stretch]
    found = []
    for bar in chart.bars[first : last + 1]:
        step = bar.meter.pulse * chart.resolution
        for n in range(max(1, round(bar.length / step))):
            second = clock.second(float(bar.start + n * step) / chart.resolution)
            found.append((second - origin, n == 0))
    return found
