"""Articulations that are missing, extra or contradicting inside a passage.

bad:  lead has an accent, Tenor 2 nothing
good: both have it The lead is the measure, except where most of the section has something else
printed, or where the lead alone differs from a section that agrees with it everywhere else. Slurs
and ornaments have checks of their own.
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.checks.finding import Check, Context, Finding
from sectionprep.music.marks import contradict, say
from sectionprep.music.section_word import APART
from sectionprep.passages import Passage

# a section that agrees with the lead at this share of marked places may outvote it; judgement
_TRUSTED = 0.75


def _marks(context: Context, part: int, tick: int) -> frozenset[str] | None:
    tone = context.tones[part].get(tick)
    return None if tone is None else tone.marks - APART


def _find(context: Context) -> Iterable[Finding]:
    for passage in context.together.marked:
        reference = _reference(context, passage)
        for part in passage.parts:
            yield from _grouped(context, passage, part, reference)


def _reference(context: Context, passage: Passage) -> dict[int, frozenset[str]]:
    """Marks by tick that the passage is held against."""
    lead = {t: m for t in passage.attacks if (m := _marks(context, passage.lead, t)) is not None}
    others = list(context.members(passage))
    votes = {
        t: [m for part in others if (m := _marks(context, part, t)) is not None]
        for t in passage.attacks
    }
    held: dict[
        int, tuple[int, int]
    ] = {}  # by tick: parts that agree with the lead, and parts that were asked
    for tick, marks in lead.items():
        theirs = [m for m in votes[tick] if marks or m]
        held[tick] = (theirs.count(marks), len(theirs))
    agree, total = (sum(column) for column in zip(*held.values(), strict=True)) if held else (0, 0)
    reference = {tick: context.words[passage.id].marks(tick) for tick in lead}
    for tick, theirs in votes.items():
        if not theirs:
            continue
        most = max(theirs, key=theirs.count)
        outvoted = theirs.count(most) == len(theirs) >= 2
        here = held.get(tick, (0, 0))
        elsewhere = total - here[1]
        trusted = elsewhere > 0 and (agree - here[0]) / elsewhere >= _TRUSTED
        if tick not in lead or (outvoted and trusted and most != lead[tick]):
            reference[tick] = most
    return reference


def _grouped(
    context: Context, passage: Passage, part: int, reference: dict[int, frozenset[str]]
) -> Iterable[Finding]:
    wrong: list[tuple[int, frozenset[str], frozenset[str]]] = []
    marked = bare = 0
    for tick, wanted in sorted(reference.items()):
        has = _marks(context, part, tick)
        if has is None:
            continue
        marked += bool(wanted)
        bare += bool(wanted) and not has
        if has != wanted:
            wrong.append((tick, has, wanted))
    if marked >= 3 and bare == marked:
        missing = [tick for tick, has, _ in wrong if not has]
        wrong = [w for w in wrong if w[1]]
        yield _all_missing(context, passage, part, missing)
    for tick, has, wanted in wrong:
        yield _single(context, passage, part, tick, has, wanted)


def _against(context: Context, passage: Passage, part: int) -> int:
    return (
        passage.lead if part != passage.lead else next(iter(context.members(passage)), passage.lead)
    )


def _all_missing(context: Context, passage: Passage, part: int, ticks: list[int]) -> Finding:
    chart = context.chart
    against = _against(context, passage, part)
    return Finding(
        check="marks-missing",
        severity="warning",
        tick=ticks[0],
        part=part,
        lead=against,
        passage=passage.id,
        places=tuple(ticks),
        message=f"no marks, {chart.parts[against].label} has {len(ticks)}",
        fix=f"Copy the marks of {chart.parts[against].label}.",
    )


def _single(
    context: Context,
    passage: Passage,
    part: int,
    tick: int,
    has: frozenset[str],
    wanted: frozenset[str],
) -> Finding:
    against = _against(context, passage, part)
    name = context.name(against)
    clash = any(contradict(a, b) for a in has - wanted for b in wanted)
    if clash or (has - wanted and wanted - has):
        kind, severity = "marks-contradict", "warning"
        message = f"{say(has)}, but {name} has {say(wanted)}"
    elif wanted - has:
        kind, severity = "marks-missing", "warning"
        message = f"{say(wanted - has)} missing; {name} has {say(wanted)}"
    else:
        kind, severity = "marks-extra", "warning"
        message = f"{say(has - wanted)} that {name} does not have"
    return Finding(
        check=kind,
        severity=severity,
        tick=tick,
        part=part,
        lead=against,
        passage=passage.id,
        message=message,
        fix=f"Make it {say(wanted)}."
        if wanted
        else f"Take out {say(has)}, or give it to the whole section.",
        places=(tick,),
    )


CHECK = Check(
    finds={
        "marks-missing": "articulations that others of a passage have",
        "marks-extra": "articulations that nobody else of a passage has",
        "marks-contradict": "articulations that contradict each other inside a passage",
    },
    matter="marks",
    find=_find,
    guests=True,
    seconds=True,
)
