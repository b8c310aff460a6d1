"""One chart under review: what was read, what is planned, and what the director has decided.

The plan file is the one truth. Everything here can be made anew from the chart and from it.
"""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from sectionprep.apart import Apart
from sectionprep.checks import Finding
from sectionprep.drawing.text import fonts
from sectionprep.marking import Marking
from sectionprep.outputs.folder import finish_killed
from sectionprep.outputs.names import safe_name, stem_of
from sectionprep.outputs.settled import finding_name, finding_words
from sectionprep.passages import Passage
from sectionprep.phrasing import PassagePlan, Plan
from sectionprep.phrasing.deciding import Unfit, decide, decided_notes
from sectionprep.phrasing.plan_file import PlanFile
from sectionprep.phrasing.styles import Style, styles
from sectionprep.results import Options, Score
from sectionprep.review.decisions import taken_over
from sectionprep.review.desk import PlanDesk
from sectionprep.review.history import Step
from sectionprep.review.view import View, marking_of
from sectionprep.review.where_else import answers, situations
from sectionprep.stages import (
    given_decisions,
    mark_planned,
    plan_rules,
    read_score,
    typed_decisions,
)
from sectionprep.version import __version__

if TYPE_CHECKING:
    from sectionprep.review.drawing import Drawer, DrawnPassage

_KEPT = 60  # drawings that are kept; judgement
_QUIET = 0.5  # seconds without a decision before the checks run; judgement
_PLANS = 8  # plans by the rules that are kept, one for each set of habits tried; judgement


class Review:
    """A chart, its plan, and the drawings of its passages. Safe to be asked by several threads.

    folder: where `prepare` writes, and the plan file stands unless options name one. apart: the
    engraver's processes; without them nothing is drawn.
    """

    def __init__(
        self, path: Path, folder: Path, options: Options, apart: Apart | None = None
    ) -> None:
        self.path, self.folder, self.options = path, folder, options
        self.score: Score = read_score(path, options)
        finish_killed(folder)
        place = options.plan or folder / f"{safe_name(stem_of(path), 'chart')}_plan.toml"
        self.desk = PlanDesk(
            place,
            self.score.document.path,
            greeting=_greeting(self.score.chart.title),
            named=options.plan is not None,
        )
        self._lock = threading.RLock()
        self._rules: OrderedDict[object, Plan] = OrderedDict()
        self.plan, self.unfit = self._planned()
        #: passages in the order of the music, as the map shows them
        self.passages: dict[str, Passage] = {
            p.id: p for p in self.score.together.passages if self.plan.of(p.id)
        }
        self.answers = answers(
            self.score.chart, (p for p in self.plan.passages if p.id in self.passages)
        )
        self._situations: dict[tuple[str, str], list[list[str]]] = {}
        self._apart = apart
        self._drawn: OrderedDict[View, tuple[PassagePlan, DrawnPassage]] = OrderedDict()
        self._markings: OrderedDict[tuple[str, int], tuple[Plan, Marking]] = OrderedDict()
        self._found: tuple[Plan, tuple[Finding, ...]] | None = None
        typed = given_decisions(options)
        if typed:  # they become lines of the plan file, which is the one truth
            self.decide(lambda: taken_over(self, typed, "the workbook's decisions"), 1, insist=True)

    # -- the plan

    @property
    def version(self) -> int:
        """Counts the changes of the plan, from here and from outside."""
        return self.desk.version

    def look(self) -> int:
        """Look whether the plan file was changed from outside; the version that holds now."""
        with self._lock:
            if self.desk.refresh():
                self.plan, self.unfit = self._planned()
            return self.version

    @property
    def rules(self) -> Plan:
        """The plan by the rules and the habits of the house, before any decision, with the other
        ways to read each passage."""
        return self._by_rules(self.desk.settled)

    def _by_rules(self, settled: PlanFile) -> Plan:
        typed = typed_decisions(settled)
        decided = decided_notes(self.score.chart, self.score.together, typed)
        key = settled.style, settled.printed, settled.habits, decided
        known = self._rules.get(key)
        if known is None:
            known = plan_rules(self.score, self.options, settled, decisions=typed)
            self._rules[key] = known
            while len(self._rules) > _PLANS:
                self._rules.popitem(last=False)
        return known

    def _planned(self) -> tuple[Plan, Unfit]:
        settled = self.desk.settled
        plan = self._by_rules(settled)
        return decide(self.score.chart, self.score.together, plan, settled.decisions)

    def decide(self, make: Callable[[], Step], seen: int, *, insist: bool) -> bool:
        """Take a step. make: the step, made while nobody else decides. Raises Asked and every
        SectionprepError of a file that cannot be written."""
        with self._lock:
            self.look()
            changed = self.desk.decide(make(), seen, insist=insist)
            if changed:
                self.plan, self.unfit = self._planned()
            return changed

    def undo(self, *, insist: bool) -> Step | None:
        """Take the last step back. Raises as `decide`."""
        with self._lock:
            self.look()
            step = self.desk.undo(insist=insist)
            self.plan, self.unfit = self._planned()
            return step

    def redo(self, *, insist: bool) -> Step | None:
        """Take a step again. Raises as `decide`."""
        with self._lock:
            self.look()
            step = self.desk.redo(insist=insist)
            self.plan, self.unfit = self._planned()
            return step

    def planned(self, name: str) -> PassagePlan:
        """The plan of a passage. Raises KeyError."""
        planned = self.plan.of(name)
        if planned is None:
            raise KeyError(name)
        return planned

    @property
    def style(self) -> Style:
        """The style in which the chart is phrased."""
        return styles().get(self.plan.style) or styles()["medium-swing"]

    def situations(self, name: str) -> list[list[str]]:
        """For each note of a lead, the situations of the house's vocabulary that it stands in."""
        key = name, self.plan.style
        if key not in self._situations:
            found = situations(self.score.chart, self.passages[name], self.style)
            self._situations[key] = found
        return self._situations[key]

    # -- what comes of it

    def marking(self, view: View) -> Marking:
        """What the plan writes into the parts of a passage, in the stretch that is seen."""
        key = view.passage, view.stretch
        with self._lock:
            known = self._markings.get(key)
            if known is None or known[0] is not self.plan:
                made = marking_of(self.score, self.plan, view, self.options)
                known = self._markings[key] = (self.plan, made)
                while len(self._markings) > _KEPT:
                    self._markings.popitem(last=False)
            return known[1]

    @cached_property
    def drawer(self) -> Drawer:
        """Draws the passages; loaded when there is one to draw."""
        from sectionprep.review.drawing import Drawer

        return Drawer(self.score, self.options, self._apart)

    def draw(self, view: View) -> DrawnPassage:
        """A passage as planned now. Raises EngravingFailed."""
        with self._lock:
            planned = self.planned(view.passage)
            known = self._drawn.get(view)
            if known is not None and known[0] == planned:
                self._drawn.move_to_end(view)
                return known[1]
            plan, marking = self.plan, self.marking(view)
        drawn = self.drawer.draw(view, plan, marking)
        with self._lock:
            self._drawn[view] = (planned, drawn)
            while len(self._drawn) > _KEPT:
                self._drawn.popitem(last=False)
        return drawn

    @property
    def looked(self) -> bool:
        """What is left to settle has been looked for since the last change of the plan."""
        return self._found is not None and self._found[0] is self.plan

    @property
    def known_findings(self) -> tuple[Finding, ...] | None:
        """What was left to settle when that was last looked for; None before."""
        return self._found[1] if self._found is not None else None

    def finding_names(self) -> dict[str, str]:
        """What was found, by name, in words."""
        chart = self.score.chart
        return {finding_name(chart, f): finding_words(chart, f) for f in self.known_findings or ()}

    def keep_looking(self) -> None:
        """Look for what is left to settle whenever the plan has been left alone for a moment; does
        not return."""
        while True:
            plan = self.plan
            time.sleep(_QUIET)
            if plan is self.plan:
                _ = self.drawer
                fonts.register()  # and the readings: so that no passage has to wait for them
                any(planned.readings for planned in self.rules.passages)
                self.findings()

    def findings(self) -> tuple[Finding, ...]:
        """What is left to settle once the plan's marks are in the parts."""
        plan = self.plan
        if not self.looked:
            self._found = (plan, mark_planned(self.score, plan, self.options).after)
        return self.known_findings or ()


def _greeting(title: str) -> str:
    plain = " ".join("".join(c for c in title if c.isprintable()).split())
    return (
        f"# Decisions for {plain}, made with sectionprep {__version__}.\n"
        "# A line is: bar beat | note | marks | figure (leave the figure alone). It wins over "
        "every rule.\n"
    )
