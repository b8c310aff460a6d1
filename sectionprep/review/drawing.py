"""A passage as it looks with its plan: engraved by the same engraver as the sheets, in processes of
their own, and quickly, since only the passage is marked and drawn.

The marks go into a copy of the passage's bars by the same splices that write them into the score.
"""

from __future__ import annotations

import itertools
from concurrent.futures import Future
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from lxml import etree

from sectionprep.apart import Apart
from sectionprep.drawing.engraver.excerpts import engrave_bars
from sectionprep.drawing.scene.ink import System
from sectionprep.marking import Marking
from sectionprep.musicxml.copies.excerpt import Excerpt, Pick, extract_excerpt, say_under
from sectionprep.musicxml.copies.hairpins import end_at_bar_line
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.editing.bundle import mark_bundle, reread
from sectionprep.musicxml.editing.splices import apply_splices, splices_for
from sectionprep.outputs.director.engraved import SECONDS, take_drawing
from sectionprep.outputs.director.staves import pick_staff
from sectionprep.passages import Passage
from sectionprep.phrasing import Plan
from sectionprep.phrasing.syllables import lead_syllables
from sectionprep.results import Options, Score
from sectionprep.review.view import View, stretches

_LARGE, _SMALL = 7.5, 4.2  # millimetres: staff of the lead alone, and of a whole section


@dataclass(frozen=True, slots=True)
class DrawnPassage:
    """The lines of a passage, the outlines of their signs, and the height of a staff in
    millimetres."""

    systems: tuple[System, ...]
    glyphs: dict[str, str]
    staff: float


class Drawer:
    """Draws passages of one chart. apart: the engraver's processes."""

    def __init__(self, score: Score, options: Options, apart: Apart | None) -> None:
        self._score, self._options, self._apart = score, options, apart
        self._bare = lru_cache(64)(self._excerpt)

    def draw(self, view: View, plan: Plan, marking: Marking) -> DrawnPassage:
        """A passage as planned. Raises EngravingFailed."""
        planned = plan.of(view.passage)
        assert planned is not None
        excerpt = self.marked(view, marking)
        parts = [*excerpt.root.iter("part")]
        said = {} if view.whole else lead_syllables(self._score.chart, planned, plan.style)
        for part in parts:
            say_under(part, said)
        assert self._apart is not None, "nothing is drawn without the engraver's processes"
        staff = _SMALL if view.whole else _LARGE
        job: Future[str] = self._apart.submit(
            engrave_bars,
            excerpt,
            view.width,
            staff,
            view.passage,
            seconds=SECONDS,
        )
        bar = self._score.chart.bars[self._bars(view)[0]].number
        systems, glyphs = take_drawing(job, f"passage {view.passage}, from bar {bar}")
        return DrawnPassage(tuple(systems), glyphs, staff)

    def _passage(self, name: str) -> Passage:
        return next(p for p in self._score.together.marked if p.id == name)

    def _bars(self, view: View) -> tuple[int, int]:
        return stretches(self._score.chart, self._passage(view.passage))[view.stretch]

    def _picks(self, view: View) -> list[Pick]:
        passage, chart = self._passage(view.passage), self._score.chart
        parts = sorted(passage.parts) if view.whole else [passage.lead]
        return [
            pick_staff(
                chart,
                part,
                view.pitch,
                passage.start,
                passage.end,
                label=chart.parts[part].says
                + (" (lead)" if view.whole and part == passage.lead else ""),
                group=chart.parts[part].chair.section if chart.parts[part].chair.sure else "",
            )
            for part in parts
        ]

    def _excerpt(self, view: View) -> bytes:
        """The bars of a passage as they came, as a score of their own."""
        first, last = self._bars(view)
        excerpt = extract_excerpt(self._score.document, self._picks(view), first, last)
        return etree.tostring(excerpt.root, xml_declaration=True, encoding="UTF-8")

    def marked(self, view: View, marking: Marking) -> Excerpt:
        """The bars of a passage with the plan's marks, as the engraver is given them."""
        if marking.dropped:  # signs that are not notes are found by their place in the whole score
            return self._from_marked_score(view, marking)
        data = self._bare(replace(view, width=0))
        document = parse_document(Path(view.passage), data)
        here = {int((note.get("id") or "n-1")[1:]): n for n, note in enumerate(document.tree_notes)}
        edits = {here[a]: edit for a, edit in marking.edits.items() if a in here}
        root = etree.fromstring(apply_splices(data, splices_for(document, edits)))
        for part in root.iter("part"):
            measures = part.findall("measure")
            for before, measure in itertools.pairwise(measures):
                end_at_bar_line(before, measure)
        return Excerpt(root)

    def _from_marked_score(self, view: View, marking: Marking) -> Excerpt:
        bundle, limits = self._score.bundle, self._options.limits
        document = reread(bundle, mark_bundle(bundle, marking.edits, marking.dropped), limits)
        first, last = self._bars(view)
        return extract_excerpt(document, self._picks(view), first, last)
