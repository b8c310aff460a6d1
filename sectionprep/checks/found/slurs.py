"""Slurs that start or stop elsewhere than the lead's, or are missing.

bad:  lead slurs three notes, Tenor 1 the first two
good: the same three in both
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Iterable

from sectionprep.checks.finding import Check, Context, Finding
from sectionprep.music.lines import slur_runs
from sectionprep.passages import Passage


def _find(context: Context) -> Iterable[Finding]:
    own = {part.index: context.chart.slurs(part.index) for part in context.chart.parts}
    for passage in context.together.marked:
        slurs = {part: {(a, b) for a, b in own[part] if passage.start <= a and b < passage.end} for part in passage.parts}
        for part in context.members(passage):
            _join_cut(context, part, slurs[part], slurs[passage.lead])
        reference = _reference(passage, slurs)
        for part in passage.parts:
            yield from _compare(context, passage, part, slurs[part], reference)


def _join_cut(context: Context, part: int, has: set[tuple[int, int]], lead: set[tuple[int, int]]) -> None:
    """A lead's slur that a part has in pieces, because it repeats a note under it, is the same slur."""
    for pair in lead - has:
        pieces = {(run[0].onset, run[-1].onset) for run in slur_runs(context.chart.between(part, pair[0], pair[1] + 1))}
        if pieces and pieces <= has:
            has -= pieces
            has.add(pair)


def _reference(passage: Passage, slurs: dict[int, set[tuple[int, int]]]) -> set[tuple[int, int]]:
    """The lead's slurs, corrected where every other part agrees on something else."""
    others = [slurs[part] for part in passage.parts if part != passage.lead]
    votes = Counter(pair for pairs in others for pair in pairs)
    reference = {pair for pair in slurs[passage.lead] if votes[pair] or len(others) < 2 or not _crossed(pair, votes)}
    if len(others) >= 2:
        reference |= {pair for pair, n in votes.items() if n == len(others)}
    return reference


def _crossed(pair: tuple[int, int], votes: Counter[tuple[int, int]]) -> bool:
    return any(n >= 2 and other != pair and other[0] < pair[1] and pair[0] < other[1] for other, n in votes.items())


def _compare(
    context: Context, passage: Passage, part: int, has: set[tuple[int, int]], reference: set[tuple[int, int]]
) -> Iterable[Finding]:
    tones = context.tones[part]
    for start, stop in sorted(reference - has):
        if start not in tones or stop not in tones or _repeated(context, part, start, stop):
            continue
        near = next((pair for pair in has if pair[0] < stop and start < pair[1]), None)
        yield _finding(context, passage, part, start, stop, near)
    for start, stop in sorted(has - reference):
        if not any(a < stop and start < b for a, b in reference):
            yield _extra(context, passage, part, start, stop)


def _repeated(context: Context, part: int, start: int, stop: int) -> bool:
    pitches = [t.pitch for t in context.chart.between(part, start, stop + 1)]
    return any(a == b for a, b in itertools.pairwise(pitches))


def _against(context: Context, passage: Passage, part: int) -> int:
    return passage.lead if part != passage.lead else next(iter(context.members(passage)), passage.lead)


def _finding(
    context: Context, passage: Passage, part: int, start: int, stop: int, near: tuple[int, int] | None
) -> Finding:
    chart = context.chart
    against = _against(context, passage, part)
    wanted = f"from {chart.place(start)} to {chart.place(stop)}"
    if near is None:
        at, message = start, f"slur missing; {chart.parts[against].label} slurs {wanted}"
    else:
        at = near[1] if near[0] == start else near[0]
        message = (f"slur from {chart.place(near[0])} to {chart.place(near[1])}; "
                   f"{chart.parts[against].label} slurs {wanted}")
    return Finding(check="slur", severity="warning", tick=at, part=part, lead=against, passage=passage.id,
                   message=message, fix=f"Slur {wanted}.", places=(start, stop))


def _extra(context: Context, passage: Passage, part: int, start: int, stop: int) -> Finding:
    chart = context.chart
    against = _against(context, passage, part)
    return Finding(
        check="slur", severity="warning", tick=start, part=part, lead=against, passage=passage.id,
        message=f"slur to {chart.place(stop)} that {chart.parts[against].label} does not have",
        fix="Take the slur out, or give it to the whole section.", places=(start, stop),
    )


CHECK = Check(name="slur", says="slurs that start or stop elsewhere", find=_find)
