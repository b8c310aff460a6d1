"""The first note of a phrase speaks clearly; a pick-up stays lighter than the note it leads to.

bad:  three pick-up notes as heavy as the downbeat
good: light pick-ups, then the target
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView, Spot

# dB after pitch height (facts, Loudness): first note of a phrase +1.06; first of a run of eighths
# +0.65.
_PHRASE, _RUN = 1.06, 0.65
# the note that a pick-up of so many notes leads to, from how many quarters on; judgements
_TARGET, _PICK_UPS, _LONG = 1.4, 3, 1.5
# of a quarter on 1 or 3 from which the line comes down, where a style sits on the beat; judgement
_DOWNBEAT = 1.1


def _propose(view: LineView) -> Iterable[Candidate]:
    for first, last in view.phrases:
        if last - first < 2:
            continue
        spot = view.spots[first]
        yield Candidate(
            spot=first, weight=_PHRASE, because="first note of the phrase: let it speak"
        )
        if spot.on_beat and spot.quarters >= 1:
            shuffle = view.style.sits_on_the_beat and spot.strong and spot.ahead < 0
            yield Candidate(
                spot=first,
                lean=_DOWNBEAT if shuffle else 0.35,
                marks=("tenuto",),
                because="the phrase opens on this note",
            )
        if not spot.strong and spot.is_eighth and spot.after < 0.5 and spot.ahead > 0:
            yield Candidate(spot=first, lean=-0.3, because="pick-up: lighter than what it leads to")
            target = _target(view, first, last)
            if target is not None:
                yield Candidate(
                    spot=target.index,
                    lean=_TARGET,
                    marks=("accent",),
                    because="long note on the strong beat that the pick-up leads to",
                )
    for spot in view.spots:
        before = view.prev(spot)
        after = view.next(spot)
        if (
            before is not None
            and after is not None
            and spot.is_eighth
            and after.is_eighth
            and before.length >= 1
        ):
            yield Candidate(spot=spot.index, weight=_RUN, because="first of a run of eighths")


def _target(view: LineView, first: int, last: int) -> Spot | None:
    """The first longer note after rising eighths that open a phrase, if it is long and on 1 or
    3."""
    for n in range(first + 1, min(last, first + _PICK_UPS) + 1):
        spot = view.spots[n]
        if spot.rise <= 0 or spot.before > 0:
            return None
        if not spot.is_eighth:
            return spot if spot.strong and spot.quarters >= _LONG else None
    return None


RULE = Rule(
    name="opening",
    says="first notes speak, pick-ups stay light",
    source="Tonguing for Jazz Saxophone, thewoodshedmusic (2014): always tongue the first note; "
    "AfroImpro rule 5; weights "
    "from the Weimar Jazz Database, own count",
    limits="phrases of three notes or more",
    propose=_propose,
)
