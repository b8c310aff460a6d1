"""The grid of bars on which all parts lie, and what stands at their bar lines."""

from __future__ import annotations

from collections.abc import Sequence

from sectionprep.music.chart import Bar, Remark
from sectionprep.music.notes import Direction
from sectionprep.musicxml.document import tag_of
from sectionprep.musicxml.reading.measures import Measure
from sectionprep.musicxml.reading.signs import BarSigns, read_barline


def grid_of(
    walked: Sequence[list[Measure]], labels: Sequence[str], resolution: int, remarks: list[Remark]
) -> tuple[list[Bar], list[BarSigns]]:
    """Every bar with its place and length, and what its bar lines say. walked: the measures of each
    part; resolution: ticks per quarter note; remarks: is told of parts that stop early."""
    count = max(len(measures) for measures in walked)
    for n, measures in enumerate(walked):
        if len(measures) < count:
            remarks.append(
                Remark(
                    where=labels[n],
                    what=f"has {len(measures)} bars where others have {count}; it "
                    f"is silent after that",
                )
            )
    bars: list[Bar] = []
    signs: list[BarSigns] = []
    start = 0
    for index in range(count):
        here = [measures[index] for measures in walked if index < len(measures)]
        meter = here[0].meter
        length = _bar_length(here, resolution, first=index == 0)
        sign = BarSigns()
        for measure in here:
            for event in measure.events:
                if event.note is None and tag_of(event.element) == "barline":
                    read_barline(event.element, sign)
        bars.append(
            Bar(
                index=index,
                number=here[0].number or str(index + 1),
                start=start,
                length=length,
                meter=meter,
            )
        )
        signs.append(sign)
        start += length
    return bars, signs


def _bar_length(here: list[Measure], resolution: int, *, first: bool) -> int:
    """How long a bar is: as long as its parts say. Rests never make it longer than its meter,
    and a part that only rests does not lengthen a pick-up (or another irregular bar) that
    others play."""
    nominal = max(1, int(here[0].meter.quarters * resolution))
    irregular = first or any(m.implicit for m in here)
    playing = [m for m in here if m.sounding] if irregular else here
    lengths = [max(m.sounding, min(m.content, nominal)) for m in playing or here]
    return max(lengths) or nominal


def named_bars(
    bars: list[Bar], signs: list[BarSigns], found: Sequence[Direction]
) -> tuple[Bar, ...]:
    """The bars with their letters, repeats and endings. found: the directions of all parts."""
    letters = {d.bar: d.value for d in reversed(found) if d.kind == "rehearsal"}
    open_ending: tuple[str, ...] = ()
    named: list[Bar] = []
    for bar, sign in zip(bars, signs, strict=True):
        if sign.ending_start:
            open_ending = sign.ending_start
        named.append(
            Bar(
                index=bar.index,
                number=bar.number,
                start=bar.start,
                length=bar.length,
                meter=bar.meter,
                rehearsal=letters.get(bar.index, ""),
                repeat_start=sign.repeat_start,
                repeat_end=sign.repeat_end,
                endings=open_ending,
                double_bar=sign.double_bar,
            )
        )
        if sign.ending_stop:
            open_ending = ()
    return tuple(named)
