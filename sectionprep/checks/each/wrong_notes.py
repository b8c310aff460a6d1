"""A wrong note in a unison or in octaves, with the note that was probably meant.

bad:  four saxes play Eb, the fifth E
good: all five play Eb
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.checks.finding import Check, Context, Finding
from sectionprep.music.chart import Chart, Part
from sectionprep.music.pitch import Pitch
from sectionprep.passages import Passage


def _in_key(chart: Chart, part: Part, tick: int, sounding: int) -> bool:
    tonic = (part.key_at(tick) * 7 + part.transposition_at(tick).chromatic) % 12
    return (sounding - tonic) % 12 in {0, 2, 4, 5, 7, 9, 11}


def _find(context: Context) -> Iterable[Finding]:
    for passage in context.together.passages:
        if passage.texture == "soli":
            continue
        odd = [d for d in passage.deviations if d.kind == "pitch"]
        for deviation in odd:
            if deviation.expected >= 0:
                yield _finding(context, passage, deviation.part, deviation.tick, deviation.expected)
        for tick in sorted({d.tick for d in odd if d.expected < 0}):
            yield from _two_against(context, passage, tick)


def _two_against(context: Context, passage: Passage, tick: int) -> Iterable[Finding]:
    """Two parts differ and nobody else plays: believe the one inside the key, else the lead."""
    chart = context.chart
    playing = [p for p in passage.parts if tick in context.tones[p]]
    outside = [
        p for p in playing if not _in_key(chart, chart.parts[p], tick, context.tones[p][tick].pitch)
    ]
    accused = (
        outside[0]
        if len(outside) == 1
        else next((p for p in playing if p != passage.lead), passage.lead)
    )
    other = next(
        (
            p
            for p in playing
            if p != accused
            and (context.tones[p][tick].pitch - context.tones[accused][tick].pitch) % 12
        ),
        accused,
    )
    yield _finding(context, passage, accused, tick, context.tones[other][tick].pitch % 12)


def _finding(context: Context, passage: Passage, part: int, tick: int, expected: int) -> Finding:
    chart = context.chart
    tone = context.tones[part][tick]
    against = passage.lead if passage.lead != part else next(p for p in passage.parts if p != part)
    meant = _written(context, part, tick, against, expected)
    has = tone.head.pitch
    return Finding(
        check="wrong-note",
        severity="error",
        tick=tick,
        part=part,
        lead=against,
        passage=passage.id,
        message=f"plays {has} (written) in {passage.texture} where "
        f"{chart.parts[against].label} and the others have "
        f"what would be {meant} here",
        fix=f"Probably {meant} (written). Ask the arranger or correct the note in the "
        f"score; notes are never changed here.",
    )


def _written(context: Context, part: int, tick: int, against: int, expected: int) -> Pitch | str:
    """The note the part should have, spelled from the part that has it, in this part's octave."""
    chart = context.chart
    tone = context.tones[part][tick]
    model = next(
        (
            context.tones[p][tick]
            for p in range(len(chart.parts))
            if p != part
            and tick in context.tones[p]
            and context.tones[p][tick].pitch % 12 == expected
        ),
        None,
    )
    if model is None or model.head.pitch is None:
        return "another note"
    sounding = chart.parts[model.head.part].transposition_at(tick).sounding_pitch(model.head.pitch)
    octaves = round((tone.pitch - sounding.midi) / 12)
    moved = Pitch(sounding.step, sounding.alter, sounding.octave + octaves)
    return chart.parts[part].transposition_at(tick).written_pitch(moved)


CHECK = Check(
    finds={"wrong-note": "a note that leaves a unison or octave line"},
    matter="notes",
    find=_find,
    seconds=True,
)
