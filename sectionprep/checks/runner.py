"""Runs all checks and puts what they found in the order in which to fix it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from sectionprep.checks.each import CHECKS
from sectionprep.checks.finding import MATTERS, SEVERITIES, Context, Finding
from sectionprep.music.chart import Chart
from sectionprep.music.notes import Tone
from sectionprep.music.section_word import SectionWord
from sectionprep.passages import Together
from sectionprep.passages.model import VISIT


def run_checks(chart: Chart, together: Together, *, level: str = "pro") -> tuple[Finding, ...]:
    """All findings in the order in which they matter: what is only to be known (notes) last, else
    wrong notes and rhythms before marks (`MATTERS`), errors before warnings, then in order of time.
    level: pro or school."""
    tones = _tones_of(chart)
    context = replace(_context(chart, _of_firsts(together), tones, level), apart=together.apart)
    found = [
        replace(finding, matter=check.matter) for check in CHECKS for finding in check.find(context)
    ]
    found += _of_guests(chart, together, level)
    found += _of_seconds(chart, together, level)
    return tuple(sorted(dict.fromkeys(found), key=_order))


def _order(f: Finding) -> tuple[bool, int, int, int, int, str]:
    severity = SEVERITIES.index(f.severity)
    return f.severity == "note", _MATTERS[f.matter], severity, f.tick, f.part, f.check


_MATTERS = {matter: n for n, matter in enumerate(MATTERS)}


_Tones = tuple[dict[int, Tone], ...]


def _context(chart: Chart, together: Together, tones: _Tones, level: str) -> Context:
    words = {passage.id: SectionWord(chart, passage) for passage in together.marked}
    return Context(chart=chart, together=together, tones=tones, words=words, level=level)


def _tones_of(chart: Chart) -> _Tones:
    return tuple({tone.onset: tone for tone in line} for line in chart.lines)


def _of_firsts(together: Together) -> Together:
    """Without passages in which a second player on a staff has a line of his own."""
    return replace(
        together,
        passages=tuple(p for p in together.passages if not p.seconds),
        hits=tuple(p for p in together.hits if not p.seconds),
    )


def _of_seconds(chart: Chart, together: Together, level: str) -> Iterator[Finding]:
    """What is wrong in the passages of second players, whose lines stand for their parts'."""
    for seconds in dict.fromkeys(p.seconds for p in together.marked if p.seconds):
        view = chart.read_by(seconds)
        mine = Together(
            passages=tuple(p for p in together.passages if p.seconds == seconds),
            hits=tuple(p for p in together.hits if p.seconds == seconds),
            bars=together.bars,
        )
        context = _context(view, mine, _tones_of(view), level)
        for check in CHECKS:
            for finding in check.find(context) if check.seconds else ():
                yield replace(finding, matter=check.matter)


def _of_guests(chart: Chart, together: Together, level: str) -> Iterator[Finding]:
    """What is wrong with guests of passages, held against the lead while they are there."""
    for seconds in dict.fromkeys(visit.seconds for visit in together.visits):
        visits = tuple(visit for visit in together.visits if visit.seconds == seconds)
        view = chart.read_by(seconds)
        mine = Together(passages=visits, bars=together.bars)
        context = _context(view, mine, _tones_of(view), level)
        for check in CHECKS:
            for finding in check.find(context) if check.guests else ():
                if finding.part != finding.lead and finding.lead >= 0:
                    host = finding.passage.partition(VISIT)[0]
                    yield replace(finding, passage=host, matter=check.matter)


def all_checks() -> dict[str, str]:
    """Everything that can be found: its name in findings and what it means."""
    return {name: says for check in CHECKS for name, says in check.finds.items()}
