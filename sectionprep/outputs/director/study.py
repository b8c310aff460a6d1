"""Study pages: a passage's section on the page, what to say, the weight of every note, and why."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from concurrent.futures import Future
from dataclasses import dataclass
from itertools import islice

from sectionprep.drawing.engraver.engraver import EngravingFailed
from sectionprep.drawing.pdf.painter import UNIT, Painter
from sectionprep.drawing.scene.ink import System
from sectionprep.drawing.scene.jazz_marks import overlays_of
from sectionprep.drawing.scene.line_extras import jazz_extras
from sectionprep.drawing.text import fonts
from sectionprep.music.chart import Chart
from sectionprep.music.marks import SLURS, say
from sectionprep.music.timing import say_beat
from sectionprep.musicxml.copies.excerpt import Excerpt, Pick, extract_excerpt, unchanging
from sectionprep.musicxml.copies.part import note_id
from sectionprep.outputs.director.engraved import take_drawing
from sectionprep.outputs.director.pen import MARGIN, Pen
from sectionprep.outputs.director.staves import pick_staff
from sectionprep.passages import Passage
from sectionprep.passages.guests import say_guests
from sectionprep.passages.players import lead_label
from sectionprep.phrasing import PassagePlan, PlannedNote
from sectionprep.phrasing.plan import Reading
from sectionprep.phrasing.syllables import lead_syllables
from sectionprep.results import Marked

# a study page is a hand-out, not the score: longer passages show their first bars; judgement
_STUDY_BARS = 24
_DISAGREEMENTS = 14  # listed for a passage; judgement
_STAFF_MM = 5.0  # staff height on study pages: smaller than a player's, large enough for a stand
_UNDER = 12.0  # points between two lines of music
_HEAD = 52.0  # points that a passage's heading takes
_SOME_NOTES = 60.0  # points of reasons that should stand on the page of their music
_SOME_LINES = 24.0  # points of a list that stand under its heading
_BETWEEN = 16.0  # points between two passages


def _picks(chart: Chart, passage: Passage, pitch: str) -> list[Pick]:
    """The parts in score order, sections in brackets; the lead is named as such."""
    return [
        pick_staff(
            chart,
            part,
            pitch,
            passage.start,
            passage.end,
            label=chart.parts[part].says + (" (lead)" if part == passage.lead else ""),
            group=chart.parts[part].chair.section if chart.parts[part].chair.sure else "",
        )
        for part in sorted(passage.parts)
    ]


def _last_shown(chart: Chart, passage: Passage) -> int:
    """Index of the last bar on its study page."""
    first, whole = chart.place(passage.start).index, chart.end_place(passage.end).index
    return min(whole, first + _STUDY_BARS - 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class Study:
    """What is shown of a passage: its staves, and its bars (indices)."""

    passage: Passage
    planned: PassagePlan
    picks: tuple[Pick, ...]
    bars: tuple[int, ...]
    pitch: str

    @property
    def staff(self) -> float:
        """Height of a staff, in millimetres."""
        return _staff(len(self.picks))


def study_of(marked: Marked, passage: Passage, planned: PassagePlan, pitch: str) -> Study:
    """A passage with its long rests closed up. pitch: "sounding", or "written" (as the players
    read)."""
    chart = marked.again.chart
    picks = tuple(_picks(chart, passage, pitch))
    first, last = chart.place(passage.start).index, _last_shown(chart, passage)
    still = unchanging(marked.again.document, picks, _silent_bars(chart, passage, first, last))
    closed = {n for n in still if n - 1 in still or n + 1 in still}
    bars = tuple(n for n in range(first, last + 1) if n not in closed)
    return Study(passage=passage, planned=planned, picks=picks, bars=bars, pitch=pitch)


def study_excerpt(
    marked: Marked, study: Study, width_mm: float
) -> tuple[Excerpt, float, float, str]:
    """What the engraver is given for it."""
    first, last = study.bars[0], study.bars[-1]
    score = extract_excerpt(
        marked.again.document,
        study.picks,
        first,
        last,
        said=lead_syllables(marked.again.chart, study.planned, marked.plan.style),
        leading=sorted(study.passage.parts).index(study.passage.lead),
        closed=frozenset(range(first, last + 1)) - frozenset(study.bars),
    )
    return score, width_mm, study.staff, study.passage.id


def _silent_bars(chart: Chart, passage: Passage, first: int, last: int) -> list[int]:
    """Bars inside a passage, but for its first and last, in which none of its parts plays and no
    section or metre begins."""
    sounding = {
        bar
        for part in passage.parts
        for tone in chart.read_by(passage.seconds).between(
            part, chart.bars[first].start - 1, chart.bars[last].end
        )
        for bar in range(tone.bar, chart.bar_at(max(tone.onset, tone.end - 1)).index + 1)
    }
    return [
        n
        for n in range(first + 1, last)
        if n not in sounding
        and not chart.bars[n].rehearsal
        and chart.bars[n].meter == chart.bars[n - 1].meter
    ]


def write_study(
    pen: Pen,
    painter: Painter,
    marked: Marked,
    study: Study,
    drawing: Future[str],
) -> list[str]:
    """One passage, on the page of the one before where there is room. drawing: its music. Returns
    why that is missing, if it is."""
    chart, passage, planned = marked.again.chart, study.passage, study.planned
    start, end = chart.place(passage.start), chart.end_place(passage.end)
    missing: list[str] = []
    try:
        systems, glyphs = take_drawing(drawing, f"study page {passage.id}, from bar {start.bar}")
    except EngravingFailed as error:
        missing.append(str(error))
        systems, glyphs = [], {}
    painter.learn(glyphs)
    size = study.staff / 7.5
    overlays = {name: m for p in passage.parts for name, m in overlays_of(chart.parts[p]).items()}
    extras = [jazz_extras(system, overlays, size) for system in systems]
    tall = [(system.bottom - system.top) * UNIT + _UNDER for system in systems]
    _make_room(pen, sum(tall), max(tall, default=0.0))
    _head(pen, chart, passage, study.pitch)
    pen.heading = f"{passage.id}   {passage.scope}, continued"
    for line in missing:
        pen.text(line, 9, fonts.ITALIC)
    bars, last = iter(study.bars), study.bars[-1]
    for system, jazz, need in zip(systems, extras, tall, strict=True):
        if need > pen.room:
            pen.turn()
        staff_y = pen.y - (system.staff_top - system.top) * UNIT
        painter.system(system, MARGIN, staff_y)
        _weights(painter, system, staff_y, planned)
        shown = list(islice(bars, len(system.measures)))
        with painter.at(system, MARGIN, staff_y):
            for extra in jazz:
                extra.paint(painter)
            left = system.bar_edges[0][1] if system.bar_edges else 0.0
            painter.text(
                left,
                system.staff_top - 150,
                chart.bars[shown[0] if shown else last].number,
                fonts.ITALIC,
                260,
            )
        pen.space(need)
    if last < chart.end_place(passage.end).index:
        pen.text(
            f"Shown to bar {chart.bars[last].number}; the plan goes on to bar {end.bar} (see "
            f"the workbook).",
            8,
            fonts.ITALIC,
        )
    _notes_beside(pen, chart, passage, planned, _disagreed(marked, passage), study.pitch)
    pen.heading = ""
    return missing


def _make_room(pen: Pen, music: float, tallest: float) -> None:
    """A passage that fits on what is left of the page goes there; else it begins a fresh one."""
    fresh = pen.room > pen.height - 2 * MARGIN - 1
    if fresh:
        return
    need = _BETWEEN + _HEAD + music + _SOME_NOTES
    if need > pen.room or _HEAD + tallest > pen.room:
        pen.turn()
        return
    pen.space(_BETWEEN / 2)
    pen.rule()
    pen.space(_BETWEEN / 2)


def _head(pen: Pen, chart: Chart, passage: Passage, pitch: str) -> None:
    start, end = chart.place(passage.start), chart.end_place(passage.end)
    pen.text(f"{passage.id}   {passage.scope}, {passage.texture}", 14, fonts.BOLD)
    pen.text(
        f"{start} to {end}. Lead: {lead_label(chart, passage)} ({passage.lead_why}). "
        f"{'Sounding pitch' if pitch == 'sounding' else 'As the players read'}.",
        9,
    )
    pen.space(6)


def _disagreed(marked: Marked, passage: Passage) -> list[str]:
    """What was found in a passage as it came, parts with the same finding in one line."""
    chart = marked.again.chart
    same: dict[tuple[int, str], list[str]] = defaultdict(list)
    for f in marked.before:
        inside = any(passage.start <= tick < passage.end for tick in f.places)
        if f.passage == passage.id or (f.check == "range" and f.part in passage.parts and inside):
            same[f.tick, f.message].append(chart.parts[f.part].label)
    return [
        f"{chart.place(tick)}, {', '.join(parts)}: {message}"
        for (tick, message), parts in same.items()
    ]


def _staff(parts: int) -> float:
    if parts <= 6:
        return _STAFF_MM
    return 4.2 if parts <= 9 else 3.6  # 3.6 mm is the least the engraver draws


def _weights(painter: Painter, system: System, staff_y: float, planned: PassagePlan) -> None:
    """Under the lead's syllables a small wedge for each note: the taller, the more weight."""
    c = painter.canvas
    with painter.at(system, MARGIN, staff_y):
        for note in planned.notes:
            name = note_id(note.tone.head.address)
            if name not in system.wedges or name not in system.heads:
                continue
            base, middle = (
                system.wedges[name].y,
                system.heads[name].x + system.heads[name].width / 2,
            )
            path = c.beginPath()
            path.moveTo(middle - 55, base)
            path.lineTo(middle + 55, base)
            path.lineTo(middle, base - 300 * max(0.0, note.weight - 0.15))
            path.close()
            c.drawPath(path, stroke=0, fill=1)


def _named(chart: Chart, part: int, note: PlannedNote, pitch: str) -> str:
    """The pitch as the page spells it."""
    written = note.tone.head.pitch
    if pitch == "written":
        return str(written or "")
    return (
        str(chart.parts[part].transposition_at(note.tone.onset).sounding_pitch(written))
        if written
        else ""
    )


def _said_of(chart: Chart, planned: PassagePlan, reading: Reading) -> str:
    """A reading in one line: where it leans, bar by bar (an accent where no other mark is named),
    and the lengths that are unlike the plan's."""
    if not reading.differs:
        return f'Reading "{reading.name}": {reading.says}.'
    bars: dict[str, list[str]] = {}
    for note in reading.notes:
        if note.leaned:
            place = chart.place(note.tone.onset)
            other = note.marks - SLURS - {"accent"}
            beat = say_beat(place.beat) + (f" {say(other)}" if other else "")
            bars.setdefault(place.bar, []).append(beat)
    leans = "; ".join(f"{bar}: {', '.join(beats)}" for bar, beats in bars.items())
    lengths = ", ".join(
        f"{_at(chart, n.tone.onset)} {n.length}"
        for n, ours in zip(reading.notes, planned.notes, strict=True)
        if n.length != ours.length
    )
    return f'Reading "{reading.name}" ({reading.says}) leans on {leans or "nothing"}.' + (
        f" Lengths: {lengths}." if lengths else ""
    )


def _notes_beside(
    pen: Pen,
    chart: Chart,
    passage: Passage,
    planned: PassagePlan,
    disagreed: Sequence[str],
    pitch: str,
) -> None:
    pen.space(6)
    if passage.voicing:
        pen.text(f"Voicing: {passage.voicing}.", 8.5)
    if passage.octaves and any(k for _, k in passage.octaves):
        pen.text(
            "Octaves: "
            + ", ".join(f"{chart.parts[p].label} {k:+d}" for p, k in passage.octaves if k)
            + ".",
            8.5,
        )
    if passage.guests:
        pen.text(f"Joined: {say_guests(chart, passage)}.", 8.5)
    for caution in planned.cautions:
        pen.text(f"Breath: {caution}.", 8.5)
    pen.text(
        "Marks and reasons (under the lead: what to say; the taller the wedge, the more weight)",
        10,
        fonts.BOLD,
        keep=_SOME_LINES,
    )
    pen.columns(
        [
            _reason(chart, planned, note, pitch)
            for note in planned.notes
            if note.marks - SLURS or note.cutoff is not None
        ]
        + [
            f"{_at(chart, dynamic.tick)}  ({dynamic.value}): {dynamic.why}"
            for dynamic in planned.dynamics
        ]
    )
    for reading in planned.readings:
        pen.text(_said_of(chart, planned, reading), 7.5, fonts.ITALIC, gap=1.0)
    if disagreed:
        pen.text("What disagreed before", 10, fonts.BOLD, keep=_SOME_LINES)
        pen.columns(disagreed[:_DISAGREEMENTS])
        if len(disagreed) > _DISAGREEMENTS:
            pen.text(
                f"and {len(disagreed) - _DISAGREEMENTS} more, in the workbook", 8, fonts.ITALIC
            )


def _at(chart: Chart, tick: int) -> str:
    place = chart.place(tick)
    return f"{place.bar}.{say_beat(place.beat)}"


def _reason(chart: Chart, planned: PassagePlan, note: PlannedNote, pitch: str) -> str:
    words = say(note.marks - {"slur-stop"}) if note.marks - {"slur-stop"} else ""
    if note.cutoff is not None:
        words = f"{words}, off {say_beat(chart.place(note.cutoff).beat)}".lstrip(", ")
    named = _named(chart, planned.part, note, pitch)
    return f"{_at(chart, note.tone.onset)}  {named}  {words}: {note.why}"
