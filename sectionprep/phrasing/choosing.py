"""Which notes of a line are brought out: what each would gain, and the chooser of its phrase."""

from __future__ import annotations

from collections.abc import Sequence

from sectionprep.music.marks import ATTACKS, LENGTHS
from sectionprep.phrasing.chooser import Chooser, Option, Shape, shape_of
from sectionprep.phrasing.drafts import (
    Draft,
)
from sectionprep.phrasing.view import LineView

_LEANS = ATTACKS - {"ghost"}
_SOFT_LEANS = _LEANS | {"tenuto"}
_PREFERRED = 1.5  # evidence a printed lean counts for under "prefer"; judgement


def option_of(draft: Draft, printed: str, density: float) -> Option:
    locked = printed == "keep" and bool(draft.printed & (_SOFT_LEANS if draft.soft else _LEANS))
    evidence = draft.pooled
    if printed == "prefer" and draft.printed & ATTACKS:
        evidence += _PREFERRED
    if printed == "keep" and draft.printed & LENGTHS and not locked:
        evidence -= 0.5  # the note already speaks of its length: one mark is enough
    return Option(
        gain=max(evidence - density, 0.0) if locked else evidence - density, locked=locked
    )


def choosers_of(view: LineView, known: dict[Shape, Chooser]) -> dict[int, Chooser]:
    """A chooser for each phrase, by its first note. known: those of phrases seen before."""
    found = {}
    for first, last in view.phrases:
        spots = view.spots[first : last + 1]
        apart = frozenset(n for n, spot in enumerate(spots) if view.closes(spot))
        shape = shape_of(spots, apart)
        if shape not in known:
            runs, sits = view.style.cutoffs != "none", view.style.sits_on_the_beat
            known[shape] = Chooser(spots, apart, runs=runs, sits=sits)
        found[first] = known[shape]
    return found


def choose_all(
    view: LineView,
    drafts: Sequence[Draft],
    printed: str,
    choosers: dict[int, Chooser],
    density: float = 0.0,
) -> frozenset[int]:
    chosen = {
        n
        for n, draft in enumerate(drafts)
        if view.closes(draft.spot) and _is_stopped(draft, printed)
    }
    for first, last in view.phrases:
        options = [
            option_of(d, printed, view.style.density + density) for d in drafts[first : last + 1]
        ]
        _, here = choosers[first].choose(options)
        chosen.update(first + n for n in here)
    return frozenset(chosen)


def _is_stopped(draft: Draft, printed: str) -> bool:
    """The last off-beat eighth before a rest is brought out unless what is printed says something
    else."""
    return (
        printed != "keep" or not draft.printed & (ATTACKS | LENGTHS) or bool(draft.printed & _LEANS)
    )
