"""A held note stops at an agreed place: where the rest begins, on the beat it is tied to, or early
to clear the air.

bad:  five players letting go one after the other
good: "off 4", all together; a ballad lets the air stop it, everything else the tongue
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView, Spot

_LONG = (
    4  # quarters from which an early stop is a whole quarter early; judgement after M. Kilpatrick
)
# quarters a minute from which an eighth early is no cut that a band could place: the rest is (two
# readers, of two-beat tunes); judgement
_FAST = 200
_PUSH = 1.5  # quarters: a push that is held past the beat it anticipates; judgement


def _propose(view: LineView) -> Iterable[Candidate]:
    style = view.style
    if style.cutoffs == "none":
        return
    for spot in view.spots:
        if not spot.is_held and not _closing_beat(spot) and not _closing_push(view, spot):
            continue
        tied = _tied_eighth(view, spot)
        cut = style.cutoffs == "early" and view.tempo < _FAST
        early = cut and (spot.last or spot.after > 0 or _in_figure(view, spot))
        if spot.after < (0.5 if tied or _ends_on_beat(view, spot) else 1) and not (
            early and _in_figure(view, spot)
        ):
            continue
        if tied:
            stop, why = spot.quarters - tied, "tied to an eighth: stop on that beat"
        elif early:
            stop, why = (
                spot.quarters - (0.5 if spot.quarters < _LONG else 1),
                "stop early, so that the figure is cut clean",
            )
        elif spot.last:
            stop, why = spot.quarters, "off at the rest"
        else:
            continue
        by = "breath" if style.release == "breath" else "tongue"
        how = "with the air" if by == "breath" else "with the tongue"
        yield Candidate(spot=spot.index, stop=stop, release=by, because=f"{why}, {how}")


def _closing_beat(spot: Spot) -> bool:
    """A whole beat of 6/8 or 12/8 that closes its phrase: long there, as a half note is
    elsewhere."""
    return spot.compound and spot.last and spot.on_beat and spot.length >= 1


def _closing_push(view: LineView, spot: Spot) -> bool:
    """A push of a dotted quarter, held to the beat after the one it pushes over: where it stops is
    the only thing about it that a section can get wrong."""
    return spot.pushed and spot.last and spot.quarters >= _PUSH and _ends_on_beat(view, spot)


def _tied_eighth(view: LineView, spot: Spot) -> float:
    """Length in quarters of the eighth on a beat that a held note is tied to, else 0."""
    notes = spot.tone.notes
    if len(notes) < 2:
        return 0.0
    share = notes[-1].duration / view.quarter
    on_beat = (spot.offset + spot.tone.duration - notes[-1].duration) % view.quarter == 0
    return share if on_beat and abs(share - 0.5) < 0.01 else 0.0


def _ends_on_beat(view: LineView, spot: Spot) -> bool:
    pulse = view.quarter * 3 // 2 if spot.compound else view.quarter
    return (spot.offset + spot.tone.duration) % pulse == 0


def _in_figure(view: LineView, spot: Spot) -> bool:
    """A long note among short ones, followed by more of the figure."""
    after = view.next(spot)
    return after is not None and after.quarters < 1 and len(view.phrase_of(spot)) <= 6


RULE = Rule(
    name="release",
    says="held notes stop together, on a beat that is written down",
    source="R. Sweum, Assumptions for Jazz Big Band (mark all cut-offs; tongue stop or breath "
    "release); reedbuzz (2010): a half "
    "tied to an eighth stops on that beat; M. Kilpatrick (early stops, in older styles)",
    limits="notes of two quarters or more before a rest, a closing beat of 6/8 and 12/8, a dotted "
    "quarter that pushes over a beat and is held to the next; early stops only where the style "
    "says so, at moderate tempos",
    propose=_propose,
)
