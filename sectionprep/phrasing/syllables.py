"""What a section says to a passage before it plays it: one syllable a note, from the marks, the
length and the tempo.

Syllables are classroom usage and overlap between marks (C. Treinen, Being Articulate in Jazz: dah,
dat, daht, dot, dit; K. Holmquist: doo for the long note; G. Dean: the half-tongued n); for the
effects: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from sectionprep.music.chart import Chart
from sectionprep.music.notes import Tone
from sectionprep.passages import Together
from sectionprep.phrasing import PassagePlan, Plan, PlannedNote
from sectionprep.phrasing.styles import Style, styles

_EFFECTS = {
    "falloff": "dow",
    "doit": "doo-eet",
    "scoop": "dwah",
    "plop": "blah",
    "smear": "wah",
    "brass-bend": "dwee",
    "shake": "tee-ya",
    "flip": "dah-ee",
    "lift": "deet",
    "rip": "brrah",
}
# beats a minute: "daht" below, "dot" from here (Treinen: daht at 100-140, dot at 160-200 and up)
_LIGHT_FROM = 160.0


def syllables(chart: Chart, together: Together, plan: Plan, part: int) -> dict[int, str]:
    """Syllable by note address for every note of the part inside a passage or a hit. chart: the
    marked one, so that what is said is what is printed. plan: says which notes its usual tonguing
    slurs to, and how long plain notes are."""
    style = styles().get(plan.style)
    found: dict[int, str] = {}
    for passage in sorted(
        together.marked, key=lambda p: p in together.passages
    ):  # passages speak last
        if part not in passage.parts:
            continue
        planned = plan.of(passage.id)
        notes = {note.tone.onset: note for note in planned.notes} if planned is not None else {}
        tones = chart.read_by(passage.seconds).between(part, passage.start, passage.end)
        found.update(_line(chart, tones, notes, style))
    return found


def lead_syllables(chart: Chart, planned: PassagePlan, style: str) -> dict[int, str]:
    """Syllable by note address for the lead's line of one passage. chart: the marked one."""
    notes = {note.tone.onset: note for note in planned.notes}
    return _line(
        chart,
        [t for t in planned.line(chart) if t.onset in notes],
        notes,
        styles().get(style),
    )


def _line(
    chart: Chart, tones: Sequence[Tone], notes: Mapping[int, PlannedNote], style: Style | None
) -> dict[int, str]:
    found: dict[int, str] = {}
    depth = 0
    for n, tone in enumerate(tones):
        if n and tone.onset > tones[n - 1].end:
            depth = 0  # a slur that is never closed ends at a rest
        under_slur = depth > 0
        depth = max(0, depth + tone.slurs_from - tone.slurs_to)
        follows = n > 0 and tones[n - 1].end == tone.onset and tones[n - 1].pitch != tone.pitch
        planned = notes.get(tone.onset)
        slurred = follows and (under_slur or (planned is not None and not planned.tongued))
        after = tones[n + 1].onset - tone.end if n + 1 < len(tones) else chart.resolution
        if planned is not None and planned.length and planned.tone.duration == tone.duration:
            short = (
                planned.length == "short"
            )  # knows what comes after the passage, too, and where the road goes on
        else:
            short = style is not None and _is_short(chart, tone, after, style)
        found[tone.head.address] = _one(chart, tone, slurred, short)
    return found


def _one(chart: Chart, tone: Tone, slurred: bool, short: bool) -> str:
    marks = tone.marks
    effect = next((word for mark, word in _EFFECTS.items() if mark in marks), "")
    if effect:
        return effect
    if "ghost" in marks:
        return "n"
    if "strong-accent" in marks:
        return "daht" if chart.tempo_at(tone.onset) < _LIGHT_FROM else "dot"
    if "accent" in marks:
        return "dat" if marks & {"staccato", "staccatissimo"} else "dah"
    if "tenuto" in marks:
        return "doo"
    if marks & {"staccato", "staccatissimo", "spiccato"}:
        return "dit"
    if "detached-legato" in marks:
        return "dud"
    if slurred and not (short and 2 * tone.duration <= chart.resolution):
        return "-oo"
    return "dit" if short else "doo"


def _is_short(chart: Chart, tone: Tone, after: int, style: Style) -> bool:
    """A note the plan does not know and the style plays short: a quarter, or an eighth before a
    rest."""
    before_rest = 2 * tone.duration <= chart.resolution and 2 * after >= chart.resolution
    return (style.short_quarters and tone.duration == chart.resolution) or (
        style.name != "concert" and before_rest
    )
