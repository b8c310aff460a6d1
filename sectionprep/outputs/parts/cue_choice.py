"""Which cue a player gets: after eight bars of rest or more, the tune that is played before the
entry."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from operator import attrgetter

from sectionprep.music.chart import Chart, Part
from sectionprep.music.instruments import HORNS
from sectionprep.musicxml.copies.cues import Cue
from sectionprep.passages import Together

_LONG = 8  # bars of rest from which a cue helps; judgement
_BAR = attrgetter("bar")
_LEAST = 3  # notes that make a cue worth reading; judgement


def choose_cues(chart: Chart, together: Together, part: Part) -> tuple[Cue, ...]:
    """Cues for one part, one at most for each long rest."""
    if part.chair.section not in HORNS or not part.chair.sure:
        return ()
    playing = sorted({n.bar for n in part.notes if not n.is_rest and n.duration})
    cues = []
    previous = -1
    for bar in playing:
        if bar - previous - 1 >= _LONG:
            source = _tune(chart, together, bar - 1, part)
            if source is not None:
                cues.append(_cue(chart, part, source, bar - 1))
        previous = bar
    return tuple(cues)


def _tune(chart: Chart, together: Together, bar: int, reader: Part) -> Part | None:
    """The lead of a passage in that bar, else the busiest horn."""
    here = chart.bars[bar]

    def notes(index: int) -> int:
        line = chart.lines[index]
        return bisect_right(line, bar, key=_BAR) - bisect_left(line, bar, key=_BAR)

    leads = [
        p.lead
        for p in together.passages
        if p.start < here.end and here.start < p.end and notes(p.lead) >= _LEAST
    ]
    others = [p.index for p in chart.parts if p.chair.section in HORNS and notes(p.index) >= _LEAST]
    candidates = [index for index in (leads or others) if index != reader.index]
    return chart.parts[max(candidates, key=lambda i: (notes(i), -i))] if candidates else None


def _cue(chart: Chart, reader: Part, source: Part, bar: int) -> Cue:
    start = chart.bars[bar].start
    target = reader.transposition_at(start)
    pitches = [t.pitch - target.chromatic for t in chart.lines[source.index] if t.bar == bar]
    middle = sum(pitches) / len(pitches)
    centre = 50 if reader.clef_at(start).startswith("F") else 71
    octaves = round((centre - middle) / 12) if abs(centre - middle) > 9 else 0
    occurrence = sum(p.id == source.id for p in chart.parts[: source.index])
    return Cue(
        bar=bar,
        part_id=source.id,
        occurrence=occurrence,
        label=source.says,
        source=source.transposition_at(start),
        target=target,
        fifths=reader.key_at(start),
        octaves=octaves,
    )
