"""Slurs that start or stop elsewhere than the lead's, or are missing.

bad:  lead slurs three notes, Tenor 1 the first two
good: the same three in both
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.checks.finding import Check, Context, Finding
from sectionprep.music.lines import slur_ends
from sectionprep.passages import Passage


def _find(context: Context) -> Iterable[Finding]:
    for passage in context.together.marked:
        word = context.words[passage.id]
        reference = set(word.slurs())
        for part in passage.parts:
            has = set(word.own_slurs(part))
            if part != passage.lead:
                _join_cut(context, part, has, reference)
            yield from _compare(context, passage, part, has, reference)


def _join_cut(
    context: Context, part: int, has: set[tuple[int, int]], wanted: set[tuple[int, int]]
) -> None:
    """A slur of the section that a part has in pieces, because it repeats a note under it, is the
    same slur."""
    for pair in wanted - has:
        pieces = set(slur_ends(context.chart.between(part, pair[0], pair[1] + 1)))
        if pieces and pieces <= has:
            has -= pieces
            has.add(pair)


def _compare(
    context: Context,
    passage: Passage,
    part: int,
    has: set[tuple[int, int]],
    reference: set[tuple[int, int]],
) -> Iterable[Finding]:
    tones = context.tones[part]
    for start, stop in sorted(reference - has):
        whole = slur_ends(context.chart.between(part, start, stop + 1)) == [(start, stop)]
        if start not in tones or stop not in tones or not whole:
            continue  # it repeats a note there, or rests
        near = next((pair for pair in has if pair[0] < stop and start < pair[1]), None)
        yield _finding(context, passage, part, start, stop, near)
    for start, stop in sorted(has - reference):
        if not any(a < stop and start < b for a, b in reference):
            yield _extra(context, passage, part, start, stop)


def _against(context: Context, passage: Passage, part: int) -> int:
    return (
        passage.lead if part != passage.lead else next(iter(context.members(passage)), passage.lead)
    )


def _finding(
    context: Context,
    passage: Passage,
    part: int,
    start: int,
    stop: int,
    near: tuple[int, int] | None,
) -> Finding:
    chart = context.chart
    against = _against(context, passage, part)
    wanted = f"from {chart.place(start)} to {chart.place(stop)}"
    if near is None:
        at, message = start, f"slur missing; {chart.parts[against].label} slurs {wanted}"
    else:
        at = near[1] if near[0] == start else near[0]
        message = (
            f"slur from {chart.place(near[0])} to {chart.place(near[1])}; "
            f"{chart.parts[against].label} slurs {wanted}"
        )
    return Finding(
        check="slur",
        severity="warning",
        tick=at,
        part=part,
        lead=against,
        passage=passage.id,
        message=message,
        fix=f"Slur {wanted}.",
        places=(start, stop),
    )


def _extra(context: Context, passage: Passage, part: int, start: int, stop: int) -> Finding:
    chart = context.chart
    against = _against(context, passage, part)
    return Finding(
        check="slur",
        severity="warning",
        tick=start,
        part=part,
        lead=against,
        passage=passage.id,
        message=f"slur to {chart.place(stop)} that {chart.parts[against].label} does not have",
        fix="Take the slur out, or give it to the whole section.",
        places=(start, stop),
    )


CHECK = Check(
    finds={"slur": "slurs that begin or end elsewhere"},
    matter="marks",
    find=_find,
    guests=True,
    seconds=True,
)
