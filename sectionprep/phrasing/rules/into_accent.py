"""The note in front of an accent is not clipped: a gap there takes the accent's weight away.

bad:  a short quarter, a hole, then the accent
good: the note before carries through to the accent; slur if the tongue makes a gap
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView, Spot


def _settle(view: LineView, chosen: frozenset[int]) -> Iterable[Candidate]:
    for spot in view.spots:
        after = view.next(spot)
        if (
            after is None
            or after.index not in chosen
            or spot.index in chosen
            or spot.after > 0
            or spot.length > 1
        ):
            continue
        if _in_row(spot, after):
            continue
        clipped = (
            view.style.short_quarters and spot.on_beat and spot.is_quarter
        )  # unless it says otherwise
        yield Candidate(
            spot=spot.index,
            lean=0.2,
            length="long" if clipped else "joined",
            because="before an accent: not clipped, it carries through",
        )


def _in_row(spot: Spot, after: Spot) -> bool:
    """Quarters on the beat, one after the other, each have a front of their own and stay apart."""
    return spot.is_quarter and after.is_quarter and spot.on_beat and after.on_beat


RULE = Rule(
    name="into-accent",
    says="do not clip the note in front of an accent",
    source="S. Fagaly, Jazz Articulation",
    limits="notes of a beat or less that run straight into a note brought out; not quarters in a "
    "row on the beat",
    settle=_settle,
)
