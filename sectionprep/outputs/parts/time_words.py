"""What a player of slashes counts by: every fourth bar of a long stretch of time, where the band is
out, and who solos. Over the slashes, small, on sheets only (common practice, no source).

A part with chord symbols counts by its changes and has no room over them: it is told of solos
alone.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator

from sectionprep.music.chart import Chart, Part
from sectionprep.music.instruments import HORNS
from sectionprep.music.notes import Direction
from sectionprep.outputs.parts.rhythm_choice import slash_bars

_LONG = 8  # bars of time alike from which they are counted; judgement
_COUNTED = 4  # every so many bars
_PHRASE = 8  # bars that are closed up into one, at the most
_OUT = 2  # bars that the band is silent before it is worth saying; judgement
_SOLO = re.compile(r"\bsolo\b(?!\s*(?:end|over|out))", re.IGNORECASE)
_HOW_LONG = re.compile(r"\b(?:open|(?:\d+|one|two|three|four) ?(?:chorus(?:es)?|x|times))\b", re.I)


def time_words(chart: Chart, part: Part, cued: Collection[int]) -> dict[int, str]:
    """Words by the address of the slash over which they stand. cued: bars with a rhythm cue."""
    slashes = slash_bars(part)
    if part.chair.section != "rhythm" or not slashes:
        return {}
    words: dict[int, list[str]] = {}
    for bar, said in _solos(chart, part):
        if bar in slashes:
            words.setdefault(bar, []).append(said)
    if not any(sign.kind == "chord" for sign in part.directions):
        for bar in _band_out(chart, slashes):
            words.setdefault(bar, []).append("band out")
        for bar, count in _counts(chart, part, slashes, cued):
            words.setdefault(bar, []).append(f"({count})")
    first = {note.bar: note.address for note in reversed(part.notes)}
    return {first[bar]: ", ".join(said) for bar, said in words.items()}


def _solos(chart: Chart, part: Part) -> Iterator[tuple[int, str]]:
    """Bars where the score says in another part that it solos, and how a drummer is told so."""
    own = {sign.bar for sign in part.directions if sign.kind == "words" and _names_solo(sign)}
    for other in chart.parts:
        for sign in other.directions:
            if other.index == part.index or sign.bar in own or not _names_solo(sign):
                continue
            lasts = _HOW_LONG.search(sign.value)
            yield sign.bar, f"{other.says} solo{f', {lasts[0].lower()}' if lasts else ''}"


def _names_solo(sign: Direction) -> bool:
    return sign.kind == "words" and _SOLO.search(sign.value) is not None


def _band_out(chart: Chart, slashes: Collection[int]) -> Iterator[int]:
    """Bars of slashes with which a rest of all horns begins, after bars in which they played."""
    horns = [part for part in chart.parts if part.chair.section in HORNS]
    silent = set(range(len(chart.bars))) - {
        chart.bar_at(tick).index
        for part in horns
        for note in part.notes
        if not note.is_rest and not note.is_cue
        for tick in (note.onset, max(note.onset, note.onset + note.duration - 1))
    }
    if not horns:
        return
    for bar in sorted(silent & set(slashes)):
        if bar > 0 and bar - 1 not in silent and all(bar + n in silent for n in range(_OUT)):
            yield bar


def may_close(chart: Chart, part: Part, cued: Collection[int]) -> tuple[tuple[int, int], ...]:
    """First bar and length of what can be printed as one bar with "play 8" over it, where that
    saves a page: the eights of long stretches in which nothing but time is played, and a last four
    to seven. cued: bars with a rhythm cue."""
    slashes = slash_bars(part)
    if part.chair.section != "rhythm" or any(sign.kind == "chord" for sign in part.directions):
        return ()
    return tuple(
        (stretch[n], min(_PHRASE, len(stretch) - n))
        for stretch in _stretches(chart, part, slashes, cued)
        for n in range(0, len(stretch) - _COUNTED + 1, _PHRASE)
    )


def _counts(
    chart: Chart, part: Part, slashes: Collection[int], cued: Collection[int]
) -> Iterator[tuple[int, int]]:
    """Every fourth bar of long stretches in which nothing but time is played, and which it is."""
    for stretch in _stretches(chart, part, slashes, cued):
        yield from ((stretch[n - 1], n) for n in range(_COUNTED, len(stretch) + 1, _COUNTED))


def _stretches(
    chart: Chart, part: Part, slashes: Collection[int], cued: Collection[int]
) -> Iterator[list[int]]:
    """Long stretches in which nothing but time is played, bar by bar."""
    said = {sign.bar for sign in part.directions if sign.kind in ("words", "rehearsal")}
    stretch: list[int] = []
    for bar in chart.bars:
        plain = bar.index in slashes and bar.index not in cued
        if not plain or _begins(chart, bar.index) or bar.index in said:
            if len(stretch) >= _LONG:
                yield stretch
            stretch = []
        if plain:
            stretch.append(bar.index)
    if len(stretch) >= _LONG:
        yield stretch


def _begins(chart: Chart, index: int) -> bool:
    """True for a bar with which a player begins to count anew."""
    bar, before = chart.bars[index], chart.bars[index - 1] if index else None
    return bool(
        bar.rehearsal
        or bar.repeat_start
        or (before and (before.double_bar or before.repeat_end or before.endings != bar.endings))
    )
