"""A held note stops at an agreed place: where the rest begins, on the beat it is tied to, or early to clear the air.

bad:  five players letting go one after the other
good: "off 4", all together; a ballad lets the air stop it, everything else the tongue
"""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView, Spot

_HELD = 2  # beats from which the cut-off is written; judgement after R. Sweum (mark the cut-offs)


def _propose(view: LineView) -> Iterable[Candidate]:
    style = view.style
    if style.cutoffs == "none":
        return
    for spot in view.spots:
        if spot.length < _HELD:
            continue
        tied = _tied_eighth(spot)
        early = style.cutoffs == "early" and (spot.last or spot.after > 0 or _in_figure(view, spot))
        on_beat = (spot.beat + Fraction(spot.length).limit_denominator(64)).denominator == 1
        if spot.after < (0.5 if tied or on_beat else 1) and not (early and _in_figure(view, spot)):
            continue
        if tied:
            stop, why = spot.length - tied, "tied to an eighth: stop on that beat"
        elif early:
            stop, why = spot.length - (0.5 if spot.length < 4 else 1), "stop early, so that the figure is cut clean"
        elif spot.last:
            stop, why = spot.length, "stop where the rest begins"
        else:
            continue
        by = "breath" if style.release == "breath" else "tongue"
        how = "let the air stop it" if by == "breath" else "stop it with the tongue"
        yield Candidate(spot=spot.index, stop=stop, release=by, because=f"{why}; {how}")


def _tied_eighth(spot: Spot) -> float:
    """Length in beats of the eighth on a beat that a held note is tied to, else 0."""
    notes = spot.tone.notes
    if len(notes) < 2:
        return 0.0
    share = notes[-1].duration / spot.tone.duration * spot.length
    on_beat = (spot.beat + Fraction(spot.length - share).limit_denominator(64)).denominator == 1
    return share if on_beat and abs(share - 0.5) < 0.01 else 0.0


def _in_figure(view: LineView, spot: Spot) -> bool:
    """A long note among short ones, followed by more of the figure."""
    after = view.next(spot)
    return after is not None and after.length < 1 and len(view.phrase_of(spot)) <= 6


RULE = Rule(
    name="release", says="held notes stop together, on a beat that is written down",
    source="R. Sweum, Assumptions for Jazz Big Band (mark all cut-offs; tongue stop or breath release); reedbuzz (2010): a half "
    "tied to an eighth stops on that beat; M. Kilpatrick (early stops, in older styles)",
    limits="notes of two beats or more before a rest; early stops only where the style says so", propose=_propose,
)
