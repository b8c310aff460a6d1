"""Which notes of a line are brought out: what each would gain, and the chooser of its phrase."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sectionprep.music.marks import ATTACKS, LENGTHS
from sectionprep.phrasing.chooser import Chooser, Option, Shape, shape_of
from sectionprep.phrasing.drafts import (
    Draft,
)
from sectionprep.phrasing.view import LineView

_LEANS = ATTACKS - {"ghost"}
_SOFT_LEANS = _LEANS | {"tenuto"}
_PREFERRED = 1.5  # evidence a printed lean counts for under "prefer"; judgement


@dataclass(frozen=True, slots=True)
class Claims:
    """What speaks for bringing out each note of a line, and where it is printed anyway (locked).
    closing: the notes that are brought out whatever the rest does."""

    evidence: tuple[float, ...]
    locked: tuple[bool, ...]
    closing: frozenset[int]

    def options(
        self, first: int, last: int, price: float, bends: Sequence[float] = ()
    ) -> list[Option]:
        """What printing leans at these notes would earn. price: of a lean; bends: added to the
        evidence of each note of the line."""
        gains = [evidence - price for evidence in self.evidence[first : last + 1]]
        if bends:
            gains = [gain + bend for gain, bend in zip(gains, bends[first : last + 1], strict=True)]
        locked = self.locked[first : last + 1]
        return [
            Option(max(gain, 0.0) if there else gain, there)
            for gain, there in zip(gains, locked, strict=True)
        ]


def claims_of(view: LineView, drafts: Sequence[Draft], printed: str) -> Claims:
    """The claims of all notes of a line."""
    return Claims(
        evidence=tuple(_evidence(draft, printed) for draft in drafts),
        locked=tuple(is_locked(draft, printed) for draft in drafts),
        closing=frozenset(
            n
            for n, draft in enumerate(drafts)
            if view.closes(draft.spot) and _is_stopped(draft, printed)
        ),
    )


def is_locked(draft: Draft, printed: str) -> bool:
    """A lean is printed at this note, and stays."""
    return printed == "keep" and bool(draft.printed & (_SOFT_LEANS if draft.soft else _LEANS))


def _evidence(draft: Draft, printed: str) -> float:
    evidence = draft.pooled
    if printed == "prefer" and draft.printed & ATTACKS:
        evidence += _PREFERRED
    if printed == "keep" and draft.printed & LENGTHS and not is_locked(draft, printed):
        evidence -= 0.5  # the note already speaks of its length: one mark is enough
    return evidence


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
    claims: Claims,
    choosers: dict[int, Chooser],
    price: float = 0.0,
    bends: Sequence[float] = (),
) -> frozenset[int]:
    """The notes of a line that are brought out. price: of a lean, beyond the style's; bends: added
    to the evidence of each note."""
    chosen = set(claims.closing)
    for first, last in view.phrases:
        options = claims.options(first, last, view.style.density + price, bends)
        _, here = choosers[first].choose(options)
        chosen.update(first + n for n in here)
    return frozenset(chosen)


def _is_stopped(draft: Draft, printed: str) -> bool:
    """The last off-beat eighth before a rest is brought out unless what is printed says something
    else."""
    return (
        printed != "keep" or not draft.printed & (ATTACKS | LENGTHS) or bool(draft.printed & _LEANS)
    )
