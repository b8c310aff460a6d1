"""What the map says of the whole chart beside who plays: the road map, solos, how loud each section
is, and where a lip never rests."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import pairwise

from sectionprep.checks.each.endurance import without_rest
from sectionprep.music.chart import Chart, Part
from sectionprep.music.instruments import BRASS, SECTIONS
from sectionprep.music.roadmap import road_signs
from sectionprep.passages import Together

#: dynamics from the softest to the loudest; one that is struck and at once soft counts as soft
SCALE = ("ppp", "pp", "p", "mp", "mf", "f", "ff", "fff")
_AS = {"pppp": "ppp", "ffff": "fff", "fp": "p", "sfp": "p", "sfpp": "pp", "sfzp": "p", "pf": "f"}
_LIP = 16  # bars without a bar of rest that are shown; judgement (checks/each/endurance.py)
_SOLO = re.compile(r"\bsolo\b", re.IGNORECASE)
_OVER = re.compile(r"\b(end|tutti|section|soli|ensemble)\b", re.IGNORECASE)


@dataclass(frozen=True, slots=True, kw_only=True)
class RoadSign:
    """Something of the road map over a bar. kind: "repeat-start", "repeat-end", "ending" (last: its
    last bar), "segno", "coda" or "words" (at the end of the bar); text: what it says."""

    kind: str
    bar: int
    text: str = ""
    last: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class PartBars:
    """Bars of one part, by index, both included."""

    part: int
    first: int
    last: int


def road_map(chart: Chart) -> list[RoadSign]:
    """Repeats, endings, segno, coda and jumps in the order of the bars."""
    found: list[RoadSign] = []
    words = {"ds": "D.S.", "dc": "D.C.", "to coda": "To Coda", "fine": "Fine"}
    signs = road_signs(chart)
    for bar in chart.bars:
        if bar.repeat_start:
            found.append(RoadSign(kind="repeat-start", bar=bar.index))
        if bar.repeat_end:
            times = f"x{bar.repeat_end}" if bar.repeat_end > 2 else ""
            found.append(RoadSign(kind="repeat-end", bar=bar.index, text=times))
        before = chart.bars[bar.index - 1].endings if bar.index else ()
        if bar.endings and bar.endings != before:
            last = bar.index
            while last + 1 < len(chart.bars) and chart.bars[last + 1].endings == bar.endings:
                last += 1
            text = ", ".join(bar.endings) + "."
            found.append(RoadSign(kind="ending", bar=bar.index, text=text, last=last))
        here = signs.get(bar.index, frozenset())
        found += [RoadSign(kind=kind, bar=bar.index) for kind in ("segno", "coda") if kind in here]
        found += [
            RoadSign(kind="words", bar=bar.index, text=text)
            for kind, text in words.items()
            if kind in here
        ]
    return found


def solos(chart: Chart, together: Together) -> list[PartBars]:
    """Who is told to solo, and until when: till words end it, or the player joins a passage, or
    plays no more."""
    found = []
    for part in chart.parts:
        plays = _plays(part)
        words = sorted(
            ((d.onset, d.bar, d.value) for d in part.directions if d.kind == "words"),
            key=lambda one: one[:2],
        )
        busy_until = -1
        for onset, bar, said in words:
            if not _SOLO.search(said) or _OVER.search(said.split("solo")[0]) or bar <= busy_until:
                continue
            ends = [at for at, _, text in words if at > onset and _OVER.search(text)]
            ends += [p.start for p in together.passages if part.index in p.parts]
            stop = min((at for at in ends if at > onset), default=chart.bars[-1].end)
            last = max((n for n, at in plays if bar <= n and at < stop), default=bar)
            busy_until = last
            found.append(PartBars(part=part.index, first=bar, last=last))
    return found


def sections(chart: Chart) -> list[tuple[str, list[Part]]]:
    """The sections of a chart with their parts, in score order."""
    return [
        (section, members)
        for section in SECTIONS
        if (members := [part for part in chart.parts if part.chair.section == section])
    ]


def loudness(chart: Chart, members: list[Part]) -> list[int | None]:
    """For each bar the place on `SCALE` of the loudest printed dynamic that holds for one of these
    parts who plays there; None where none plays, or no dynamic is printed before."""
    levels: list[int | None] = [None] * len(chart.bars)
    for part in members:
        signs = [
            (sign.bar, SCALE.index(name))
            for sign in chart.signs(part.index, "dynamic")
            if (name := _AS.get(sign.value, sign.value)) in SCALE
        ]
        if not signs:
            continue
        held: list[int | None] = [None] * len(chart.bars)
        for (bar, level), (until, _) in pairwise([*signs, (len(chart.bars), 0)]):
            for n in range(bar, max(until, bar + 1)):
                held[n] = level
        for n, _ in _plays(part):
            now, mine = levels[n], held[n]
            if mine is not None and (now is None or mine > now):
                levels[n] = mine
    return levels


def _plays(part: Part) -> list[tuple[int, int]]:
    """Bar and tick of all that a part has but rests and cues."""
    return [(n.bar, n.onset) for n in part.notes if not n.is_rest and not n.is_cue and n.duration]


def tired_lips(chart: Chart) -> list[PartBars]:
    """Stretches of brass players without a bar of rest, the first player of each section."""
    found = []
    for section, members in sections(chart):
        if section not in BRASS:
            continue
        leader = min(members, key=lambda part: (part.chair.number or 1, part.index))
        found += [
            PartBars(part=leader.index, first=first, last=last)
            for first, last in without_rest(chart, chart.lines[leader.index])
            if last - first + 1 >= _LIP
        ]
    return found
