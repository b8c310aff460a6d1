"""What the page says, as plain data in plain words: the chart, a passage, a note."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

from sectionprep.checks import Finding
from sectionprep.checks.finding import SEVERITIES
from sectionprep.marking.changes import Change
from sectionprep.music.chart import Chart
from sectionprep.music.marks import SLURS, say
from sectionprep.music.notes import Tone
from sectionprep.music.timing import say_beat
from sectionprep.outputs.director.chart_map import chart_map
from sectionprep.outputs.settled import finding_name
from sectionprep.passages import Passage
from sectionprep.passages.guests import say_guests
from sectionprep.passages.players import lead_label
from sectionprep.phrasing import PassagePlan, PlannedNote
from sectionprep.review.view import View, stretches

if TYPE_CHECKING:
    from sectionprep.review.session import Review

SETTLE = ("error", "warning")  # severities that a director has to look at


def state_of(note: PlannedNote) -> str:
    """Where a note's marks come from: "left", "decided", "proposed", "printed" or ""."""
    if note.hands_off:
        return "left"
    if note.decided:
        return "decided"
    if note.added - SLURS or note.added & {"slur-start"} or note.cutoff is not None:
        return "proposed"
    return "printed" if note.marks - SLURS else ""


def words_of(chart: Chart, note: PlannedNote) -> str:
    """What a note carries, in a player's words: "accent, off on 4"."""
    marks = note.marks - {"slur-stop"}
    words = say(marks) if marks else ""
    if note.cutoff is not None:
        words = f"{words}, off on {say_beat(chart.place(note.cutoff).beat)}".lstrip(", ")
    return words or "plain"


STATES = {
    "left": "left as printed, decided by you",
    "decided": "decided",
    "proposed": "proposed",
    "printed": "printed",
    "": "",
}


def says_place(chart: Chart, tick: int) -> str:
    """ "bar 17, beat 2and"."""
    place = chart.place(tick)
    return f"bar {place.bar}, beat {say_beat(place.beat)}"


def pitch_of(chart: Chart, planned: PassagePlan, note: PlannedNote, pitch: str) -> str:
    """The note's name as the page spells it."""
    written = note.tone.head.pitch
    if written is None:
        return ""
    if pitch == "written":
        return str(written)
    return str(chart.parts[planned.part].transposition_at(note.tone.onset).sounding_pitch(written))


def notes_facts(review: Review, view: View) -> list[dict[str, Any]]:
    """Every note of the lead that is seen, as the page tells it."""
    planned, passage = review.planned(view.passage), review.passages[view.passage]
    first, last = stretches(review.score.chart, passage)[view.stretch]
    changes: dict[int, list[Change]] = {}
    for change in review.marking(view).changes:
        if change.passage == passage.id and change.kind != "left":
            changes.setdefault(change.tick, []).append(change)
    stands = review.situations(view.passage)
    return [
        _note_facts(review, passage, planned, n, view.pitch)
        | {
            "situations": stands[n],
            "gets": _who_gets(review.score.chart, changes.get(note.tone.onset, [])),
        }
        for n, note in enumerate(planned.notes)
        if first <= note.tone.bar <= last
    ]


def _note_facts(
    review: Review, passage: Passage, planned: PassagePlan, n: int, pitch: str
) -> dict[str, Any]:
    chart, note = review.score.chart, planned.notes[n]
    onset = note.tone.onset
    read = chart.read_by(passage.seconds)
    striking = {
        part: tone for part in passage.parts for tone in read.between(part, onset, onset + 1)
    }
    state = state_of(note)
    return {
        "n": n,
        "tick": onset,
        "place": says_place(chart, onset),
        "pitch": pitch_of(chart, planned, note, pitch),
        "words": words_of(chart, note),
        "marks": sorted(note.marks - SLURS),
        "state": state,
        "says_state": STATES[state],
        "off": note.cutoff is not None,
        "why": note.why,
        "lost": note.lost,
        "weight": round(note.weight, 2),
        "length": note.length,
        "offers": [sorted(offer) for offer in note.offers],
        "printed": _printed(chart, passage, striking),
        "copies": len(review.answers[passage.id, onset]),
        "silent": _names(chart, [p for p in passage.parts if p not in striking]),
    }


def _names(chart: Chart, parts: list[int]) -> str:
    return ", ".join(chart.parts[part].label for part in sorted(parts))


def _printed(chart: Chart, passage: Passage, striking: dict[int, Tone]) -> list[list[str]]:
    """What stood there as the chart came: [marks, parts], the lead's first."""
    by_marks: dict[str, list[int]] = {}
    for part, tone in sorted(striking.items(), key=lambda item: (item[0] != passage.lead, item[0])):
        marks = tone.marks - SLURS
        by_marks.setdefault(say(marks) if marks else "nothing", []).append(part)
    return [[marks, _names(chart, parts)] for marks, parts in by_marks.items()]


def _who_gets(chart: Chart, changes: Iterable[Change]) -> list[list[str]]:
    """What is written or taken out at one place, and in which parts: [what, parts]."""
    told: dict[str, list[int]] = {}
    for change in changes:
        was = f" (was {change.was})" if change.was not in ("", "plain") else ""
        told.setdefault(f"{change.now or 'nothing'}{was}", []).append(change.part)
    return [[what, _names(chart, parts)] for what, parts in told.items()]


def passage_facts(review: Review, name: str, stretch: int = 0) -> dict[str, Any]:
    """What is said over a passage. stretch: the one that is seen."""
    chart, passage, planned = review.score.chart, review.passages[name], review.planned(name)
    names = list(review.passages)
    at = names.index(name)
    pieces = stretches(chart, passage)
    here, there = f"/passage/{name}?stretch=", "/passage/"
    if stretch:
        before = [f"{here}{stretch - 1}", _bars_said(chart, pieces[stretch - 1])]
    else:
        before = [f"{there}{names[at - 1]}", names[at - 1]] if at else []
    if stretch + 1 < len(pieces):
        after = [f"{here}{stretch + 1}", _bars_said(chart, pieces[stretch + 1])]
    else:
        after = [f"{there}{names[at + 1]}", names[at + 1]] if at + 1 < len(names) else []
    start, end = chart.place(passage.start), chart.end_place(passage.end)
    letter = next(
        (bar.rehearsal for bar in reversed(chart.bars[: start.index + 1]) if bar.rehearsal), ""
    )
    return {
        "id": name,
        "who": passage.scope,
        "texture": passage.texture,
        "bars": start.bar if start.bar == end.bar else f"{start.bar} to {end.bar}",
        "letter": letter,
        "lead": lead_label(chart, passage),
        "lead_why": passage.lead_why,
        "parts": len(passage.parts),
        "ends": {"tick": passage.end, "says": f"{end}"},
        "before": before,
        "after": after,
        "stretches": [_bars_said(chart, piece) for piece in pieces],
        "voicing": passage.voicing,
        "joined": say_guests(chart, passage) if passage.guests else "",
        "returns": passage.returns,
        "sure": round(100 * passage.confidence),
        "cautions": list(planned.cautions),
    }


def loudness_facts(review: Review, name: str) -> list[dict[str, Any]]:
    """The dynamics and hairpins that are proposed or decided in a passage, in order of time."""
    chart, planned = review.score.chart, review.planned(name)
    found = [
        {
            "sign": "dynamic",
            "tick": d.tick,
            "says": f"{says_place(chart, d.tick)}: {d.value}",
            "why": d.why,
            "decided": d.decided,
        }
        for d in planned.dynamics
    ]
    found += [
        {
            "sign": "hairpin",
            "tick": h.start,
            "says": f"{says_place(chart, h.start)} to {chart.end_place(h.stop)}: {h.kind}",
            "why": h.why,
            "decided": h.decided,
        }
        for h in planned.hairpins
    ]
    return sorted(found, key=lambda one: one["tick"])


def _bars_said(chart: Chart, piece: tuple[int, int]) -> str:
    first, last = (chart.bars[n].number for n in piece)
    return f"bars {first} to {last}" if first != last else f"bar {first}"


def readings_facts(review: Review, name: str) -> list[dict[str, Any]]:
    """The other ways to phrase a passage, and which of them is taken now ("" is the plan)."""
    by_rules, planned = review.rules.of(name), review.planned(name)
    now = [note.marks - SLURS for note in planned.notes]
    found: list[dict[str, Any]] = [{"name": "", "says": "as planned by the rules", "differs": 1}]
    ways = [by_rules.notes if by_rules else ()]
    for reading in by_rules.readings if by_rules else ():
        if reading.differs:
            found.append({"name": reading.name, "says": reading.says, "differs": reading.differs})
            ways.append(reading.notes)
    for facts, notes in zip(found, ways, strict=True):
        facts["taken"] = [note.marks - SLURS for note in notes] == now
    return found


def open_findings(review: Review) -> list[Finding]:
    """What is left to settle and nobody has settled."""
    chart, settled = review.score.chart, review.desk.findings
    return [
        f
        for f in review.known_findings or ()
        if f.severity in SETTLE and finding_name(chart, f) not in settled
    ]


def findings_facts(review: Review, name: str = "") -> list[dict[str, Any]]:
    """What was found inside a passage, in words, worst first; with no name, what belongs to no
    passage."""
    chart = review.score.chart
    found = [
        f
        for f in review.known_findings or ()
        if (
            _belongs(f, review.passages[name])
            if name
            else not any(_belongs(f, passage) for passage in review.passages.values())
        )
    ]
    found.sort(key=lambda f: (SEVERITIES.index(f.severity), f.tick, f.part))
    pieces = stretches(chart, review.passages[name]) if name else []
    return [
        _finding_facts(review, chart, f)
        | {"stretch": sum(last < chart.place(f.tick).index for _, last in pieces[:-1])}
        for f in found
    ]


def _finding_facts(review: Review, chart: Chart, finding: Finding) -> dict[str, Any]:
    name = finding_name(chart, finding)
    settled = review.desk.findings.get(name)
    return {
        "name": name,
        "severity": finding.severity,
        "place": says_place(chart, finding.tick),
        "part": chart.parts[finding.part].label,
        "message": finding.message,
        "fix": finding.fix,
        "tick": finding.tick,
        "settled": settled.way if settled else "",
    }


def _belongs(finding: Finding, passage: Passage) -> bool:
    inside = passage.start <= finding.tick < passage.end
    return finding.passage == passage.id or (
        not finding.passage and inside and finding.part in passage.parts
    )


def map_facts(review: Review) -> dict[str, Any]:
    """The chart as a map: parts by bars, runs of bars that are alike in one, passages as places to
    go, and where something is left to settle."""
    chart = review.score.chart
    drawn = chart_map(chart, review.score.together)
    rows = [
        {"label": label, "short": chart.parts[n].says[:14], "runs": _runs(kinds)}
        for n, (label, kinds) in enumerate(drawn.rows)
    ]
    found = open_findings(review)
    places = []
    for name, passage in review.passages.items():
        facts = passage_facts(review, name)
        first, last = chart.place(passage.start).index, chart.end_place(passage.end).index
        open_ones = [f for f in found if _belongs(f, passage)]
        decided = sum(note.decided for note in review.planned(name).notes)
        places.append(
            {
                **{key: facts[key] for key in ("id", "who", "texture", "bars", "lead")},
                "first": first,
                "last": last,
                "rows": _bands(sorted(passage.parts)),
                "lead_row": passage.lead,
                "open": len(open_ones),
                "decided": decided,
                "marks": sum(bool(n.added) for n in review.planned(name).notes),
            }
        )
    return {
        "bars": [{"number": b.number, "letter": b.letter} for b in drawn.bars],
        "rows": rows,
        "places": places,
        "looked": review.known_findings is not None,
        "open": len(found),
    }


def _runs(kinds: tuple[str, ...]) -> list[tuple[int, int, str]]:
    """Bars that are alike: (first, how many, kind)."""
    runs: list[tuple[int, int, str]] = []
    for n, kind in enumerate(kinds):
        if runs and runs[-1][2] == kind:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1, kind)
        else:
            runs.append((n, 1, kind))
    return [run for run in runs if run[2]]


def _bands(parts: list[int]) -> list[tuple[int, int]]:
    """Neighbouring rows in one: (first, how many)."""
    bands: list[tuple[int, int]] = []
    for part in parts:
        if bands and sum(bands[-1]) == part:
            bands[-1] = (bands[-1][0], bands[-1][1] + 1)
        else:
            bands.append((part, 1))
    return bands
