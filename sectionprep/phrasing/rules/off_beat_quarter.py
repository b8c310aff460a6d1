"""A push: a note that begins off the beat and sounds over the next one is accented and held its
full value.

The accent alone says both, as it is the long accent: a tenuto beside it would say the same twice.

bad:  an off-beat quarter as short and plain as the one on the beat
good: off-beat quarter with an accent; in older styles, and in "du-DAHT-du", accented and short
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView, Spot

# the hottest notes of a line: enough for a mark in every style but concert music; judgement
_PUSH = 1.6
# against a top of the line less than a bar before a push that lies no lower; judgements
_LESS, _AHEAD = -0.4, 3.5
_INNER = 0.6  # an eighth between sixteenths that pushes over the half-beat only; judgement


def _propose(view: LineView) -> Iterable[Candidate]:
    how = "accented" if view.style.soft == "none" else "leaned on"
    for spot in view.spots:
        if spot.pushed:
            yield _push(view, spot, how)
            yield from _on_the_way(view, spot)
        elif spot.fine and spot.off_beat and spot.length >= 1:
            yield Candidate(
                spot=spot.index,
                lean=_INNER,
                marks=("accent",),
                because="pushed between the sixteenths",
            )


def _on_the_way(view: LineView, push: Spot) -> Iterable[Candidate]:
    """Tops on the beat, not above the push, from which the line goes on to it."""
    near = view.prev(push)
    while near is not None and push.tone.onset - near.tone.onset <= _AHEAD * view.beat:
        if near.is_top and near.on_beat and near.is_eighth and near.pitch <= push.pitch:
            yield Candidate(
                spot=near.index,
                lean=_LESS,
                because="on the way to the push, which has the weight",
            )
        near = view.prev(near)


def _push(view: LineView, spot: Spot, how: str) -> Candidate:
    name = "quarter on the off-beat" if spot.is_quarter else "push over the beat"
    if view.style.swing and view.syncopated(spot):
        return Candidate(
            spot=spot.index,
            weight=0.3,
            lean=_PUSH,
            marks=("strong-accent",),
            length="short",
            because="du-DAHT-du: struck, and stopped for the eighth after it",
        )
    if spot.is_quarter and not view.style.held_off_beats:
        linger = ", lingering a little into the beat" if spot.last else ""
        return Candidate(
            spot=spot.index,
            weight=0.3,
            lean=_PUSH,
            marks=("strong-accent",),
            length="short",
            because=f"{name}, tied or not: accented and short{linger}",
        )
    return Candidate(
        spot=spot.index,
        weight=0.3,
        lean=_PUSH,
        marks=("accent",),
        length="long",
        because=f"{name}: {how} and held full",
    )


RULE = Rule(
    name="off-beat-quarter",
    says="off-beat quarters and anticipations are accented and kept",
    source="AfroImpro, Accentuation, rule 3 (syncopated notes usually stressed); anticipations "
    "have an accented front: J. Tolson, "
    "from memory; full value: common practice, no source; short in older styles: M. Kilpatrick "
    "(two tied eighths are one short quarter); short in du-DAHT-du: C. Treinen (daht is the short "
    "accent), two of three readers",
    limits="notes that begin off the metre's beat and sound past the next; no tuplets",
    propose=_propose,
)
