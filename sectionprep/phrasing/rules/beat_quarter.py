"""A quarter on the beat is short and fat; of several in a row those on 1 and 3 may be long; under a slur only the last is
let go early.

bad:  every quarter held to the next
good: short quarters with a full front; in a row: long, short, long, short
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView, Spot

_FIGURE = 6  # notes: what is longer is a line, whose last beat needs no weight; judgement


def _is_quarter(spot: Spot | None) -> bool:
    return spot is not None and spot.on_beat and abs(spot.length - 1) < 0.01


def _propose(view: LineView) -> Iterable[Candidate]:
    for spot in view.spots:
        if not _is_quarter(spot) or spot.slur in ("first", "inside"):
            continue
        if not view.style.short_quarters and not (spot.before >= 0.5 and spot.after >= 0.5):
            continue
        in_row = _is_quarter(view.prev(spot)) or _is_quarter(view.next(spot))
        name = view.beat_name
        if spot.before >= 0.5 and spot.after >= 0.5:
            yield Candidate(spot=spot.index, lean=1.3, marks=("strong-accent",), length="short",
                            because=f"{name} on its own between rests: a hit, short and strong")
        elif spot.last and spot.after >= 1 and len(view.phrase_of(spot)) <= _FIGURE:
            yield Candidate(spot=spot.index, lean=1.3, marks=("strong-accent",), length="short",
                            because=f"{name} that ends a short figure: short and strong")
        elif spot.slur == "last":
            yield Candidate(spot=spot.index, length="short", because="last note of the slur: let go early")
        elif in_row and spot.strong and not spot.last:
            yield Candidate(spot=spot.index, length="long", because=f"one of several {name}s, on a strong beat: long")
        else:
            yield Candidate(spot=spot.index, lean=0.1, length="short", because=f"{name}{' on the beat' if name == 'quarter' else ''}: short and fat")


RULE = Rule(
    name="beat-quarter", says="quarters on the beat are short; in a row those on 1 and 3 may be long",
    source="M. Kilpatrick, ellington-music.co.uk, swing notation (short quarter, 1/3 to 2/3 beat); S. Fagaly (1 and 3 long)",
    limits="hits between rests in every style; the rest in styles with short quarters, not bossa, samba, ballad or straight styles (V. Gassi)", propose=_propose,
)
