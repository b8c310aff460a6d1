"""A quarter on the off-beat is accented and held its full value; so is any note that holds over the next beat.

bad:  an off-beat quarter as short and plain as the one on the beat
good: off-beat quarter with accent and tenuto; in older styles accented and short
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView

_HELD = 1.3  # the hottest notes of a line: enough for a mark in every style but ballads and concert music; judgement


def _propose(view: LineView) -> Iterable[Candidate]:
    for spot in view.spots:
        if not spot.off_beat or spot.length < 1:
            continue
        held = spot.length > 1
        if not held and not view.style.held_off_beats:
            linger = ", lingering a little into the beat" if spot.last else ""
            yield Candidate(spot=spot.index, weight=0.3, lean=1.15, marks=("strong-accent",), length="short",
                            because=f"{view.beat_name} on the off-beat, tied or not: accented and short{linger}")
            continue
        how = "accented" if view.style.soft == "none" else "leaned on"
        yield Candidate(
            spot=spot.index, weight=0.3, lean=1.15 if not held else _HELD,
            marks=("accent",) if held else ("accent", "tenuto"), length="long",
            because=f"syncopation held over the beat: {how}, sound kept" if held
            else f"{view.beat_name} on the off-beat: {how} and held full",
        )


RULE = Rule(
    name="off-beat-quarter", says="off-beat quarters and tied syncopations are accented and kept",
    source="AfroImpro, Accentuation, rule 3 (syncopated notes usually stressed); full value: common practice, no source; "
    "short in older styles: M. Kilpatrick (two tied eighths are one short quarter)",
    limits="notes of a beat or longer that begin on the off-beat", propose=_propose,
)
