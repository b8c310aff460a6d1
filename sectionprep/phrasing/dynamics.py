"""Dynamics that are missing: proposed where nobody can know how loud to begin.

A player who comes in has the last dynamic of his part in force. It says nothing when there is none,
when it stood before a long rest, before a jump of the road map, or when others play with him from a
new letter on. Then the passage gets a proposal with its reason: a background under a solo is soft,
so are held notes under a moving line; the whole band is loud, and loudest in its last chorus
(common practice, no source). A printed dynamic is never replaced.
"""

from __future__ import annotations

from collections.abc import Sequence

from sectionprep.music.chart import Chart
from sectionprep.music.notes import Direction
from sectionprep.music.roadmap import leads_elsewhere
from sectionprep.music.wording import any_of
from sectionprep.passages import Passage, Together
from sectionprep.phrasing.plan import Dynamic
from sectionprep.phrasing.styles import Style
from sectionprep.phrasing.view import HELD

_LEVELS = ("pp", "p", "mp", "mf", "f", "ff")
_LONG_REST = 16  # quarters, four bars: after them nobody knows what was in force; judgement
_BAND = 8  # parts from which a passage is the band's; judgement
_LASTS = 8  # quarters, two bars: a shorter change of company keeps the dynamic in force; judgement
# quarters after its first note within which a printed dynamic is the passage's own; judgement
_AT_ONCE = 1


def missing_dynamics(chart: Chart, together: Together, style: Style) -> dict[str, Dynamic]:
    """The proposals by passage, in order of time."""
    found: dict[str, Dynamic] = {}
    jumps = _after_jumps(chart)
    ordered = sorted(together.marked, key=lambda p: p.start)
    last_band = max(
        (p.start for p in ordered if len(p.parts) >= _BAND and "ensemble" in p.scope), default=-1
    )
    for passage in ordered:
        why = _why_missing(chart, passage, passage.lead, ordered, jumps)
        if not why:
            continue
        others = (part for part in passage.parts if part != passage.lead)
        held = [part for part in others if not _why_missing(chart, passage, part, ordered, jumps)]
        if held:
            value, reason = _as_others(chart, passage, held)
        else:
            value, reason = _level(chart, passage, ordered, last_band)
            value = _LEVELS[max(1, _LEVELS.index(value) - 1)] if style.soft == "all" else value
        found[passage.id] = Dynamic(
            tick=passage.start,
            value=value,
            why=f"proposal: {reason}; {why}",
        )
    return found


def _as_others(chart: Chart, passage: Passage, held: Sequence[int]) -> tuple[str, str]:
    """What most of the parts have in force that need no proposal."""
    values = {part: _printed(chart, passage, part)[-1].value for part in held}
    value = max(sorted(set(values.values())), key=list(values.values()).count)
    name = min(chart.parts[part].label for part in held if values[part] == value)
    return value, f"as {name} has it"


def _printed(chart: Chart, passage: Passage, part: int) -> list[Direction]:
    """The dynamics of a part up to its first note in the passage."""
    until = passage.start + _AT_ONCE * chart.resolution
    signs = chart.parts[part].directions
    return [d for d in signs if d.kind == "dynamic" and d.onset <= until]


def _after_jumps(chart: Chart) -> frozenset[int]:
    """Bars that are at some time reached from elsewhere than the bar before."""
    return frozenset(
        index
        for here, beyond in leads_elsewhere(chart).items()
        for index in beyond
        if index != here + 1
    )


def _why_missing(
    chart: Chart, passage: Passage, part: int, ordered: Sequence[Passage], jumps: frozenset[int]
) -> str:
    """Why no dynamic holds in a part at the start of a passage; empty where one does."""
    before = _printed(chart, passage, part)
    if not before:
        return "there is none in the part before"
    last = before[-1]
    played = chart.between(part, 0, passage.start)
    resting = played[-1].end if played else 0
    if last.onset >= resting and (last.onset >= passage.start or resting):
        return ""  # printed for this entry
    place = chart.place(last.onset).bar
    if passage.start - resting >= _LONG_REST * chart.resolution:
        rest = _bars(chart, resting, passage.start)
        return f"the last one ({last.value}, bar {place}) stood before {rest} bars of rest"
    here = chart.bar_at(passage.start).index
    if any(chart.bars[index].start > last.onset and index == here for index in jumps):
        return f"the last one ({last.value}, bar {place}) stands before a jump"
    until = passage.start + _AT_ONCE * chart.resolution
    company = [p for p in ordered if part in p.parts and p.start < passage.start]
    turned = any(bar.rehearsal and last.onset < bar.start <= until for bar in chart.bars)
    if company and turned and _lasts(chart, passage) and _grown(company[-1], passage):
        return f"the last one ({last.value}, bar {place}) was for another company"
    return ""


def _bars(chart: Chart, start: int, end: int) -> int:
    return chart.bar_at(end).index - chart.bar_at(start).index


def _lasts(chart: Chart, passage: Passage) -> bool:
    return passage.end - passage.start >= _LASTS * chart.resolution


def _grown(before: Passage, here: Passage) -> bool:
    """From a section to the band, or back."""
    return (len(before.parts) >= _BAND) != (len(here.parts) >= _BAND)


def _level(
    chart: Chart, passage: Passage, ordered: Sequence[Passage], last_band: int
) -> tuple[str, str]:
    soloist = _soloist(chart, passage, ordered)
    if soloist:
        return "mp", f"background under the solo of {soloist}"
    line = chart.read_by(passage.seconds).between(passage.lead, passage.start, passage.end)
    if all(tone.duration >= HELD * chart.resolution for tone in line):
        return "mp", "held notes, under what moves"
    if len(passage.parts) >= _BAND and "ensemble" in passage.scope:
        shouts = passage.start == last_band or any_of(["shout"]).search(
            _words_at(chart, passage.start)
        )
        return ("ff", "shout chorus") if shouts else ("f", "the whole band")
    return ("f", "brass together") if passage.scope == "brass" else ("mf", "a section by itself")


def _words_at(chart: Chart, tick: int) -> str:
    """Rehearsal mark and words in force at a bar, lower case."""
    bars = [bar for bar in chart.bars if bar.rehearsal and bar.start <= tick + chart.resolution]
    bar = chart.bar_at(tick)
    words = [
        d.value
        for part in chart.parts
        for d in part.directions
        if d.kind == "words" and bar.start <= d.onset < bar.end
    ]
    return " ".join([*(b.rehearsal for b in bars[-1:]), *words]).lower()


def _soloist(chart: Chart, passage: Passage, ordered: Sequence[Passage]) -> str:
    """A part outside the passage that is told to play a solo and has not joined others since; of
    several, the first by name."""
    for part in sorted(chart.parts, key=lambda part: part.label):
        if part.index in passage.parts:
            continue
        begun = max(
            (d.onset for d in part.directions if _is_solo(d) and d.onset <= passage.start),
            default=None,
        )
        if begun is None:
            continue
        joined = any(part.index in p.parts and begun <= p.start <= passage.start for p in ordered)
        ended = any(
            d.kind == "words"
            and begun < d.onset <= passage.start
            and any_of(["end solo", "tutti", "section"]).search(d.value.lower())
            for d in part.directions
        )
        if not joined and not ended:
            return part.label
    return ""


def _is_solo(sign: Direction) -> bool:
    return (
        sign.kind == "words"
        and bool(any_of(["solo"]).search(sign.value.lower()))
        and "end" not in sign.value.lower()
    )
