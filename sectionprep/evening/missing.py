"""Who is missing tonight: what goes uncovered where it matters, and who could take it.

What matters, common practice, no source: a line that leads its section, lies on top, or is nobody
else's; an entry with nobody beside it; a chord tone that nobody else has. Who could take it:
somebody whose instrument reaches the notes, of the same section or who rests there. Nothing is
rewritten; the players and the director decide. The lengths are judgements.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from operator import attrgetter

from sectionprep.errors import BadArgument
from sectionprep.music.chart import Chart, Part
from sectionprep.music.in_force import index_in_force
from sectionprep.music.instruments import HORNS
from sectionprep.music.naming import find_part
from sectionprep.music.notes import Tone
from sectionprep.music.roster import Roster
from sectionprep.outputs.director.staves import read_at
from sectionprep.passages import Together

_ALONE = 2  # notes without anybody beside them from which a stretch is exposed
_LINE = 4  # notes that make a line
_TONES = 3  # notes of a stretch whose pitch class nobody else sounds
_LEADS = "leads the"
_TAKING = (*HORNS, "strings")  # sections whose players read another's line; strings their own
_onset = attrgetter("onset")


@dataclass(frozen=True, slots=True, kw_only=True)
class Taker:
    """Who could take a stretch. part: index; rests: has nothing to play there; same: reads it as it
    stands."""

    part: int
    label: str
    rests: bool
    same: bool

    def __str__(self) -> str:
        does = "rests" if self.rests else "moves up and leaves its own notes"
        return (
            f"{self.label} ({does}; {'reads it as it stands' if self.same else 'has to transpose'})"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """A stretch that goes uncovered. chart: its title; what: why it matters; start, end: ticks;
    missing: index of the part; takers: who could play it, best first; empty where nobody can."""

    chart: str
    part: str
    bars: str
    what: str
    start: int
    end: int
    missing: int
    takers: tuple[Taker, ...]


def absent(chart: Chart, roster: Roster, names: Sequence[str]) -> dict[str, Part]:
    """The parts of a chart that these people play, by the names that were said: part, chair or
    player. A name that this chart knows nobody by is left out. Raises BadArgument for one that fits
    several."""
    players = {seat.player.casefold(): seat.part for seat in roster.seats if seat.player}
    found = {}
    for name in names:
        try:
            found[name] = find_part(chart.parts, players.get(name.strip().casefold(), name))
        except BadArgument as error:
            if "may be" in error.what:
                raise
    return found


def gaps(title: str, chart: Chart, together: Together, missing: Sequence[Part]) -> tuple[Gap, ...]:
    """What goes uncovered without these parts, in order of time."""
    away = {part.index for part in missing}
    found: list[Gap] = []
    for part in missing:
        for start, end, what in _stretches(chart, together, part, away):
            first, last = chart.place(start), chart.end_place(end)
            bars = first.bar if first.bar == last.bar else f"{first.bar}-{last.bar}"
            takers = tuple(_takers(chart, part, start, end, away, leads=what.startswith(_LEADS)))
            found.append(
                Gap(
                    chart=title,
                    part=part.label,
                    bars=bars,
                    what=what,
                    start=start,
                    end=end,
                    missing=part.index,
                    takers=takers,
                )
            )
    return tuple(sorted(found, key=lambda gap: gap.start))


def _stretches(
    chart: Chart, together: Together, part: Part, away: set[int]
) -> Iterator[tuple[int, int, str]]:
    """Stretches of a part that matter: (start, end, why)."""
    led: list[tuple[int, int]] = []
    for passage in together.passages:
        if passage.lead == part.index and part.index not in passage.seconds:
            led.append((passage.start, passage.end))
            yield passage.start, passage.end, f"{_LEADS} {passage.scope} (passage {passage.id})"
    for phrase in _phrases(chart, part):
        tones = [t for t in phrase if not any(start <= t.onset < end for start, end in led)]
        what = _matters(tones, [_beside(chart, tone, part, away) for tone in tones])
        if what:
            yield tones[0].onset, tones[-1].end, what


def _matters(tones: Sequence[Tone], others: Sequence[Sequence[Tone]]) -> str:
    """Why what a part plays is missed; "" where it is not. others: what sounds with each note."""
    pairs = list(zip(tones, others, strict=True))
    alone = sum(not beside for beside in others)
    if alone >= _ALONE and 2 * alone >= len(tones):
        return "is alone there: an exposed entry"
    top = sum(
        len(beside) > 1 and all(t.pitch < tone.pitch for t in beside) for tone, beside in pairs
    )
    if top >= _LINE and 4 * top >= 3 * len(tones):
        return "has the top line"
    single = sum(all(t.onset != tone.onset for t in beside) for tone, beside in pairs)
    if single >= _LINE and 2 * single >= len(tones):
        return "has a line that nobody else plays"
    chord = sum(
        bool(beside) and all((tone.pitch - t.pitch) % 12 for t in beside) for tone, beside in pairs
    )
    if chord >= _TONES and 2 * chord >= len(tones):
        return "has notes of the chord that nobody else has"
    return ""


def _phrases(chart: Chart, part: Part) -> Iterator[list[Tone]]:
    """What a part plays from one bar of rest to the next."""
    tones: list[Tone] = []
    for tone in chart.lines[part.index]:
        if tones and tone.onset - tones[-1].end >= chart.bars[tones[-1].bar].length:
            yield tones
            tones = []
        tones.append(tone)
    if tones:
        yield tones


def _beside(chart: Chart, tone: Tone, part: Part, away: set[int]) -> list[Tone]:
    """What the other horns sound when a note begins."""
    found = []
    for other in chart.parts:
        if other.index == part.index or other.index in away:
            continue
        if other.chair.section not in HORNS and part.chair.section in HORNS:
            continue
        line = chart.lines[other.index]
        at = index_in_force(line, tone.onset, _onset)
        if at >= 0 and line[at].end > tone.onset:
            found.append(line[at])
    return found


def _takers(
    chart: Chart, part: Part, start: int, end: int, away: set[int], *, leads: bool
) -> Iterator[Taker]:
    """Who reaches the notes of a stretch, best first: who of the section rests there; then, for a
    lead line, who of the section would leave notes of its own, since a second player moves up;
    then who else rests. For what is no lead line nobody's notes are left if anybody rests."""
    pitches = [tone.pitch for tone in chart.between(part.index, start, end)]
    found: list[tuple[tuple[int, ...], Taker]] = []
    for other in chart.parts:
        if other.index in away or other.chair.section not in _TAKING:
            continue
        if other.chair.section not in HORNS and other.chair.section != part.chair.section:
            continue
        read = read_at(chart, other, start).chromatic
        if not _reaches(other, part, [pitch - read for pitch in pitches]):
            continue
        own = other.chair.section == part.chair.section
        taker = Taker(
            part=other.index,
            label=other.label,
            rests=_rests(chart, other, start, end),
            same=(read - read_at(chart, part, start).chromatic) % 12 == 0,
        )
        if own or taker.rests:
            first = (own, taker.rests) if leads else (taker.rests, own)
            near = abs((other.chair.number or 9) - (part.chair.number or 9))
            place = (*(not one for one in first), not taker.same, near, other.index)
            found.append((place, taker))
    for _, taker in sorted(found, key=lambda one: one[0]):
        yield taker


def _reaches(other: Part, part: Part, written: Sequence[int]) -> bool:
    """Whether a player reaches these notes; without a known range, on the same instrument alone."""
    working = other.chair.instrument.pro
    if working is None:
        return other.chair.instrument.key == part.chair.instrument.key
    return all(working[0] <= pitch <= working[1] for pitch in written)


def _rests(chart: Chart, part: Part, start: int, end: int) -> bool:
    before = chart.between(part.index, 0, start)
    held = bool(before) and before[-1].end > start
    return not held and not chart.between(part.index, start, end)
