"""sectionprep: one way to phrase a chart, in every part of the section.

From Python the stages are `read`, `plan`, `mark`, `check` and `prepare`, here and nowhere else to
be relied on. Each returns a frozen value; nothing is written but by `prepare`. Failures are
subclasses of `sectionprep.errors.SectionprepError`.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from sectionprep.version import __version__

if TYPE_CHECKING:
    from sectionprep.checks import Finding
    from sectionprep.phrasing import Plan
    from sectionprep.preparing import Prepared
    from sectionprep.results import Marked, Score

__all__ = ["__version__", "check", "mark", "plan", "prepare", "read"]


def read(chart: str | Path, **wishes: Any) -> Score:
    """Read a chart and find where its parts move together: `score.chart` has the notes,
    `score.together.passages` the passages.

    wishes: fields of `sectionprep.results.Options`, such as roster=Path("roster.toml"). Raises
    UnreadableFile, NotAScore, OverLimit, UnusableSettings.
    """
    from sectionprep import stages
    from sectionprep.results import Options

    return stages.read_score(Path(chart), Options(**wishes))


def plan(score: Score, **wishes: Any) -> Plan:
    """How each lead line would be phrased, and why: `plan.passages`, each with its notes.

    wishes: fields of `sectionprep.results.Options`, such as style="ballad". Raises BadArgument,
    UnusableSettings.
    """
    from sectionprep import stages
    from sectionprep.results import Options

    return stages.plan_score(score, Options(**wishes))[0]


def mark(score: Score, **wishes: Any) -> Marked:
    """The chart with one plan's marks in every part of each section: `marked.files` holds the bytes
    to write, `marked.marking.changes` every change with its reason, `marked.after` what is left.

    wishes: fields of `sectionprep.results.Options`, such as section="add". Raises BadArgument,
    UnusableSettings.
    """
    from sectionprep import stages
    from sectionprep.results import Options

    return stages.mark_score(score, Options(**wishes))


def check(score: Score, **wishes: Any) -> tuple[Finding, ...]:
    """Where lead and section disagree, and what cannot be played, in the order in which to mend
    it.

    wishes: fields of `sectionprep.results.Options`, such as level="school".
    """
    from sectionprep import stages
    from sectionprep.results import Options

    return stages.check_score(score, Options(**wishes))


def prepare(chart: str | Path, folder: str | Path, **wishes: Any) -> Prepared:
    """The whole job: marked score, sheets, director's pages, workbook and report in one folder.
    `prepared.files` names what was written.

    wishes: fields of `sectionprep.results.Options`, such as paper="a4". Sheets are drawn in
    processes of their own, so a script calls this under `if __name__ == "__main__":`. Raises every
    kind of SectionprepError; then nothing is left half-written.
    """
    from sectionprep import preparing
    from sectionprep.results import Options

    return preparing.prepare(Path(chart), Path(folder), Options(**wishes))
