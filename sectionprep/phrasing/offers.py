"""What a director may add and we never write unasked: a fall or a shake on the last note of a
shout.

Common practice, no source; a shake is for the lead trumpet and wants rehearsing (J. Maxwell, The
First Trumpeter: used sparingly, else the band sounds ragged).
"""

from __future__ import annotations

from collections.abc import Sequence

from sectionprep.phrasing.plan import PlannedNote
from sectionprep.phrasing.view import LineView

_FALL, _SHAKE = 1.0, 2.0  # quarters from which a note has time to fall, to shake; judgements


def with_offers(view: LineView, notes: Sequence[PlannedNote]) -> list[PlannedNote]:
    """The last note of the band's passage with what might be put on it, if it is brought out before
    a rest."""
    made = list(notes)
    spot, note = view.spots[-1], notes[-1]
    free = (
        spot.after >= 1
        and not note.tone.has_fermata
        and not note.marks & {"falloff", "doit", "shake", "ghost"}
    )
    if view.tutti and note.leaned and free and view.style.soft == "none" and spot.quarters >= _FALL:
        kinds = ["falloff", *(["shake"] if spot.quarters >= _SHAKE else [])]
        made[-1] = note._replace(offers=tuple(note.marks | {kind} for kind in kinds))
    return made
