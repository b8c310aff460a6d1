"""One chart under review: what was read, what is planned, and what the director has decided.

The plan file is the one truth. Everything here can be made anew from the chart and from it.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from pathlib import Path

from sectionprep.apart import Apart
from sectionprep.checks import Finding
from sectionprep.drawing.text import fonts
from sectionprep.marking import Marking
from sectionprep.passages import Passage
from sectionprep.phrasing import PassagePlan, Plan
from sectionprep.results import Options, Score
from sectionprep.review.drawing import Drawer, Drawn, View, marking_of
from sectionprep.stages import mark_planned, plan_score, read_score

_KEPT = 60  # drawings that are kept; judgement


class Review:
    """A chart, its plan, and the drawings of its passages. Safe to be asked by several threads."""

    def __init__(self, path: Path, options: Options, apart: Apart) -> None:
        self.path, self.options = path, options
        self.score: Score = read_score(path, options)
        self.plan, self.unfit = plan_score(self.score, options)
        #: passages in the order of the music, as the map shows them
        self.passages: dict[str, Passage] = {
            p.id: p for p in self.score.together.passages if self.plan.of(p.id)
        }
        self.version = 1
        self._lock = threading.RLock()
        self._drawer = Drawer(self.score, options, apart)
        self._drawn: OrderedDict[View, tuple[PassagePlan, Drawn]] = OrderedDict()
        self._markings: dict[str, tuple[Plan, Marking]] = {}
        self._found: tuple[Plan, tuple[Finding, ...]] | None = None
        self.closing = threading.Event()
        fonts.register()

    def close(self) -> None:
        """Whoever waits for news need wait no longer."""
        self.closing.set()

    def planned(self, name: str) -> PassagePlan:
        """The plan of a passage. Raises KeyError."""
        planned = self.plan.of(name)
        if planned is None:
            raise KeyError(name)
        return planned

    def marking(self, name: str) -> Marking:
        """What the plan writes into the parts of one passage."""
        with self._lock:
            known = self._markings.get(name)
            if known is None or known[0] is not self.plan:
                made = marking_of(self.score, self.plan, self.passages[name], self.options)
                known = self._markings[name] = (self.plan, made)
            return known[1]

    def draw(self, view: View) -> Drawn:
        """A passage as planned now. Raises EngravingFailed."""
        with self._lock:
            planned = self.planned(view.passage)
            known = self._drawn.get(view)
            if known is not None and known[0] == planned:
                self._drawn.move_to_end(view)
                return known[1]
            plan, marking = self.plan, self.marking(view.passage)
        drawn = self._drawer.draw(view, plan, marking)
        with self._lock:
            self._drawn[view] = (planned, drawn)
            while len(self._drawn) > _KEPT:
                self._drawn.popitem(last=False)
        return drawn

    @property
    def known_findings(self) -> tuple[Finding, ...] | None:
        """What is left to settle, where that has been looked for since the last decision."""
        known = self._found
        return known[1] if known is not None and known[0] is self.plan else None

    def findings(self) -> tuple[Finding, ...]:
        """What is left to settle once the plan's marks are in the parts."""
        known, plan = self.known_findings, self.plan
        if known is None:
            known = mark_planned(self.score, plan, self.options).after
            self._found = (plan, known)
        return known
