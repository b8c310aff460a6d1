"""What stands in the tables: plain rows, made from the results of the stages."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from sectionprep.checks import Finding
from sectionprep.marking import Marking
from sectionprep.music.chart import Chart
from sectionprep.music.marks import ATTACKS, SLURS, say
from sectionprep.music.pitch import octaves_away
from sectionprep.music.roster import Roster
from sectionprep.music.timing import say_beat
from sectionprep.outputs.parts.part_job import SheetReport
from sectionprep.outputs.parts.rhythm_choice import shown_bars
from sectionprep.outputs.reports.agreement import taken_out
from sectionprep.outputs.settled import Settled
from sectionprep.outputs.workbook import tables
from sectionprep.outputs.workbook.at_home import AtHome, read_home
from sectionprep.outputs.workbook.findings import finding_rows, look_first, open_findings
from sectionprep.outputs.workbook.read import Typed
from sectionprep.outputs.workbook.rehearsal_plan import Item
from sectionprep.outputs.workbook.row import Cell, Row
from sectionprep.passages import Passage, Together
from sectionprep.passages.guests import say_guests
from sectionprep.passages.lead import scope_of
from sectionprep.passages.model import SURE
from sectionprep.passages.players import lead_label, say_seconds
from sectionprep.phrasing import Plan
from sectionprep.phrasing.directives import figure_of
from sectionprep.results import Marked


@dataclass(slots=True, kw_only=True)
class Book:
    """Everything that goes into the workbook. reports: of the printed parts; none
    where nothing was printed."""

    chart: Chart
    together: Together
    plan: Plan
    rows: dict[str, list[Row]] = field(default_factory=dict)
    items: tuple[Item, ...] = ()
    first: list[str] = field(default_factory=list)
    settled: list[str] = field(default_factory=list)
    taken: list[str] = field(default_factory=list)
    band: list[str] = field(default_factory=list)
    style: str = ""
    reports: tuple[SheetReport, ...] = ()


def build_book(
    marked: Marked,
    items: tuple[Item, ...],
    typed: Typed | None = None,
    *,
    applied: bool = False,
    settled: Mapping[str, Settled] | None = None,
) -> Book:
    """All rows of all sheets. typed: what was typed into an earlier workbook; applied: its
    decisions are in the plan; settled: findings settled on the review page, by their names."""
    chart, together, plan = marked.score.chart, marked.score.together, marked.plan
    marking, before, after = marked.marking, marked.before, marked.after
    left, said = open_findings(marked, typed, settled or {})
    home = read_home(typed, chart, together)
    told = {p.id: home.of(chart, p) for p in together.passages}
    return Book(
        chart=chart,
        together=together,
        plan=plan,
        items=items,
        style=f"{plan.style} ({plan.style_why})",
        band=_band(chart, together, marked.score.roster),
        rows={
            tables.PASSAGES: [_passage_row(chart, p, plan, before) for p in together.passages],
            tables.MARKS: _mark_rows(chart, plan),
            tables.OWN: _own_rows(marked, typed or Typed(), applied),
            tables.CUES: _cue_rows(marked),
            tables.AGREEMENT: finding_rows(chart, before, after, settled or {}),
            tables.REHEARSAL: [
                _item_row(n, item, told.get(item.passage, ""))
                for n, item in enumerate(items, start=1)
            ],
            tables.HOME: _home_rows(chart, home),
            tables.PARTS: _part_rows(chart, marking, before, marked.score.roster),
            tables.CHANGES_MADE: _change_rows(chart, plan, marking),
        },
        first=look_first(chart, left),
        settled=said,
        taken=taken_out(chart, marking),
    )


def with_sheets(book: Book, reports: Sequence[SheetReport]) -> Book:
    """The same with the parts that were printed."""
    rows = book.rows | {tables.PARTS: _with_pages(book.rows[tables.PARTS], reports)}
    return replace(book, rows=rows, reports=tuple(reports))


def _band(chart: Chart, together: Together, roster: Roster) -> list[str]:
    """Who sits where: a line for each section, the part that leads most of its passages first,
    players' names beside them."""
    leads = Counter(p.lead for p in together.passages)
    lines = []
    for section in dict.fromkeys(part.chair.section for part in chart.parts):
        mine = [part for part in chart.parts if part.chair.section == section]
        first = max(mine, key=lambda part: (leads[part.index], -part.index))
        said = []
        for part in mine:
            seat = roster.seat(part.label)
            role = "leads" if part is first and len(mine) > 1 and leads[part.index] else ""
            extra = ", ".join(word for word in (seat.player if seat else "", role) if word)
            said.append(f"{part.label} ({extra})" if extra else part.label)
        lines.append(f"{section}: {', '.join(said)}")
    return lines


def _passage_row(chart: Chart, passage: Passage, plan: Plan, findings: Sequence[Finding]) -> Row:
    start, end = chart.place(passage.start), chart.end_place(passage.end)
    planned = plan.of(passage.id)
    distances = [f"{chart.parts[p].label} {octaves_away(k)}" for p, k in passage.octaves if k]
    return Row(
        key=f"{passage.id}|{chart.parts[passage.lead].label}|{start.bar}",
        link=(tables.MARKS, passage.id),
        cells={
            "Passage": passage.id,
            "From": f"{start.bar} beat {say_beat(start.beat)}",
            "To": f"{end.bar} end" if end.is_end else f"{end.bar} beat {say_beat(end.beat)}",
            "Who": passage.scope,
            "Texture": passage.texture,
            "Lead": lead_label(chart, passage),
            "Why this lead": passage.lead_why,
            "Voicing or octaves": "; ".join(
                filter(
                    None,
                    (
                        passage.voicing or ", ".join(distances),
                        say_seconds(chart, passage),
                        say_guests(chart, passage),
                    ),
                )
            ),
            "Sure": said_sure(passage),
            "Comes back from": passage.returns,
            "Marks": sum(bool(n.marks - SLURS) for n in planned.notes) if planned else 0,
            "Findings": sum(f.passage == passage.id for f in findings),
        },
    )


def said_sure(passage: Passage) -> str:
    """How sure the finder is that these parts belong together."""
    if passage.confidence >= SURE:
        return "sure"
    return "likely" if passage.confidence >= _LIKELY else "perhaps"


_LIKELY = 0.5  # right more often than not


def mark_key(part: str, bar: str, beat: str, figure: str) -> str:
    """Name of a planned note that survives sorting, filtering and small edits of the chart."""
    return f"{part}|{bar}|{beat}|{figure}"


def _mark_rows(chart: Chart, plan: Plan) -> list[Row]:
    rows: list[Row] = []
    for planned in plan.marked:
        line = planned.line(chart)
        name = planned.lead(chart)
        readings = [(reading.name, dict(reading.leans)) for reading in planned.readings]
        for note in planned.notes:
            shown = note.marks - {"slur-stop"}
            decided = note.decided
            if not shown and not note.lost and note.cutoff is None and not decided:
                continue
            place = chart.place(note.tone.onset)
            beat = say_beat(place.beat)
            words = say(shown) if shown else "plain"
            if note.cutoff is not None:
                words = (
                    f"{words}; " if shown else ""
                ) + f"off {say_beat(chart.place(note.cutoff).beat)}"
            others = [
                (reading, say(theirs))
                for reading, leans in readings
                if bool(theirs := frozenset(leans.get(note.tone.onset, ())))
                != bool(note.marks & ATTACKS)
            ]
            others += [("if you like", say(marks)) for marks in note.offers]
            figure = figure_of(chart, line, note.tone.onset)
            rows.append(
                Row(
                    key=mark_key(name, place.bar, str(place.beat), figure),
                    link=(tables.PASSAGES, planned.id),
                    offers=tuple(dict.fromkeys(marks for _, marks in others)),
                    cells={
                        "Passage": planned.id,
                        "Bar": place.bar,
                        "Beat": beat,
                        "Note": str(note.tone.head.pitch or ""),
                        "Lead": name,
                        "Planned": words,
                        "Why": note.lost or note.why,
                        "Instead": "; ".join(f"{r}: {marks}" for r, marks in others),
                        "Weight": round(note.weight, 2),
                    },
                )
            )
    return rows


_FREE_ROWS = 12  # rows to fill in, beside those that are; judgement


def _own_rows(marked: Marked, typed: Typed, applied: bool) -> list[Row]:
    """Rows to fill in, and what came of those that are."""
    unfit = {decision.cell: why for decision, why in marked.unfit}
    filled = typed.cells.get(tables.OWN, {})
    last = max((int(key) for key in filled if key.isdecimal()), default=0)
    rows = []
    for key in dict.fromkeys((*filled, *map(str, range(1, last + _FREE_ROWS + 1)))):
        said = ""
        if filled.get(key, {}).get("What"):
            cell = typed.where.get((tables.OWN, key, "What"), "")
            done = f"not done: {unfit[cell]}" if cell in unfit else "done"
            said = done if applied else "not applied yet: run with --decisions and this file"
        rows.append(Row(key=key, cells={"What came of it": said}))
    return rows


def _cue_rows(marked: Marked) -> list[Row]:
    """A row for each bar of which the rhythm section is shown something."""
    chart = marked.again.chart
    rows = []
    for shown in shown_bars(chart, marked.again.together):
        bar = chart.bars[shown.bar].number
        beats = [say_beat(chart.place(one.tone.onset).beat) for one in shown.notes]
        reasons = dict.fromkeys(why for one in shown.notes for why in one.why.split(", "))
        rows.append(
            Row(
                key=f"{bar}|{shown.notes[0].who}",
                cells={
                    "Bar": bar,
                    "Beats": ", ".join(beats),
                    "Who hits": shown.notes[0].who,
                    "Why shown": ", ".join(reasons),
                    "Shown to": ", ".join(shown.to),
                },
            )
        )
    return rows


def _change_rows(chart: Chart, plan: Plan, marking: Marking) -> list[Row]:
    """What was taken out first, then in the order of the music; one row for the same change in
    several parts, the lead among them."""
    leads = {planned.id: planned.lead(chart) for planned in plan.marked}
    groups: dict[tuple[bool, int, str, str, str, str, str, bool], list[int]] = {}
    for c in marking.changes:
        why = c.why.removeprefix(f"as {leads.get(c.passage)}: ")
        lost = bool(c.taken) and c.applied
        groups.setdefault(
            (not lost, c.tick, c.kind, c.was, c.now, why, c.passage, c.applied), []
        ).append(c.part)
    said: dict[tuple[int, ...], str] = {}
    rows = []
    for key, parts in sorted(groups.items(), key=lambda item: (item[0][:2], item[1])):
        _, tick, kind, was, now, why, passage, applied = key
        place = chart.place(tick)
        group = tuple(dict.fromkeys(parts))
        if group not in said:
            said[group] = scope_of(chart, group) if len(group) > 1 else chart.parts[group[0]].label
        rows.append(
            Row(
                cells={
                    "Bar": place.bar,
                    "Beat": say_beat(place.beat),
                    "Parts": said[group],
                    "Kind": kind,
                    "Was": was,
                    "Is": now,
                    "Why": why,
                    "Passage": passage,
                    "Written": "yes" if applied else "no",
                    "Each part": ", ".join(chart.parts[part].label for part in group),
                }
            )
        )
    return rows


def _home_rows(chart: Chart, home: AtHome) -> list[Row]:
    return [
        Row(
            key=part.label,
            cells={"Part": part.label, "What it says": home.said.get(part.label, "")},
        )
        for part in chart.parts
    ]


def _item_row(number: int, item: Item, told: str) -> Row:
    return Row(
        key=item.key,
        link=(tables.PASSAGES, item.passage),
        cells={
            "Order": number,
            "What": item.what,
            "Bars": item.bars,
            "Chairs": item.chairs,
            "Lead": item.lead,
            "Why here": "; ".join(words for words in (item.why, told) if words),
            "Listen for": item.listen,
            "Tempo steps": " ".join(str(t) for t in item.tempos),
            "Minutes": item.minutes,
        },
    )


def _part_rows(
    chart: Chart, marking: Marking, findings: Sequence[Finding], roster: Roster
) -> list[Row]:
    added = Counter(c.part for c in marking.changes if c.applied)
    rows = []
    for part in chart.parts:
        pitches = [n.pitch for n in part.notes if n.pitch is not None and not n.is_slash]
        low = min(pitches, key=lambda p: p.midi, default=None)
        high = max(pitches, key=lambda p: p.midi, default=None)
        seat = roster.seat(part.label)
        ranges = "; ".join(
            f.message for f in findings if f.check == "range" and f.part == part.index
        )
        rows.append(
            Row(
                key=part.label,
                cells={
                    "Part": part.label,
                    "Chair": part.chair.says if part.chair.sure else f"{part.chair.says}?",
                    "Lowest": str(low or ""),
                    "Highest": str(high or ""),
                    "Range": ranges,
                    "Marks added": added[part.index],
                    "Copies": seat.copies if seat else 1,
                    "Player": seat.player if seat else "",
                },
            )
        )
    return rows


def _turns(report: SheetReport) -> str:
    if report.failed:
        return "NOT PRINTED"
    return "; ".join(f"{turn.where}: {turn.free}" for turn in report.turns)


def _with_pages(rows: Sequence[Row], reports: Sequence[SheetReport]) -> list[Row]:
    """The rows of the parts with the pages and turns of their sheets."""
    printed = {report.name: report for report in reports}
    found = []
    for row in rows:
        report = printed.get(row.key)
        pages: dict[str, Cell] = (
            {}
            if report is None
            else {
                "Pages": report.pages,
                "Turns": _turns(report),
            }
        )
        found.append(replace(row, cells=row.cells | pages))
    return found
