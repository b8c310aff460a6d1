"""The notes of a plan: marks, weight, length, release and reasons, once the leans are chosen."""

from __future__ import annotations

from collections.abc import Collection

from sectionprep.music.marks import ATTACKS, SLURS, as_one
from sectionprep.phrasing.drafts import (
    Draft,
    Work,
    lean_marks,
    marks_of,
    played_length,
)
from sectionprep.phrasing.plan import PlannedNote
from sectionprep.phrasing.rules import RULES
from sectionprep.phrasing.slurs import with_slurs
from sectionprep.phrasing.view import CUT_OFF, END, LineView
from sectionprep.phrasing.weights import weights


def settle(work: Work, chosen: Collection[int]) -> None:
    """Let the rules speak that answer to the notes brought out with a front."""
    drafts = work.drafts
    fronts = frozenset(
        n
        for n in chosen
        if (drafts[n].printed | set(lean_marks(drafts[n]))) & {"accent", "strong-accent"}
    )
    for rule in RULES:
        for said in rule.settle(work.view, fronts) if rule.settle else ():
            drafts[said.spot].said.append(said)


def notes_of(work: Work, chosen: Collection[int]) -> list[PlannedNote]:
    """Every note of the line with its weight, marks and slurs."""
    heavy = weights(work.view, [sum(c.weight for c in draft.said) for draft in work.drafts], chosen)
    notes = [_note(work.view, draft, heavy[n], n in chosen) for n, draft in enumerate(work.drafts)]
    return with_slurs(work.view, notes, work.spans, work.section)


def _note(view: LineView, draft: Draft, weight: float, leaned: bool) -> PlannedNote:
    spot = draft.spot
    marks, new = marks_of(draft, view.style.density, leaned=leaned, printed=draft.printed)
    reasons = new
    if draft.printed:
        origin = "as this figure is marked elsewhere" if draft.borrowed else "printed in the lead"
        reasons = [origin, *new, *([CUT_OFF] if leaned and view.tail(spot) else [])]
    own = spot.tone.marks
    if not reasons:
        heaviest = max(draft.said, key=lambda c: abs(c.weight), default=None)
        reasons = [heaviest.because] if heaviest else ["part of the line"]
    stop = next((c for c in draft.said if c.stop), None)
    open_end = spot.tone.has_fermata or spot.after >= END or bool(marks & {"falloff", "doit"})
    cutoff, release = None, ""
    if stop is not None and not open_end:
        cutoff, release = spot.tone.onset + round(stop.stop * view.quarter), stop.release
        reasons.append(stop.because)
    slurred = any(c.slurred for c in draft.said) and not leaned and not marks & ATTACKS
    return PlannedNote(
        tone=spot.tone,
        weight=round(weight, 3),
        marks=as_one(marks | (own & SLURS)),
        added=as_one(marks - own),
        why="; ".join(dict.fromkeys(reasons)),
        cutoff=cutoff,
        release=release,
        tongued=spot.before > 0 or not (slurred or spot.slur in ("inside", "last")),
        leaned=leaned,
        length=played_length(draft, marks, view.style),
    )
