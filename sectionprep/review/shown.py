"""A drawn passage as the page takes it: its lines, with bar numbers and jazz marks, and the facts
of its notes."""

from __future__ import annotations

from functools import partial
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from sectionprep.drawing.engraver.toolkit import EngravingFailed
from sectionprep.drawing.scene.ink import System
from sectionprep.drawing.scene.jazz_marks import DRAWN
from sectionprep.drawing.scene.line_extras import Extra, jazz_extras
from sectionprep.drawing.svg.picture import AskableNote, outlines, picture
from sectionprep.drawing.text import fonts
from sectionprep.music.chart import Bar, Chart
from sectionprep.musicxml.copies.part import note_id
from sectionprep.phrasing import PassagePlan
from sectionprep.review.drawing import DrawnPassage
from sectionprep.review.facts import (
    STATES,
    notes_facts,
    pitch_of,
    says_place,
    state_of,
    words_of,
)
from sectionprep.review.view import View, stretches

if TYPE_CHECKING:
    from sectionprep.review.session import Review

#: glyphs (SMuFL, articulations) by which a mark is drawn above and below
GLYPHS = {
    "accent": {"E4A0", "E4A1"},
    "staccato": {"E4A2", "E4A3"},
    "tenuto": {"E4A4", "E4A5"},
    "staccatissimo": {"E4A6", "E4A7", "E4A8", "E4A9", "E4AA", "E4AB"},
    "strong-accent": {"E4AC", "E4AD"},
    "stress": {"E4B6", "E4B7"},
    "unstress": {"E4B8", "E4B9"},
    "soft-accent": {"ED40", "ED41"},
    "detached-legato": {"E4B2", "E4B3"},
}
_NUMBER = 330.0  # size of bar numbers, hundredths of a millimetre at the usual staff
_STAFF = 7.5  # the usual staff, millimetres


def shown(review: Review, view: View) -> dict[str, Any]:
    """Lines as SVG and the facts of every note. Where the passage cannot be drawn, why."""
    answer: dict[str, Any] = {
        "version": review.version,
        "lines": [],
        "outlines": "",
        "notes": [] if view.whole else notes_facts(review, view),
        "failed": "",
    }
    try:
        drawn = review.draw(view)
    except EngravingFailed as error:
        return answer | {"failed": str(error)}
    chart = review.score.chart
    spots = {} if view.whole else spots_of(chart, review.planned(view.passage), view.pitch)
    size = drawn.staff / _STAFF
    marks = _jazz_marks(review, view)
    wide = max((ink.box[2] for system in drawn.systems for ink in system.ink), default=0.0)
    lines = []
    for n, (system, bars) in enumerate(_with_bars(review, view, drawn), start=1):
        extras = [*jazz_extras(system, marks, size), _number(system, bars[0], size)]
        label = f"Line {n} of {len(drawn.systems)}, from bar {bars[0].number}"
        here = [] if view.whole else [bar.index for bar in bars]
        lines.append(picture(system, spots, wide=wide, bars=here, extras=extras, label=label))
    return answer | {"lines": lines, "outlines": outlines(drawn.glyphs)}


def spots_of(chart: Chart, planned: PassagePlan, pitch: str) -> dict[str, AskableNote]:
    """The notes of a lead that can be asked, by the id they are drawn under."""
    found = {}
    for n, note in enumerate(planned.notes):
        state = state_of(note)
        kind = f" ({STATES[state]})" if STATES[state] else ""
        says = (
            f"{says_place(chart, note.tone.onset)}, {pitch_of(chart, planned, note, pitch)}: "
            f"{words_of(chart, note)}{kind}"
        )
        new = note.marks - note.tone.marks
        codes = frozenset(code for mark in new for code in GLYPHS.get(mark, ()))
        found[note_id(note.tone.head.address)] = AskableNote(
            number=n, bar=note.tone.bar, says=says, weight=note.weight, state=state, codes=codes
        )
    return found


def _with_bars(
    review: Review, view: View, drawn: DrawnPassage
) -> list[tuple[System, tuple[Bar, ...]]]:
    chart = review.score.chart
    first, _ = stretches(chart, review.passages[view.passage])[view.stretch]
    ends = [first]
    for system in drawn.systems:
        ends.append(ends[-1] + len(system.measures))
    return [
        (system, chart.bars[a:b] or chart.bars[-1:])
        for system, (a, b) in zip(drawn.systems, pairwise(ends), strict=True)
    ]


def _jazz_marks(review: Review, view: View) -> dict[str, tuple[str, ...]]:
    """Falls, shakes and their like, which the engraver leaves out: printed ones and planned ones,
    by note id."""
    passage, edits = review.passages[view.passage], review.marking(view).edits
    found = {}
    for part in passage.parts:
        for tone in review.score.chart.read_by(passage.seconds).between(
            part, passage.start, passage.end
        ):
            for note in tone.chord:
                edit = edits.get(note.address)
                marks = note.marks if edit is None else (note.marks - edit.remove) | edit.add
                if marks & DRAWN:
                    found[note_id(note.address)] = tuple(sorted(marks & DRAWN))
    return found


def _number(system: System, bar: Bar, size: float) -> Extra:
    """The number of a line's first bar, under its clef, as on the sheets."""
    x = system.bar_edges[0][1] if system.bar_edges else 0.0
    tall = _NUMBER * max(size, 0.8)
    first = min(system.staves, default=system.staff_top)
    clef = [
        ink.box[3]
        for ink in system.ink
        if "clef" in ink.classes and ink.box[0] < x + 500 and ink.box[1] < first + 750 * size
    ]
    y = max([first + 750 * size, *clef]) + 50 + 0.72 * tall
    wide = fonts.width(bar.number, fonts.ITALIC, tall)
    return Extra(
        "number",
        (x, y - tall, x + wide, y),
        partial(_write, x=x, y=y, text=bar.number, size=tall),
    )


def _write(painter: Any, *, x: float, y: float, text: str, size: float) -> None:
    painter.text(x, y, text, fonts.ITALIC, size)
