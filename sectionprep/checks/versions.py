"""Two versions of a chart: in which bars do which parts differ, so that only those sheets are
printed again."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from difflib import SequenceMatcher

from sectionprep.music.chart import Chart, Part


@dataclass(frozen=True, slots=True, kw_only=True)
class PartChange:
    """What changed in one part. notes, marks: printed numbers of bars (of the new version; for
    removed bars of the old one). status: "changed", "new" or "gone"."""

    part: str
    status: str
    notes: tuple[str, ...] = ()
    marks: tuple[str, ...] = ()


def compare_versions(old: Chart, new: Chart) -> tuple[PartChange, ...]:
    """The parts of `new` that differ from `old`, matched by name; unchanged parts are left out."""
    before = {part.label: part for part in old.parts}
    found: list[PartChange] = []
    for part in new.parts:
        earlier = before.pop(part.label, None)
        if earlier is None:
            found.append(PartChange(part=part.label, status="new"))
            continue
        notes = _differing(_notes(old, earlier), _notes(new, part), old, new)
        marks = _differing(_marks(old, earlier), _marks(new, part), old, new)
        if notes or marks:
            found.append(PartChange(part=part.label, status="changed", notes=notes, marks=marks))
    found.extend(PartChange(part=name, status="gone") for name in before)
    return tuple(found)


_ALIKE = 0.25  # of bars, for two versions of one chart; judgement


def are_strangers(old: Chart, new: Chart) -> bool:
    """True where so few bars of the parts of the same names are alike that these are two charts and
    no two versions of one."""
    before = {part.label: part for part in old.parts}
    same = compared = 0
    for part in new.parts:
        earlier = before.get(part.label)
        ours = [bar for bar in _notes(new, part) if not bar.startswith(" |")]
        compared += len(ours)
        if earlier is not None:
            left = Counter(_notes(old, earlier))
            same += sum((Counter(ours) & left).values())
    return compared > 0 and same < _ALIKE * compared


def _notes(chart: Chart, part: Part) -> list[str]:
    bars: list[list[str]] = [[] for _ in chart.bars]
    for n in part.notes:
        if not n.is_rest:
            at = chart.quarters(n.onset - chart.bars[n.bar].start)
            bars[n.bar].append(
                f"{at}:{chart.quarters(n.duration)}:{n.pitch}:{n.tie_start:d}{n.tie_stop:d}{n.is_grace:d}"
            )
    return [
        " ".join(sorted(bar)) + f" |{chart.quarters(b.length)}"
        for bar, b in zip(bars, chart.bars, strict=True)
    ]


def _marks(chart: Chart, part: Part) -> list[str]:
    bars: list[list[str]] = [[] for _ in chart.bars]
    for n in part.notes:
        at = chart.quarters(n.onset - chart.bars[n.bar].start)
        if n.marks or n.slur_starts or n.slur_stops:
            bars[n.bar].append(
                f"{at}:{','.join(sorted(n.marks))}:{len(n.slur_starts)}{len(n.slur_stops)}"
            )
    for sign in part.directions:
        bars[sign.bar].append(
            f"{chart.quarters(sign.onset - chart.bars[sign.bar].start)}:{sign.kind}:{sign.value}"
        )
    return [" ".join(sorted(bar)) for bar in bars]


def _differing(
    old: list[str], new: list[str], old_chart: Chart, new_chart: Chart
) -> tuple[str, ...]:
    """Numbers of bars that differ; bars put in or taken out do not make all later bars differ."""
    found: list[str] = []
    if len(old) == len(new):
        return tuple(new_chart.bars[n].number for n in range(len(new)) if old[n] != new[n])
    for kind, a, b, c, d in SequenceMatcher(a=old, b=new, autojunk=False).get_opcodes():
        if kind in ("replace", "insert"):
            found.extend(new_chart.bars[n].number for n in range(c, d))
        elif kind == "delete":
            found.extend(f"{old_chart.bars[n].number} (taken out)" for n in range(a, b))
    return tuple(found)
