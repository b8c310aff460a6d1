"""A quarter on the beat is short; at a peak short and strong; of four or more in a row those on 1
and 3 may be long.

Short is what the style does anyway, so it needs no dot; a dot is light, too, and a peak is not.
What is longer than habit is marked: a quarter that leads by a semitone into the next downbeat, the
strong ones of a row. Under a slur only the last is let go early.

bad:  dots on every quarter, the peak among them
good: plain quarters, ^ on the peak; in a row: long, short, long, short
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView, Spot

_FIGURE = 6  # notes: what is longer is a line, whose last beat needs no weight; judgement
# of a hit by itself; of a peak, beside what speaks for tops anyway; of a single step up,
# which the line only brushes; judgements
_HIT, _PEAK, _BRUSHED = 1.3, 0.7, 0.2
_STEP = 2  # semitones
# quarters in one row from which the strong ones may be long; two or three before a syncopation are
# short like any quarter (two of two readers); judgement
_WALK = 4


def _is_quarter(spot: Spot | None) -> bool:
    return spot is not None and spot.on_beat and spot.is_quarter


def _propose(view: LineView) -> Iterable[Candidate]:
    for spot in view.spots:
        if not _is_quarter(spot) or spot.slur in ("first", "inside"):
            continue
        if spot.before >= 0.5 and spot.after >= (0.5 if view.style.short_quarters else 1):
            yield Candidate(
                spot=spot.index,
                lean=_HIT,
                marks=("strong-accent",),
                length="short",
                because="quarter on its own between rests: a hit, short and strong",
            )
        elif view.style.short_quarters:
            yield _in_a_line(view, spot)


def _in_a_line(view: LineView, spot: Spot) -> Candidate:
    after = view.next(spot)
    if spot.last and spot.after >= 0.5 and _is_point(view, spot):
        return Candidate(
            spot=spot.index,
            lean=_HIT,
            marks=("strong-accent",),
            length="short",
            because="quarter that ends a short figure: short and strong",
        )
    if spot.slur == "last":
        return Candidate(
            spot=spot.index, length="short", because="last note of the slur: let go early"
        )
    if (
        after is not None
        and spot.after == 0
        and abs(spot.ahead) == 1
        and after.beat == 1
        and not view.climbs_far(spot)  # the goal of a climb is no approach
    ):
        return Candidate(
            spot=spot.index,
            lean=0.1,
            length="long",
            because="leads by a semitone into the next downbeat: not clipped",
        )
    if spot.is_top:
        return Candidate(
            spot=spot.index,
            lean=_BRUSHED if _brushed(view, spot) else _PEAK,
            marks=("strong-accent",),
            length="short",
            habit=True,
            because="quarter on the beat where the line peaks: short and strong",
        )
    if spot.strong and not spot.last and _row(view, spot) >= _WALK:
        return Candidate(
            spot=spot.index,
            length="long",
            because="in a row of quarters, on a strong beat: long",
        )
    return Candidate(
        spot=spot.index, lean=0.1, length="short", habit=True, because="quarter on the beat: short"
    )


def _row(view: LineView, spot: Spot) -> int:
    """How many quarters on beats stand in one row with this one."""
    count = 1
    for step in (view.prev, view.next):
        near = step(spot)
        while near is not None and _is_quarter(near) and count < _WALK:
            count, near = count + 1, step(near)
    return count


def _brushed(view: LineView, spot: Spot) -> bool:
    """A single step up to it: neither a climb nor a leap."""
    before = view.prev(spot)
    climbs = before is not None and not before.first and before.rise > 0
    return not climbs and spot.rise <= _STEP


def _is_point(view: LineView, spot: Spot) -> bool:
    """The figure is short, ends here, and has not spent its weight before: on a push, or on a
    quarter or a top from which it comes down."""
    if view.kicked(spot):
        return False
    figure = view.phrase_of(spot)
    before = figure[:-1]
    higher = any((near.is_quarter or near.is_top) and near.pitch > spot.pitch for near in before)
    return len(figure) <= _FIGURE and not higher and not any(near.pushed for near in before)


RULE = Rule(
    name="beat-quarter",
    says="quarters on the beat are short, at a peak short and strong; in a row of four those on 1 "
    "and 3 may be long",
    source="M. Kilpatrick, ellington-music.co.uk, swing notation (short quarter, 1/3 to 2/3 beat; "
    "no marks on routine short quarters); "
    "S. Fagaly (1 and 3 long; the peak is stressed even on the beat); C. Treinen (the rooftop is "
    "the short accent)",
    limits="hits between rests in every style; the rest in styles with short quarters, not bossa, "
    "samba, ballad or straight styles (V. Gassi); "
    "no quarters of 6/8 and 12/8",
    propose=_propose,
)
