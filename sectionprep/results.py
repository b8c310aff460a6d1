"""What the stages hand on: what a person asked for, a chart as read, a chart as marked.

They stand below the outputs, so that an output takes them and not their pieces.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path

from sectionprep.checks import Finding, run_checks
from sectionprep.marking import Marking
from sectionprep.music.chart import Chart
from sectionprep.music.roster import EMPTY, Roster
from sectionprep.musicxml.document import Document
from sectionprep.musicxml.editing.bundle import Bundle, MarkedFile
from sectionprep.passages import Together
from sectionprep.phrasing import Plan
from sectionprep.phrasing.deciding import Unfit
from sectionprep.settings import Limits


@dataclass(frozen=True, slots=True, kw_only=True)
class Options:
    """What a person may settle; see `sectionprep prepare --help`. decisions: a workbook; said: what
    section leaders have saved on review pages, in the form of plan files; house: a plan file with
    the habits of the band alone; bpm: quarters a minute of a chart that states none."""

    style: str | None = None
    printed: str | None = None
    section: str = "match"
    level: str = "pro"
    minutes: int = 45
    paper: str = "letter"
    staff: float = 7.5
    section_help: bool = True
    cues: bool = True
    rhythm_cues: bool = True
    rhythm_cues_in_score: bool = False
    courtesy: bool = True
    syllables: bool = False
    proof: bool = False
    score: str | None = None
    study: str = "sounding"
    study_for: tuple[str, ...] = ()
    plan: Path | None = None
    decisions: Path | None = None
    said: tuple[Path, ...] = ()
    house: Path | None = None
    bpm: float | None = None
    roster: Path | None = None
    tune: int | None = None
    force: bool = False
    practice: bool = False
    show_changes: bool = False
    before: Path | None = None
    limits: Limits = field(default_factory=Limits)

    @property
    def reads(self) -> tuple[Path, ...]:
        """The files that are named in it."""
        given = (self.plan, self.decisions, self.roster, self.house, *self.said)
        return tuple(path for path in given if path is not None)


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """A chart as read: where it came from, its notes, and who moves with whom."""

    bundle: Bundle
    chart: Chart
    together: Together
    roster: Roster = EMPTY

    @property
    def document(self) -> Document:
        """The document that was read."""
        return self.bundle.document

    def without_trees(self) -> Score:
        """The same for who marks and draws nothing from it any more."""
        return replace(self, bundle=self.bundle.without_trees())

    def reads(self, options: Options) -> tuple[Path, ...]:
        """Every file that was read for it: none is ever written over."""
        sources = tuple(source.path for source in self.bundle.sources)
        return (self.document.path, *sources, *options.reads)


@dataclass(frozen=True, kw_only=True)
class Marked:
    """A chart as marked. again: the marked bytes, read again. level: of the players, for the
    checks."""

    score: Score
    plan: Plan
    marking: Marking
    files: tuple[MarkedFile, ...]
    again: Score
    level: str
    unfit: Unfit = ()

    def without_old_trees(self) -> Marked:
        """The same for who looks at no element of the chart as it came."""
        files = tuple(replace(file, source=file.source.without_tree()) for file in self.files)
        return replace(self, score=self.score.without_trees(), files=files)

    def without_trees(self) -> Marked:
        """The same for who draws nothing more of it; what the checks have found is kept."""
        bare = replace(self.without_old_trees(), again=self.again.without_trees())
        vars(bare).update(
            {name: vars(self)[name] for name in ("before", "after") if name in vars(self)}
        )
        return bare

    @cached_property
    def before(self) -> tuple[Finding, ...]:
        """What the checks find in the chart as it came."""
        return run_checks(self.score.chart, self.score.together, level=self.level)

    @cached_property
    def after(self) -> tuple[Finding, ...]:
        """What they still find in the marked bytes."""
        return run_checks(self.again.chart, self.again.together, level=self.level)
