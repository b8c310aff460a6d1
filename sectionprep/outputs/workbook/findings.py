"""The sheet Agreement: what was found, what is left of it, and what a person has settled."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping, Sequence

from sectionprep.checks import Finding
from sectionprep.checks.grouping import group_findings
from sectionprep.music.chart import Chart
from sectionprep.music.timing import say_beat
from sectionprep.outputs.settled import Settled, finding_name
from sectionprep.outputs.workbook import tables
from sectionprep.outputs.workbook.decided import settled_in
from sectionprep.outputs.workbook.read import Typed
from sectionprep.outputs.workbook.row import Row
from sectionprep.passages import Together
from sectionprep.phrasing import Plan
from sectionprep.results import Marked


def look_first(chart: Chart, findings: Sequence[Finding]) -> list[str]:
    """The few things to look at before anything else: at most five, in the order in which they
    matter; what is only to be known is none of them."""
    return [str(group) for group in group_findings(chart, findings) if group.severity != "note"][
        :_FIRST
    ]


_FIRST = 5  # that a person looks at before a rehearsal; judgement


def finding_rows(
    chart: Chart,
    before: Sequence[Finding],
    after: Sequence[Finding],
    settled: Mapping[str, Settled],
) -> list[Row]:
    """One row for the same finding in several parts. What is still there after marking comes
    first."""
    left = {_same(chart, f) for f in after}
    groups = _finding_groups(chart, before, after)
    rows = [_finding_row(chart, same, _same(chart, same[0]) in left) for same in groups]
    for row, same in zip(rows, groups, strict=True):
        row.cells["Status"] = _way(chart, same, settled)
    return rows


def _way(chart: Chart, same: Sequence[Finding], settled: Mapping[str, Settled]) -> str:
    """How the review page has settled a finding, in all of its parts; "" where it has not."""
    names = [finding_name(chart, finding) for finding in same]
    return settled[names[0]].way if all(name in settled for name in names) else ""


def open_findings(
    marked: Marked, typed: Typed | None, settled: Mapping[str, Settled]
) -> tuple[tuple[Finding, ...], list[str]]:
    """What is left after marking and not settled by a person, and what is, in words. typed: the
    workbook, whose rows hold the music there, so that a change of it opens the finding again;
    settled: on the review page."""
    chart = marked.score.chart
    by_key = settled_in(typed)
    alone = left_alone(marked.score.together, marked.plan)
    done = [
        group
        for group in _finding_groups(chart, marked.before, marked.after)
        if finding_key(chart, group) in by_key
        or _way(chart, group, settled)
        or _is_left_alone(group, alone)
    ]
    gone = {_same(chart, f) for group in done for f in group}
    left = tuple(f for f in marked.after if _same(chart, f) not in gone)
    said = [str(group) for group in group_findings(chart, [f for same in done for f in same])]
    return left, said


#: checks of what stands at single notes: "leave it" settles what they find there
_OF_NOTES = frozenset(
    {
        *("marks-missing", "marks-extra", "marks-contradict", "second-player", "ornament"),
        *("figure", "slur", "repeated-under-slur"),
    }
)


def left_alone(together: Together, plan: Plan) -> frozenset[tuple[int, int]]:
    """(part, tick) of the notes that a person wants left as they are printed."""
    parts = {passage.id: passage.parts for passage in together.marked}
    return frozenset(
        (part, note.tone.onset)
        for planned in (*plan.passages, *plan.hits, *plan.own)
        for note in planned.notes
        if note.hands_off
        for part in parts.get(planned.id, (planned.part,))
    )


def _is_left_alone(same: Sequence[Finding], alone: Collection[tuple[int, int]]) -> bool:
    return all(
        f.check in _OF_NOTES and all((f.part, tick) in alone for tick in (f.tick, *f.places))
        for f in same
    )


def without_settled(
    chart: Chart,
    found: Sequence[Finding],
    keys: Collection[str],
    alone: Collection[tuple[int, int]],
) -> tuple[tuple[Finding, ...], tuple[str, ...]]:
    """Findings of one look at a chart without those settled in a workbook, and these in words.
    keys: of rows of the sheet Agreement; alone: notes, as of `left_alone`."""
    done = [
        same
        for same in _finding_groups(chart, found, found)
        if finding_key(chart, same) in keys or _is_left_alone(same, alone)
    ]
    gone = {id(finding) for same in done for finding in same}
    said = [str(group) for group in group_findings(chart, [f for same in done for f in same])]
    return tuple(f for f in found if id(f) not in gone), tuple(said)


def _finding_groups(
    chart: Chart, before: Sequence[Finding], after: Sequence[Finding]
) -> list[list[Finding]]:
    """The same finding in several parts together."""
    left = {_same(chart, f) for f in after}
    known = {_same(chart, f) for f in before}
    found = sorted(before, key=lambda f: _same(chart, f) not in left) + [
        f for f in after if _same(chart, f) not in known
    ]
    groups: dict[tuple[object, ...], list[Finding]] = {}
    for f in found:
        groups.setdefault(
            (
                f.check,
                f.severity,
                f.tick,
                f.lead,
                f.message,
                f.fix,
                f.passage,
                _same(chart, f) in left,
            ),
            [],
        ).append(f)
    return list(groups.values())


def finding_key(chart: Chart, same: Sequence[Finding]) -> str:
    """Name of a row of the sheet Agreement: what was found, where, and the notes there. Two
    findings of one kind at one note (two slurs that end there, say) have names of their own."""
    f = same[0]
    place = chart.place(f.tick)
    parts = sorted({other.part for other in same})
    who = chart.parts[parts[0]].label if len(parts) == 1 else f.message
    bar = chart.bars[place.index]
    notes = [
        (t.onset - bar.start, t.pitch, t.duration)
        for part in parts
        for t in chart.between(part, bar.start, bar.end)
    ]
    music = hashlib.sha256(repr((notes, f.message, f.fix)).encode()).hexdigest()[:6]
    return f"{f.check}|{who}|{place.bar}|{place.beat}|{music}"


def _finding_row(chart: Chart, same: Sequence[Finding], still: bool) -> Row:
    f = same[0]
    place = chart.place(f.tick)
    parts = list(dict.fromkeys(chart.parts[other.part].label for other in same))
    return Row(
        key=finding_key(chart, same),
        link=(tables.PASSAGES, f.passage),
        cells={
            "Severity": f.severity,
            "Bar": place.bar,
            "Beat": say_beat(place.beat),
            "Part": ", ".join(parts),
            "What": f.message,
            "Against": chart.parts[f.lead].label if f.lead >= 0 else "",
            "What to do": f.fix,
            "After marking": "still there" if still else "mended",
        },
    )


def _same(chart: Chart, finding: Finding) -> tuple[str, int, int]:
    """What makes a finding of the marked chart the one that was there before."""
    return finding.check, finding.part, finding.tick
