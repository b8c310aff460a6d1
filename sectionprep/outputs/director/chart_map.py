"""The chart map: rows are parts, columns are bars; what each part does there."""

from __future__ import annotations

from dataclasses import dataclass

from sectionprep.music.chart import Chart
from sectionprep.passages import Together


@dataclass(frozen=True, slots=True)
class MapBar:
    """Heading of one column."""

    number: str
    letter: str


@dataclass(frozen=True, slots=True)
class ChartMap:
    """rows: part name and, for each bar, "unison", "octaves", "soli", "rhythm", "alone" or ""
    (rests)."""

    bars: tuple[MapBar, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]


def chart_map(chart: Chart, together: Together) -> ChartMap:
    """What every part does in every bar: the outermost group it belongs to, else alone, else
    resting."""
    kinds: list[list[str]] = [[""] * len(chart.bars) for _ in chart.parts]
    for part in chart.parts:
        for note in part.notes:
            if not note.is_rest and not note.is_cue and note.duration:
                kinds[part.index][note.bar] = "alone"
    for index, groups in enumerate(together.bars):
        for group in reversed(groups):  # outer groups come first and win
            for part_index in group.parts:
                kinds[part_index][index] = group.texture
    bars = tuple(MapBar(bar.number, bar.rehearsal) for bar in chart.bars)
    return ChartMap(bars, tuple((part.label, tuple(kinds[part.index])) for part in chart.parts))


_STRIP = {"unison": "█", "octaves": "▓", "soli": "▒", "rhythm": "░", "alone": "·", "": " "}


def strip(drawn: ChartMap, width: int) -> list[str]:
    """The map as lines of text at most `width` wide; several bars share a column when they must."""
    label = min(16, max(len(name) for name, _ in drawn.rows))
    room = max(10, width - label - 2)
    step = -(-len(drawn.bars) // room)
    heads = [" "] * (-(-len(drawn.bars) // step) + 4)
    free_from = 0
    for n, bar in enumerate(drawn.bars):
        at = n // step
        letter = bar.letter[:4]
        if letter and at >= free_from and at + len(letter) <= len(heads):
            heads[at : at + len(letter)] = letter
            free_from = at + len(letter) + 1
    lines = [" " * (label + 1) + "".join(heads).rstrip()]
    order = ("unison", "octaves", "soli", "rhythm", "alone", "")
    for name, kinds in drawn.rows:
        cells = (min(kinds[n : n + step], key=order.index) for n in range(0, len(kinds), step))
        lines.append(f"{name[:label]:<{label}} " + "".join(_STRIP[k] for k in cells))
    return lines


STRIP_KEY = "█ unison  ▓ octaves  ▒ soli  ░ same rhythm, held  · own line"
