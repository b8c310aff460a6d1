"""Runs all checks and puts what they found in the order in which to fix it."""

from __future__ import annotations

from dataclasses import replace

from sectionprep.checks.each import CHECKS
from sectionprep.checks.finding import MATTERS, SEVERITIES, Context, Finding
from sectionprep.music.chart import Chart
from sectionprep.music.section_word import SectionWord
from sectionprep.passages import Together


def run_checks(chart: Chart, together: Together, *, level: str = "pro") -> tuple[Finding, ...]:
    """All findings in the order in which they matter: what is only to be known (notes) last, else
    wrong notes and rhythms before marks (`MATTERS`), errors before warnings, then in order of time.
    level: pro or school."""
    tones = tuple({tone.onset: tone for tone in line} for line in chart.lines)
    words = {passage.id: SectionWord(chart, passage) for passage in together.marked}
    context = Context(chart=chart, together=together, tones=tones, words=words, level=level)
    found = [
        replace(finding, matter=check.matter) for check in CHECKS for finding in check.find(context)
    ]
    return tuple(sorted(dict.fromkeys(found), key=_order))


def _order(f: Finding) -> tuple[bool, int, int, int, int, str]:
    severity = SEVERITIES.index(f.severity)
    return f.severity == "note", _MATTERS[f.matter], severity, f.tick, f.part, f.check


_MATTERS = {matter: n for n, matter in enumerate(MATTERS)}


def all_checks() -> dict[str, str]:
    """Everything that can be found: its name in findings and what it means."""
    return {name: says for check in CHECKS for name, says in check.finds.items()}
