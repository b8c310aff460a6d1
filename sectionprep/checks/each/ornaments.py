"""Trills, turns and tremolos that differ inside a passage: they change the notes that sound, so a
person decides.

bad:  lead has a trill, Trumpet 2 a plain note, and nobody knows whether that is meant
good: both trill, or the director knows that only the lead does
A shake is for the lead alone and never a finding. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.checks.finding import Check, Context, Finding
from sectionprep.music.marks import ORNAMENTS, say
from sectionprep.passages import Passage

_COMPARED = ORNAMENTS - {"shake"}


def _find(context: Context) -> Iterable[Finding]:
    for passage in context.together.marked:
        for tick in passage.attacks:
            found = {
                part: context.tones[part][tick].marks & _COMPARED
                for part in passage.parts
                if tick in context.tones[part]
            }
            if len(set(found.values())) > 1:
                yield _finding(context, passage, tick, found)


def _finding(
    context: Context, passage: Passage, tick: int, found: dict[int, frozenset[str]]
) -> Finding:
    ways: dict[frozenset[str], list[int]] = {}
    for part, marks in found.items():
        ways.setdefault(marks, []).append(part)
    few = min((marks for marks in ways if marks), key=lambda marks: len(ways[marks]))
    said = "; ".join(
        f"{', '.join(context.name(p) for p in parts)}: {say(marks)}"
        for marks, parts in ways.items()
    )
    return Finding(
        check="ornament",
        severity="note",
        tick=tick,
        part=ways[few][0],
        lead=passage.lead,
        passage=passage.id,
        places=(tick,),
        message=f"not the same in all parts ({said})",
        fix="Decide who plays it; ornaments are never copied or taken out here.",
    )


CHECK = Check(
    finds={"ornament": "trills and other ornaments that differ inside a passage"},
    matter="marks",
    find=_find,
)
