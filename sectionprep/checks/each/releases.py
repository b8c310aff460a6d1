"""Different note lengths and releases inside a passage: short notes, early and late cut-offs.

bad:  lead holds a quarter, Trumpet 2 has an eighth and a rest
good: the same length in both, or a tie instead of a rest that comes to the same
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from sectionprep.checks.finding import Check, Context, Finding
from sectionprep.passages import Passage


def _find(context: Context) -> Iterable[Finding]:
    for passage in context.together.marked:
        for deviation in passage.deviations:
            if deviation.kind == "release":
                finding = _finding(
                    context, passage, deviation.part, deviation.tick, deviation.expected
                )
                if finding is not None:
                    yield finding


def _finding(
    context: Context, passage: Passage, part: int, tick: int, expected: int
) -> Finding | None:
    chart = context.chart
    tone = context.tones[part][tick]
    lead_tone = context.tones[passage.lead].get(tick)
    against = passage.lead
    if lead_tone is not None and part != passage.lead and lead_tone.duration != expected:
        expected = lead_tone.duration if lead_tone.duration != tone.duration else expected
    if part == passage.lead:
        against = next((p for p in context.members(passage) if tick in context.tones[p]), part)
    shorter = tone.duration < expected
    held = max(expected, tone.duration) >= 2 * chart.resolution
    word = "cut-off" if held else "note length"
    kind = "note-length"
    if held:
        kind = "early-release" if shorter else "late-release"
    return Finding(
        check=kind,
        severity="warning",
        tick=tick,
        part=part,
        lead=against,
        passage=passage.id,
        message=f"{word} differs: {_say(chart.resolution, tone.duration)}, stops at "
        f"{chart.end_place(tone.end)}; "
        f"{chart.parts[against].label} has {_say(chart.resolution, expected)}, to "
        f"{chart.end_place(tick + expected)}",
        fix=f"Agree on one release; the lead stops at {chart.end_place(tick + expected)}.",
        places=(tick,),
    )


_NAMES = {
    Fraction(4): "a whole note",
    Fraction(3): "a dotted half",
    Fraction(2): "a half",
    Fraction(3, 2): "a dotted quarter",
    Fraction(1): "a quarter",
    Fraction(3, 4): "a dotted eighth",
    Fraction(1, 2): "an eighth",
    Fraction(1, 3): "a triplet eighth",
    Fraction(1, 4): "a sixteenth",
}


def _say(resolution: int, ticks: int) -> str:
    quarters = Fraction(ticks, resolution)
    return _NAMES.get(quarters, f"{float(quarters):g} beats")


CHECK = Check(
    finds={
        "early-release": "a held note let go before the others",
        "late-release": "a held note let go after the others",
        "note-length": "a short note that differs in length",
    },
    matter="releases",
    find=_find,
)
