"""Runs all checks and puts what they found in the order in which to fix it."""

from __future__ import annotations

from sectionprep.checks.each import CHECKS
from sectionprep.checks.finding import SEVERITIES, Context, Finding
from sectionprep.music.chart import Chart
from sectionprep.music.section_word import SectionWord
from sectionprep.passages import Together


def run_checks(chart: Chart, together: Together, *, level: str = "pro") -> tuple[Finding, ...]:
    """All findings: errors first, then warnings, then notes, each in order of time. level: pro or
    school."""
    tones = tuple({tone.onset: tone for tone in line} for line in chart.lines)
    words = {passage.id: SectionWord(chart, passage) for passage in together.marked}
    context = Context(chart=chart, together=together, tones=tones, words=words, level=level)
    found = [finding for check in CHECKS for finding in check.find(context)]
    unique = list(dict.fromkeys(found))
    return tuple(
        sorted(unique, key=lambda f: (SEVERITIES.index(f.severity), f.tick, f.part, f.check))
    )


def all_checks() -> dict[str, str]:
    """Everything that can be found: its name in findings and what it means."""
    return {name: says for check in CHECKS for name, says in check.finds.items()}
