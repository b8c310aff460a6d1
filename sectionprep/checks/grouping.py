"""Findings gathered for a person: one line where the same is wrong in a whole section, and one line
for all that is wrong with the marks of a passage."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from sectionprep.checks.finding import Finding
from sectionprep.music.chart import Chart
from sectionprep.passages.lead import scope_of

_MANY = 3  # lines about one thing in one passage that are told one by one; judgement
_LISTED = 4  # bars that are named before "and N more"; judgement
_LONG = 40  # characters of a list of parts before it is only counted; judgement


_T = TypeVar("_T")


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """Findings that one line tells. where: "bar 12 beat 2" or "bars 2-18"; who: parts in band
    terms; what: the line itself; fix: what to do, empty where it is not one thing."""

    where: str
    who: str
    what: str
    fix: str
    findings: tuple[Finding, ...]

    @property
    def severity(self) -> str:
        """Of the worst of them."""
        return self.findings[0].severity

    @property
    def matter(self) -> str:
        """What they are about (`MATTERS`)."""
        return self.findings[0].matter

    def __str__(self) -> str:
        return f"{self.where}, {self.who}: {self.what}"


def group_findings(chart: Chart, findings: Iterable[Finding]) -> tuple[Group, ...]:
    """The findings in groups, in the order in which they stand."""
    same = _by(findings, lambda f: (f.check, f.severity, f.passage, f.tick, f.message))
    found: list[Group] = []
    for alike in _by(same, lambda group: _theme(group[0])):
        if len(alike) == 1 or (len(alike) <= _MANY and not _one_line(alike[0][0])):
            found += [_told(chart, [group]) for group in alike]
        else:
            found.append(_told(chart, alike))
    return tuple(found)


def _one_line(finding: Finding) -> bool:
    """Marks, and what is only to be known, are told as one from the first."""
    return finding.matter == "marks" or finding.severity == "note"


def _theme(finding: Finding) -> tuple[str, ...]:
    """What may stand in one line: the marks of a passage; one thing that is wrong in a passage; one
    thing to know in the whole chart."""
    if finding.severity == "note":
        return "note", finding.check
    if finding.matter == "marks" and finding.passage:
        return "marks", finding.passage
    return finding.severity, finding.check, finding.passage


def _by(items: Iterable[_T], key: Callable[[_T], Hashable]) -> list[list[_T]]:
    """Items with one key together, in order of first appearance."""
    groups: dict[Hashable, list[_T]] = {}
    for item in items:
        groups.setdefault(key(item), []).append(item)
    return list(groups.values())


def _told(chart: Chart, groups: Sequence[Sequence[Finding]]) -> Group:
    """One line for groups of the same finding in several parts."""
    findings = tuple(f for group in groups for f in group)
    parts = sorted({f.part for f in findings})
    first = min(f.tick for f in findings)
    last = max(max(f.places, default=f.tick) for f in findings)
    alone = len(groups) == 1
    return Group(
        where=say_bars(chart, first, last),
        who=who_in(chart, parts, {f.lead for f in findings if f.lead >= 0}),
        what=findings[0].message if alone else _in_all(chart, groups),
        fix=findings[0].fix if alone else "",
        findings=findings,
    )


def say_bars(chart: Chart, first: int, last: int) -> str:
    """Where something stands from one tick to another: a place, or "bars 2-18"."""
    start, end = chart.place(first), chart.place(last)
    return str(start) if start.index == end.index else f"bars {start.bar}-{end.bar}"


def who_in(chart: Chart, parts: Sequence[int], leads: Iterable[int] = ()) -> str:
    """Parts in band terms; a section that lacks only the part it is held against is named as a
    section."""
    if len(parts) == 1:
        return chart.parts[parts[0]].label
    said = min(
        (scope_of(chart, parts), scope_of(chart, sorted({*parts, *leads}))),
        key=lambda words: (words.count("+"), len(words)),
    )
    return said if len(said) <= _LONG else f"{len(parts)} parts"


def _in_all(chart: Chart, groups: Sequence[Sequence[Finding]]) -> str:
    """Several things in one sentence: what is missing throughout first, then the others by name
    with the bars where they stand."""
    whole = [group[0] for group in groups if _throughout(group[0])]
    said = list(dict.fromkeys(finding.message for finding in whole))
    left = [group for group in groups if not _throughout(group[0])]
    said += [_counted(chart, alike) for alike in _by(left, lambda group: group[0].check)]
    return "; ".join(said)


def _throughout(finding: Finding) -> bool:
    """A part without any of the marks that its passage has."""
    return finding.check == "marks-missing" and len(finding.places) > 1


def _counted(chart: Chart, groups: Sequence[Sequence[Finding]]) -> str:
    name = groups[0][0].check.replace("-", " ")
    if " " not in name and groups[0][0].matter == "marks":  # a slur, a dynamic, a hairpin
        name += " differs"
    if len(groups) == 1:
        return f"{name} in {chart.place(groups[0][0].tick)}"
    bars = list(dict.fromkeys(chart.place(group[0].tick).bar for group in groups))
    more = f" and {len(bars) - _LISTED} more" if len(bars) > _LISTED else ""
    return (
        f"{name} {len(groups)} times (bar{'s' if len(bars) > 1 else ''} "
        f"{', '.join(bars[:_LISTED])}{more})"
    )
