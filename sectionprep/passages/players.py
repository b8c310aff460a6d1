"""Two players on one staff: the second is followed as a player of his own where he goes his own
way.

The finder is given a chart in which he has a part; what it finds is then told of the staff, with a
word that it is he who plays (`Passage.seconds`). Where he goes with the first he is not followed:
he has the first's marks there.
"""

from __future__ import annotations

from collections.abc import Container, Sequence
from dataclasses import replace
from itertools import pairwise

from sectionprep.music.chart import Chart
from sectionprep.music.lines import is_on_one_stem
from sectionprep.music.notes import Tone
from sectionprep.passages.model import BarGroup, Passage, Together

_FILLS = 2  # bars in which he meets the first, between bars of his own: judgement


def players_of(chart: Chart) -> Chart:
    """The chart with a part for each second player who at some time goes his own way, after all
    others; the chart itself where there is none."""
    parts, lines = list(chart.parts), list(chart.lines)
    for index, second in sorted(chart.second_lines.items()):
        first = {tone.onset: tone for tone in chart.lines[index]}
        bars = _own_bars(chart.lines[index], second)
        if bars:
            line = tuple(
                tone
                for tone in second
                if tone.bar in bars and not is_on_one_stem(first.get(tone.onset), tone)
            )
            notes = tuple(note for tone in line for note in tone.chord or tone.notes)
            parts.append(replace(chart.parts[index].second, index=len(parts), notes=notes))
            lines.append(line)
    if len(parts) == len(chart.parts):
        return chart
    return replace(chart, parts=tuple(parts), lines=tuple(lines))


def _own_bars(first: Sequence[Tone], second: Sequence[Tone]) -> frozenset[int]:
    """Bars in which a second player does not go with the first, those in which he alone plays
    beside them, and the few between them."""
    ends = {tone.onset: tone for tone in first}
    own, alone = set[int](), set[int]()
    for tone in second:
        other = ends.get(tone.onset)
        if other is None or other.duration != tone.duration:
            own.add(tone.bar)
        elif other.head.address == tone.head.address:
            alone.add(tone.bar)
    bars = sorted(alone)
    for bar in (*bars, *reversed(bars)):
        if bar - 1 in own or bar + 1 in own:
            own.add(bar)
    ordered = sorted(own)
    for before, after in pairwise(ordered):
        if after - before <= _FILLS + 1:
            own.update(range(before, after))
    return frozenset(own)


def told_by_staff(together: Together, players: Chart, staves: int) -> Together:
    """What was found among players, told of their staves: the first `staves` parts."""
    if len(players.parts) == staves:
        return together
    staff = staves_of(players)
    strikes = {
        (part.index, tone.onset)
        for part in players.parts[staves:]
        for tone in players.second_lines[staff[part.index]]
    }  # of second players, with what they have on one stem with the first
    return Together(
        passages=tuple(_passage(p, staff, staves, strikes) for p in together.passages),
        bars=tuple(tuple(_bar_group(g, staff) for g in groups) for groups in together.bars),
        hits=tuple(_passage(p, staff, staves, strikes) for p in together.hits),
    )


def staves_of(players: Chart) -> tuple[int, ...]:
    """For each player the index of the part that has the staff."""
    home = {part.id: part.index for part in players.parts if not part.is_second}
    return tuple(home[part.id] if part.is_second else part.index for part in players.parts)


def _bar_group(group: BarGroup, staff: Sequence[int]) -> BarGroup:
    return replace(group, parts=tuple(sorted(staff[part] for part in group.parts)))


def _passage(
    passage: Passage, staff: Sequence[int], staves: int, strikes: Container[tuple[int, int]]
) -> Passage:
    parts = tuple(sorted(staff[part] for part in passage.parts))
    return replace(
        passage,
        parts=parts,
        seconds=frozenset(staff[part] for part in passage.parts if part >= staves),
        lead=staff[passage.lead],
        deviations=tuple(
            replace(d, part=staff[d.part])
            for d in passage.deviations
            if d.kind != "missing" or (d.part, d.tick) not in strikes
        ),
        doubles=tuple(
            (texture, tuple(sorted(staff[part] for part in group)))
            for texture, group in passage.doubles
        ),
        octaves=tuple(sorted((staff[part], octaves) for part, octaves in passage.octaves)),
        guests=tuple(
            replace(g, part=staff[g.part], second=g.part >= staves)
            for g in passage.guests
            if staff[g.part] not in parts
        ),
    )


def say_seconds(chart: Chart, passage: Passage) -> str:
    """ "2nd player of Trumpet 1 & 2", or nothing."""
    names = [chart.parts[part].label for part in sorted(passage.seconds)]
    return f"2nd player of {', '.join(names)}" if names else ""


def lead_label(chart: Chart, passage: Passage) -> str:
    """The label of who leads a passage."""
    return chart.read_by(passage.seconds).parts[passage.lead].label
