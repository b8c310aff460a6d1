"""On-beat notes carry a little more weight; off-beats are what the tongue marks.

bad:  1 and 3 accented in every bar
good: a long, even line with a tongued off-beat here and there
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView, Spot

# of what speaks for off-beats speaks against 1 and 3; some of it for 2 and 4, which swing leans on;
# judgements
_STRONG, _WEAK = 1.2, -0.4
_ON, _OFF = 0.42, -0.08  # dB after pitch height: on-beat and off-beat eighths (facts, Loudness)


def _propose(view: LineView) -> Iterable[Candidate]:
    for spot in view.spots:
        if spot.triplet or not spot.is_eighth:
            continue
        if spot.on_beat:
            share = _STRONG if spot.strong and not _is_peak(view, spot) else _WEAK
            yield Candidate(
                spot=spot.index,
                weight=_ON,
                lean=-share * view.style.off_beat,
                because="on the beat",
            )
        elif spot.off_beat:
            stepwise = 0 < abs(spot.rise) <= 2 and 0 < abs(spot.ahead) <= 2
            upper = spot.rise > 0 and spot.ahead < 0
            lean = view.style.off_beat * (1.0 if stepwise or upper else 0.5)
            yield Candidate(
                spot=spot.index,
                weight=_OFF,
                lean=lean,
                marks=("accent",),
                because="off-beat in stepwise motion" if stepwise else "off-beat",
            )


def _is_peak(view: LineView, spot: Spot) -> bool:
    """Where the line turns at the highest note of its phrase, or after a long climb: stressed even
    on 1 or 3."""
    if not spot.is_top:
        return False
    return view.climbs_far(spot) or spot.pitch == max(near.pitch for near in view.phrase_of(spot))


RULE = Rule(
    name="pulse",
    says="the tongue marks the off-beats, the beat carries the line",
    source="AfroImpro, Accentuation, rule 1; 2 and 4 rather than 1 and 3: common practice, no "
    "source; the peak even on the beat: S. Fagaly; mainstream tonguing as in Fagaly and the "
    "Woodshed pages; weights from the Weimar Jazz Database, own count",
    limits="eighths outside triplets; shuffle and older styles lean on the beat instead",
    propose=_propose,
)
