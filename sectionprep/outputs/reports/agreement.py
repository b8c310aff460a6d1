"""What was found and planned as machine-readable results, and the agreement report in plain
text."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from sectionprep.checks import Finding
from sectionprep.checks.grouping import say_bars
from sectionprep.checks.versions import PartChange
from sectionprep.marking import Marking
from sectionprep.music.chart import Chart
from sectionprep.music.marks import say
from sectionprep.outputs.parts.part_job import SheetReport
from sectionprep.outputs.parts.sheet_remarks import said_once
from sectionprep.passages import Together
from sectionprep.phrasing import PassagePlan, Plan
from sectionprep.phrasing.deciding import say_unfit
from sectionprep.phrasing.plan import PlannedNote
from sectionprep.results import Marked

Json = dict[str, Any]


def _place(chart: Chart, tick: int, *, end: bool = False) -> Json:
    place = chart.end_place(tick) if end else chart.place(tick)
    return {"bar": place.bar, "index": place.index, "beat": round(float(place.beat), 4)}


def passages_json(chart: Chart, together: Together) -> Json:
    """The result of `passages --json`; keys are agreed and only ever added to."""
    names = chart.labels
    return {
        "chart": chart.title,
        "parts": list(names),
        "passages": [
            {
                "id": p.id,
                "texture": p.texture,
                "start": _place(chart, p.start),
                "end": _place(chart, p.end, end=True),
                "parts": [names[n] for n in p.parts],
                "second_players": [names[n] for n in sorted(p.seconds)],
                "lead": names[p.lead],
                "confidence": p.confidence,
                "scope": p.scope,
                "lead_why": p.lead_why,
                "voicing": p.voicing,
                "returns": p.returns,
                "voicings": [{**_place(chart, tick), "voicing": name} for tick, name in p.voicings],
                "octaves": [{"part": names[n], "octaves": k} for n, k in p.octaves],
                "doubles": [
                    {"texture": t, "parts": [names[n] for n in group]} for t, group in p.doubles
                ],
                "deviations": [
                    {**_place(chart, d.tick), "part": names[d.part], "kind": d.kind}
                    for d in p.deviations
                ],
                "guests": [
                    {
                        "part": names[g.part],
                        "second_player": g.second,
                        "texture": g.texture,
                        "start": _place(chart, g.start),
                        "end": _place(chart, g.end, end=True),
                    }
                    for g in p.guests
                ],
            }
            for p in together.passages
        ],
        "bars": [
            {
                "bar": bar.number,
                "index": bar.index,
                "groups": [
                    {"texture": g.texture, "parts": [names[n] for n in g.parts]} for g in groups
                ],
            }
            for bar, groups in zip(chart.bars, together.bars, strict=True)
        ],
        "remarks": [{"where": r.where, "what": r.what} for r in chart.remarks],
    }


def plan_json(chart: Chart, plan: Plan) -> Json:
    """The result of `plan --json`: passages, and hits (ids with an H), in the order of the
    music."""
    return {
        "style": plan.style,
        "style_why": plan.style_why,
        "passages": [_planned(chart, passage) for passage in plan.marked],
    }


def _planned(chart: Chart, plan: PassagePlan) -> Json:
    return {
        "id": plan.id,
        "lead": plan.lead(chart),
        "notes": [_note(chart, note) for note in plan.notes],
        "phrases": [[_place(chart, a), _place(chart, b, end=True)] for a, b in plan.phrases],
        "readings": [
            {
                "name": reading.name,
                "says": reading.says,
                "differs": reading.differs,
                "leans": [{**_place(chart, t), "marks": list(m)} for t, m in reading.leans],
                "notes": [_played(chart, note) for note in reading.notes],
            }
            for reading in plan.readings
        ],
        "hairpins": [
            {
                "start": _place(chart, h.start),
                "stop": _place(chart, h.stop),
                "kind": h.kind,
                "why": h.why,
            }
            for h in plan.hairpins
        ],
        "dynamics": [
            {**_place(chart, d.tick), "value": d.value, "why": d.why} for d in plan.dynamics
        ],
        "cautions": list(plan.cautions),
    }


def _note(chart: Chart, note: PlannedNote) -> Json:
    """A note of the plan, with its reasons."""
    said = {
        **_played(chart, note),
        "pitch": note.tone.pitch,
        "weight": note.weight,
        "why": note.why,
        "added": sorted(note.added),
    }
    if note.lost:
        said["lost"] = note.lost
    if note.offers:
        said["offers"] = [sorted(marks) for marks in note.offers]
    return said


def _played(chart: Chart, note: PlannedNote) -> Json:
    """How a note is played."""
    said = {
        **_place(chart, note.tone.onset),
        "marks": sorted(note.marks),
        "length": note.length,
        "leaned": note.leaned,
        "tongued": note.tongued,
    }
    if note.cutoff is not None:
        said |= {"cutoff": _place(chart, note.cutoff), "release": note.release}
    return said


def findings_json(chart: Chart, findings: Sequence[Finding]) -> Json:
    """The result of `check --json`."""
    return {
        "findings": [
            {
                "check": f.check,
                "severity": f.severity,
                "matter": f.matter,
                **_place(chart, f.tick),
                "part": chart.parts[f.part].label,
                "lead": chart.parts[f.lead].label if f.lead >= 0 else "",
                "message": f.message,
                "fix": f.fix,
                "passage": f.passage,
                "places": [_place(chart, t) for t in f.places],
            }
            for f in findings
        ]
    }


def changes_json(chart: Chart, marking: Marking) -> list[Json]:
    """The change list: part, place, was, is, why, from which passage."""
    return [
        {
            "part": chart.parts[c.part].label,
            **_place(chart, c.tick),
            "kind": c.kind,
            "was": c.was,
            "is": c.now,
            "why": c.why,
            "passage": c.passage,
            "applied": c.applied,
            **({"taken_out": c.taken} if c.taken else {}),
        }
        for c in marking.changes
    ]


def say_finding(chart: Chart, finding: Finding) -> str:
    """One line: place or bars, part, what."""
    where = say_bars(chart, finding.tick, max(finding.places, default=finding.tick))
    return f"{where}, {chart.parts[finding.part].label}: {finding.message}"


def taken_out(chart: Chart, marking: Marking) -> list[str]:
    """Everything printed that is there no more: place, part, what it was and is, and why."""
    return [
        f"{chart.place(c.tick)}, {chart.parts[c.part].label}: {c.was} -> {c.now} ({c.why})"
        for c in marking.taken_out
    ]


def _decided(chart: Chart, plan: Plan) -> Iterator[str]:
    """The director's decisions, each in a line."""
    for planned in (*plan.passages, *plan.hits, *plan.own):
        name = planned.lead(chart)
        for note in planned.notes:
            if note.decided:
                place = chart.place(note.tone.onset)
                yield f"  {place}, {name}: {say(note.marks)} ({note.why})"
        for sign in planned.dynamics:
            if sign.decided:
                yield f"  {chart.place(sign.tick)}, {name}: {sign.value} ({sign.why})"
        for pin in planned.hairpins:
            if pin.decided:
                until = chart.end_place(pin.stop)
                yield f"  {chart.place(pin.start)}, {name}: {pin.kind} to {until} ({pin.why})"


def agreement_text(marked: Marked) -> str:
    """The report to take along: what was wrong, what was done, what is left for a person."""
    chart, plan, marking = marked.score.chart, marked.plan, marked.marking
    before, after, unfit = marked.before, marked.after, marked.unfit
    taken = taken_out(chart, marking)
    lines = [
        f"{chart.title}: do lead and section agree?",
        *([f"({chart.says_pickup})"] if chart.says_pickup else []),
        "",
        f"TAKEN OUT: {len(taken)} of the marks that were printed",
        "",
    ]
    lines += [f"  {line}" for line in taken] or ["  Nothing: every printed mark is still there."]
    lines += [
        "",
        f"Before: {len(before)} findings. Changes written: {len(marking.written)}. After: "
        f"{len(after)} findings left.",
    ]
    lines += ["", "LEFT FOR YOU (notes are never changed here)", ""]
    lines += [f"  [{f.severity}] {say_finding(chart, f)}\n      -> {f.fix}" for f in after] or [
        "  Nothing: all parts agree."
    ]
    decided = list(_decided(chart, plan))
    if decided or unfit:
        lines += ["", "YOUR DECISIONS", "", *decided]
        lines += [f"  NOT PLACED: {say_unfit(d, why)}" for d, why in unfit]
    lines += ["", "WHAT WAS FOUND BEFORE", ""]
    lines += [f"  [{f.severity}] {say_finding(chart, f)}" for f in before] or ["  Nothing."]
    lines += ["", "LEFT OUT ON PURPOSE", ""]
    lines += [
        f"  {chart.place(c.tick)}, {chart.parts[c.part].label}: {c.why}"
        for c in marking.changes
        if c.kind == "left"
    ] or ["  Nothing."]
    return "\n".join(lines) + "\n"


def turns_text(reports: Sequence[SheetReport]) -> str:
    """Every page turn with the seconds of rest in which to turn."""
    lines = ["", "PAGE TURNS", ""]
    for report in reports:
        for turn in report.turns:
            note = (
                ""
                if turn.possible
                else "  TURN QUICKLY: no longer rest was possible; a neighbour or a "
                "copied page helps"
            )
            kind = "of plain time, one hand is free" if turn.in_time else "of rest"
            lines.append(f"  {report.name}: {turn.where}, {turn.seconds:.1f} s {kind}{note}")
    return (
        "\n".join(lines if len(lines) > 3 else [*lines, "  None: no part has more than two pages."])
        + "\n"
    )


def remarks_text(reports: Sequence[SheetReport]) -> str:
    """What the printed sheets do not show; nothing where they show all."""
    said = said_once(remark for report in reports for remark in report.remarks)
    lines = ["", "WHAT THE SHEETS DO NOT SHOW", "", *(f"  {line}" for line in said)]
    return "\n".join(lines) + "\n" if said else ""


def versions_text(changes: Sequence[PartChange]) -> list[str]:
    """What differs from an older version, one line for each part with other notes, one for all that
    have other marks only."""
    found = []
    for change in changes:
        if change.status != "changed":
            found.append(f"{change.part}: {'new' if change.status == 'new' else 'no longer there'}")
        elif change.notes:
            found.append(f"{change.part}: other notes in {_bars(change.notes)}")
    only_marks = [c.part for c in changes if c.status == "changed" and not c.notes]
    if only_marks:
        found.append(f"Other marks only: {', '.join(only_marks)}")
    return found


def older_text(changes: Sequence[PartChange]) -> str:
    """The same as a section of the report; "" where no older version was named."""
    lines = versions_text(changes)
    return "\nSINCE THE OLDER VERSION\n" + "".join(f"  {line}\n" for line in lines) if lines else ""


def _bars(numbers: Sequence[str]) -> str:
    return f"bar{'s' * (len(numbers) > 1)} {', '.join(numbers)}"


def versions_json(changes: Sequence[PartChange] | None) -> Json:
    """What differs from an older version; nothing when none was named."""
    if changes is None:
        return {}
    return {
        "changed_parts": [
            {"part": c.part, "status": c.status, "notes": list(c.notes), "marks": list(c.marks)}
            for c in changes
        ]
    }
