"""Words that steer the band and not one player ("Solo - open; backgrounds last time only"), and the
parts that they concern and do not stand in.

Two kinds. Words on the form (open, vamp, on cue, play 4 times) concern everybody: who does not know
them is lost. Words on turns ("last time only", "2nd x only") concern who plays the same rhythm
there; over a rest or slashes, all horns that play before the repeat ends. Common practice, no
source.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from sectionprep.music.chart import Chart
from sectionprep.music.instruments import HORNS
from sectionprep.music.notes import Direction

_FORM = re.compile(
    r"\bopen\W{1,3}(?:solos?|repeat|vamp|for solos?)\b|\bsolos?\W{1,3}open\b|\bvamp\b|"
    r"\b(?:till|until|on) cue\b|\brepeat (?:and fade|ad lib|(?:till|until) \w+)|"
    r"\bplay (?:\d+|two|three|four) ?(?:x|times)\b",
    re.IGNORECASE,
)
_TURNS = re.compile(
    r"\b(?:last|first|second|third|\d ?(?:st|nd|rd|th)) ?(?:x|times?)\b|\bon repeats? only\b",
    re.IGNORECASE,
)
_AS_GOOD = 0.75  # of the notes of a bar struck together: the same rhythm; judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class OneSided:
    """An instruction. sign: where it stands; missing: parts that it concerns and that say nothing
    of the kind there."""

    sign: Direction
    missing: tuple[int, ...]

    def words_for_others(self, chart: Chart) -> str:
        """What the others should read: who solos is named."""
        words = self.sign.value
        holder = chart.parts[self.sign.part].says
        solo = re.search(r"\bsolo\b", words, re.IGNORECASE)
        return f"{holder}: {words}" if solo and holder.lower() not in words.lower() else words

    def key(self, chart: Chart) -> str:
        """How a plan file names it: "35 | Solo - open"."""
        return f"{chart.bars[self.sign.bar].number} | {self.sign.value}"


def one_sided(chart: Chart) -> tuple[OneSided, ...]:
    """All such instructions, in order of time; what stands in two parts is told once, of the
    first."""
    by_bar: dict[int, list[Direction]] = {}
    for part in chart.parts:
        for sign in part.directions:
            if sign.kind == "words" and (_FORM.search(sign.value) or _TURNS.search(sign.value)):
                by_bar.setdefault(sign.bar, []).append(sign)
    return tuple(_found(chart, by_bar))


def _found(chart: Chart, by_bar: dict[int, list[Direction]]) -> Iterator[OneSided]:
    for bar, signs in sorted(by_bar.items()):
        told: set[str] = set()
        for sign in sorted(signs, key=lambda sign: (sign.onset, sign.part)):
            text = sign.value.rpartition(": ")[2].lower()
            if text in told:
                continue
            told.add(text)
            form = _FORM.search(sign.value) is not None
            says = {s.part for s in signs if (_FORM if form else _TURNS).search(s.value)}
            concerned = (
                {part.index for part in chart.parts} if form else _who_plays(chart, sign, bar)
            )
            if missing := tuple(sorted(concerned - says)):
                yield OneSided(sign=sign, missing=missing)


def _who_plays(chart: Chart, sign: Direction, bar: int) -> set[int]:
    """Parts that words on turns concern beside the one that has them."""
    start, end = chart.bars[bar].start, chart.bars[bar].end
    mine = {t.onset for t in chart.lines[sign.part] if sign.onset <= t.onset < end}
    if mine:
        return {
            part.index
            for part in chart.parts
            if len(mine & {t.onset for t in chart.lines[part.index] if start <= t.onset < end})
            >= _AS_GOOD * len(mine)
        }
    last = next((b for b in chart.bars[bar:] if b.repeat_end), None)
    if last is None:
        return set()
    return {
        part.index
        for part in chart.parts
        if part.chair.section in HORNS
        and any(start <= t.onset < last.end for t in chart.lines[part.index])
    }
