"""What players can do at home: the lines that their practice pages make for them, pasted into the
workbook, are read back and said where the passage is rehearsed.

A line is "Tenor Sax 1: P3 (bar 18) 80, P8 (bar 59) 100": passages with their first bars, and
percent of the tempo. The bar counts where the number of a passage has changed since.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from sectionprep.music.chart import Chart
from sectionprep.outputs.workbook import tables
from sectionprep.outputs.workbook.read import Typed
from sectionprep.passages import Passage, Together

_ONE = re.compile(r"(P\d{1,5})(?:\s*\(bar ([^()]{1,12})\))?\s+(\d{1,3})\s*%?", re.ASCII)
_MOST = 400  # passages that are read in one cell; judgement


@dataclass(slots=True)
class AtHome:
    """can: percent of the tempo by part and passage (its id); said: what each cell says, by the
    label of its row."""

    can: dict[tuple[int, str], int] = field(default_factory=dict)
    said: dict[str, str] = field(default_factory=dict)

    def of(self, chart: Chart, passage: Passage) -> str:
        """What the players of a passage have told, "" where nobody has."""
        told = {part: self.can[part, passage.id] for part in passage.parts
                if (part, passage.id) in self.can}  # fmt: skip
        if not told:
            return ""
        slowest = min(told.values())
        names = [chart.parts[part].label for part, percent in told.items() if percent == slowest]
        who = "all who have told" if len(names) == len(told) > 1 else ", ".join(names)
        return f"at home {len(told)} of {len(passage.parts)} have told: {who} at {slowest} %"


def read_home(typed: Typed | None, chart: Chart, together: Together) -> AtHome:
    """What the pasted lines say. A line that names a part is that part's, wherever it stands."""
    found = AtHome()
    rows = typed.cells.get(tables.HOME, {}) if typed is not None else {}
    labels = {part.label: part.index for part in chart.parts}
    for key, cells in rows.items():
        if cells.get(tables.LINE):
            found.said[key] = _read_cell(
                str(cells[tables.LINE]), key, labels, chart, together, found
            )
    return found


def _read_cell(
    words: str,
    row: str,
    labels: Mapping[str, int],
    chart: Chart,
    together: Together,
    found: AtHome,
) -> str:
    said = []
    for line in words.splitlines():
        name, colon, rest = line.rpartition(":")
        label = name.strip() if colon else row
        part = labels.get(label)
        if part is None:
            said.append(f"there is no part {label!r:.40}")
            continue
        ones = [match.groups() for match in _ONE.finditer(rest)][:_MOST]
        if not ones:
            said.append("no passage is named here; paste the line as the page makes it")
        for ident, bar, percent in ones:
            passage = _passage(chart, together, part, ident, bar)
            if passage is None:
                place = f"bar {bar}" if bar else ident
                said.append(f"{place}: no passage of {label} begins there any more")
                continue
            found.can[part, passage.id] = min(int(percent), 100)
            own = "" if label == row else f"{label}, "
            said.append(f"{own}{passage.id} at {min(int(percent), 100)} %")
    return "; ".join(said)


def _passage(
    chart: Chart, together: Together, part: int, ident: str, bar: str | None
) -> Passage | None:
    mine = [p for p in together.passages if part in p.parts]
    begins = [p for p in mine if bar is None or chart.place(p.start).bar == bar]
    same = [p for p in begins if p.id == ident]
    return next(iter(same or (begins if bar is not None else ())), None)
