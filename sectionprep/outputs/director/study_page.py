"""Study pages: the section's music, the weight of every note, what to say, and why."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from concurrent.futures import Future
from functools import partial

from sectionprep.drawing.engraver.toolkit import EngravingFailed
from sectionprep.drawing.pdf.painter import Painter
from sectionprep.drawing.scene.ink import System
from sectionprep.drawing.text import fonts
from sectionprep.music.chart import Chart
from sectionprep.music.marks import BY_NAME, SLURS, say
from sectionprep.music.timing import say_beat
from sectionprep.musicxml.copies.part import note_id
from sectionprep.outputs.director.engraved import take_drawing
from sectionprep.outputs.director.lines import music_lines, paint_line
from sectionprep.outputs.director.pen import MARGIN, Pen
from sectionprep.outputs.director.study import Study
from sectionprep.passages import Passage
from sectionprep.passages.guests import say_guests
from sectionprep.passages.players import lead_label
from sectionprep.phrasing import PassagePlan, PlannedNote
from sectionprep.phrasing.plan import Reading
from sectionprep.results import Marked

_DISAGREEMENTS = 14  # listed for a passage; judgement
_NOTES = 16  # listed for a reason; judgement
_UNDER = 6.0  # points between two lines of music
_HEAD = 30.0  # points that a passage's heading takes
_BETWEEN = 12.0  # points between two passages


def write_study(
    pen: Pen,
    painter: Painter,
    marked: Marked,
    study: Study,
    drawing: Future[str],
    told: set[str],
) -> list[str]:
    """A passage, or hits, right under what stands before where there is room for a line. drawing:
    the music. told: what readings are, as far as these pages have said it. Returns why the music is
    missing, if it is."""
    chart = marked.again.chart
    start = chart.place(study.first.start)
    missing: list[str] = []
    try:
        systems, glyphs = take_drawing(
            drawing, f"study page {study.first.id}, from bar {start.bar}"
        )
    except EngravingFailed as error:
        missing.append(str(error))
        systems, glyphs = [], {}
    painter.learn(glyphs)
    lines = list(music_lines(chart, study.parts, study.bars, systems, study.staff))
    _make_room(pen, lines[0].tall(pen) + _UNDER if lines else 0.0)
    _head(pen, chart, study)
    pen.heading = f"{study.title}, continued"
    for words in missing:
        pen.text(words, 9, fonts.ITALIC)
    beside = partial(_beside, chart=chart, study=study, disagreed=_disagreed(marked, study))
    written = False
    for line in lines:
        if line.tall(pen) + _UNDER > pen.room:
            # what is said fills the page where there is no room for another line
            if line is not lines[0] and not written and pen.holds(partial(beside, told={*told})):
                beside(pen, told=told)
                written = True
            pen.turn()
        paint_line(pen, painter, line, partial(_all_weights, painter, line.system, study.plans))
        pen.space(_UNDER)
    if not written:
        beside(pen, told=told)
    pen.heading = ""
    return missing


def _beside(
    pen: Pen, *, chart: Chart, study: Study, disagreed: Sequence[str], told: set[str]
) -> None:
    """All words that belong to the music. told: as of `write_study`."""
    last, end = chart.bars[study.bars[-1]], chart.end_place(study.passages[-1].end)
    if last.index < end.index:
        pen.text(
            f"Shown to bar {last.number}; the plan goes on to bar {end.bar} (see the workbook).",
            8,
            fonts.ITALIC,
        )
    _notes_beside(pen, chart, study, disagreed, told)


def _make_room(pen: Pen, first_line: float) -> None:
    """What begins stands right under what stands before if its first line of music does; else it
    begins a fresh page."""
    fresh = pen.room > pen.height - 2 * MARGIN - 1
    if fresh:
        return
    if _BETWEEN + _HEAD + first_line > pen.room:
        pen.turn()
        return
    pen.space(_BETWEEN / 2)
    pen.rule()
    pen.space(_BETWEEN / 2)


def _head(pen: Pen, chart: Chart, study: Study) -> None:
    where = dict.fromkeys(_from_to(chart, passage) for passage in study.passages)
    why = {f"{lead_label(chart, p)} ({p.lead_why})": None for p in study.passages}
    pen.heading_line(
        study.title,
        f"{', '.join(where)}. Lead: {', '.join(why)}. "
        f"{'Sounding pitch' if study.pitch == 'sounding' else 'As the players read'}.",
    )
    pen.space(4)


def _from_to(chart: Chart, passage: Passage) -> str:
    return f"{chart.place(passage.start)} to {chart.end_place(passage.end)}"


def _disagreed(marked: Marked, study: Study) -> list[str]:
    """What was found there in the chart as it came, parts with the same finding in one line."""
    chart = marked.again.chart
    ids = {passage.id for passage in study.passages}
    shown = {*study.parts, *(part for group in study.alike for part in group)}
    same: dict[tuple[int, str], list[str]] = defaultdict(list)
    for f in marked.before:
        here = f.passage in ids or (
            f.check == "range"
            and any(p.start <= tick < p.end for tick in f.places for p in study.passages)
        )
        if here and f.part in shown:
            same[f.tick, f.message].append(chart.parts[f.part].label)
    return [
        f"{chart.place(tick)}, {', '.join(parts)}: {message}"
        for (tick, message), parts in same.items()
    ]


def _all_weights(painter: Painter, system: System, plans: Sequence[PassagePlan]) -> None:
    for planned in plans:
        _weights(painter, system, planned)


def _weights(painter: Painter, system: System, planned: PassagePlan) -> None:
    """Under the lead's syllables a small wedge for each note: the taller, the more weight."""
    c = painter.canvas
    for note in planned.notes:
        name = note_id(note.tone.head.address)
        if name not in system.wedges or name not in system.heads:
            continue
        base, middle = system.wedges[name].y, system.heads[name].x + system.heads[name].width / 2
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


def _said_of(chart: Chart, planned: PassagePlan, reading: Reading, told: set[str]) -> str:
    """A reading in one line: what it is, the first time; where it leans, bar by bar (an accent
    where no other mark is named), and the lengths that are unlike the plan's."""
    bars: dict[str, list[str]] = {}
    for note in reading.notes:
        if note.leaned:
            place = chart.place(note.tone.onset)
            beat = say_beat(place.beat) + _other_mark(note.marks - SLURS - {"accent"}, told)
            bars.setdefault(place.bar, []).append(beat)
    leans = "; ".join(f"{bar}: {', '.join(beats)}" for bar, beats in bars.items())
    lengths = ", ".join(
        f"{_at(chart, n.tone.onset)} {n.length}"
        for n, ours in zip(reading.notes, planned.notes, strict=True)
        if n.length != ours.length
    )
    what = "" if reading.says in told else f" ({reading.says})"
    return f'Reading "{reading.name}"{what} leans on {leans or "nothing"}.' + (
        f" Lengths: {lengths}." if lengths else ""
    )


def _other_mark(marks: frozenset[str], told: set[str]) -> str:
    """Behind a beat, marks that are no accent: in words, the rooftop accent as its sign, which is
    explained the first time."""
    if not marks:
        return ""
    if marks != {"strong-accent"}:
        return f" {say(marks)}"
    sign = BY_NAME["strong-accent"].glyph
    if sign in told:
        return sign
    told.add(sign)
    return f"{sign} ({say(marks)})"


def _notes_beside(
    pen: Pen, chart: Chart, study: Study, disagreed: Sequence[str], told: set[str]
) -> None:
    passage = study.first
    pen.space(4)
    if study.alike:
        staves = [", ".join(chart.parts[p].label for p in group) for group in study.alike]
        pen.text(f"On one staff, since they are written alike: {'; '.join(staves)}.", 8.5)
    if passage.voicing and not study.hits:
        pen.text(f"Voicing: {passage.voicing}.", 8.5)
    if not study.hits and any(k for _, k in passage.octaves):
        pen.text(
            "Octaves: "
            + ", ".join(f"{chart.parts[p].label} {k:+d}" for p, k in passage.octaves if k)
            + ".",
            8.5,
        )
    if passage.guests:
        pen.text(f"Joined: {say_guests(chart, passage)}.", 8.5)
    for caution in dict.fromkeys(c for planned in study.plans for c in planned.cautions):
        pen.text(f"Breath: {caution}.", 8.5)
    reasons = [line for planned in study.plans for line in _reasons(chart, planned, study.pitch)]
    pen.headed(
        "Marks and reasons (under the lead: what to say; the taller the wedge, the more weight)",
        reasons,
    )
    if not study.hits:
        readings = [said for planned in study.plans for said in _readings(chart, planned, told)]
        pen.text("  \u00b7  ".join(readings), 7.5, fonts.ITALIC, gap=1.0)
    if disagreed:
        pen.headed("What disagreed before", disagreed[:_DISAGREEMENTS])
        if len(disagreed) > _DISAGREEMENTS:
            pen.text(
                f"and {len(disagreed) - _DISAGREEMENTS} more, in the workbook", 8, fonts.ITALIC
            )


def _readings(chart: Chart, planned: PassagePlan, told: set[str]) -> Iterator[str]:
    """The other readings of a plan, and which of them are the plan itself."""
    for reading in planned.readings:
        if reading.differs:
            yield _said_of(chart, planned, reading, told)
            told.add(reading.says)
    same = [f'"{reading.name}"' for reading in planned.readings if not reading.differs]
    if same:
        which = " and ".join(filter(None, (", ".join(same[:-1]), same[-1])))
        yield f"Reading {which}: here the plan itself; this line leaves no other choice."


def _reasons(chart: Chart, planned: PassagePlan, pitch: str) -> list[str]:
    """The lead's marks by their reason, in the order of the music, then each proposed dynamic."""
    because: dict[str, list[str]] = defaultdict(list)
    for note in planned.notes:
        if note.marks - SLURS or note.cutoff is not None:
            because[note.why].append(_marked(chart, planned, note, pitch))
    return [f"{_listed(marked)}: {why}" for why, marked in because.items()] + [
        f"{_at(chart, dynamic.tick)}  ({dynamic.value}): {dynamic.why}"
        for dynamic in planned.dynamics
    ]


def _listed(marked: Sequence[str]) -> str:
    """Notes with their marks; of very many the first ones (the workbook has them all)."""
    if len(marked) <= _NOTES:
        return ", ".join(marked)
    first = ", ".join(marked[: _NOTES // 2])
    return f"{first}, and {len(marked) - _NOTES // 2} more to {marked[-1]}"


def _at(chart: Chart, tick: int) -> str:
    place = chart.place(tick)
    return f"{place.bar}.{say_beat(place.beat)}"


def _marked(chart: Chart, planned: PassagePlan, note: PlannedNote, pitch: str) -> str:
    words = say(note.marks - {"slur-stop"}) if note.marks - {"slur-stop"} else ""
    if note.cutoff is not None:
        words = f"{words}, off {say_beat(chart.place(note.cutoff).beat)}".lstrip(", ")
    return f"{_at(chart, note.tone.onset)} {_named(chart, planned.part, note, pitch)} {words}"
