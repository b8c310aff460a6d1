"""Vertical order above a staff: music, chords on one line, then words and signs.

The engraver puts chord symbols above tempo words and signs; players look for them right above the
staff. So chords get one baseline a line, just clear of the music, and everything else above the
staff is stacked over them, each as low as it can go without touching what lies under it.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from sectionprep.drawing.scene import chord_symbols
from sectionprep.drawing.scene.ink import Ink, System
from sectionprep.drawing.scene.page_edge import keep_inside

_WORDS = frozenset({"tempo", "reh", "dir", "repeatMark", "voltaBracket"})
_CLEAR = 70.0  # white between two things, hundredths of a millimetre
_SIDE = 30.0  # white beside a chord symbol, hundredths of a millimetre
#: white beside the count of a long rest: closer, a metronome's number seems to go on; judgement
_BESIDE_COUNT = 200.0
_CAP = 0.72  # height of a capital in type sizes
_Segment = tuple[float, float, float]  # x0, x1, top


def _word_class(ink: Ink) -> str:
    return next((c for c in ink.classes if c in _WORDS), "")


def restack(system: System, chords: dict[str, str], width: float) -> None:
    """Move chord symbols and the words above the staff to their places; takes the system's extent
    anew. width: of the line."""
    keep_inside(system, width)
    moving: dict[str, list[Ink]] = defaultdict(list)
    music: list[_Segment] = []
    counts: list[_Segment] = []
    over: dict[str, bool] = {}  # by group: a large frame may reach into the staff, its words do not
    for ink in system.ink:
        word = _word_class(ink) if ink.group else ""
        if word and over.setdefault(ink.group, ink.box[3] < system.staff_top + 50):
            moving["endings" if word == "voltaBracket" else ink.group or word].append(ink)
        elif ink.box[1] < system.staff_top:
            music.append((ink.box[0], ink.box[2], ink.box[1]))
            if "multiRest" in ink.classes:
                counts.append((ink.box[0] - _BESIDE_COUNT, ink.box[2] + _BESIDE_COUNT, ink.box[1]))
    height = chord_symbols.SIZE * _CAP
    base = system.staff_top - 110.0
    taken: list[_Segment] = []
    for name, spot in system.chords.items():
        width = chord_symbols.draw(None, spot.x, 0, chords.get(name, ""))
        under = [
            top for x0, x1, top in music if x0 < spot.x + width + _SIDE and spot.x - _SIDE < x1
        ]
        base = min([base, *(top - _CLEAR for top in under)])
        taken.append((spot.x - 40, spot.x + width + 60, 0.0))
    taken = [(x0, x1, base - height - 60) for x0, x1, _ in taken]
    for spot in system.chords.values():
        spot.y = base
    taken += music
    for inks in sorted(moving.values(), key=lambda group: -max(i.box[3] for i in group)):
        also = counts if "tempo" in inks[0].classes else ()
        _lower_onto(inks, taken, system.staff_top - 60, also)
    _clear_below(system)
    system.measure_box()
    if system.chords:
        system.top = min(system.top, base - height - 80)


def _clear_below(system: System) -> None:
    """Words under the staff that touch anything there move down: the engraver was not told how wide
    long ones are."""
    groups: dict[str, list[Ink]] = defaultdict(list)
    for ink in system.ink:
        if ink.group and "dir" in ink.classes and ink.box[3] > system.staff_bottom + 50:
            groups[ink.group].append(ink)
    if not groups:
        return
    low = [ink for ink in system.ink if ink.box[3] > system.staff_bottom]
    for name, inks in sorted(groups.items(), key=lambda group: min(ink.box[1] for ink in group[1])):
        x0, y0, x1, y1 = _box_of(inks)
        beside = [ink.box for ink in low if ink.group != name]
        around = [box for box in beside if box[0] < x1 and x0 < box[2]]
        down = 0.0
        while touched := [box[3] for box in around if box[1] < y1 + down and y0 + down < box[3]]:
            down = max(touched) + _CLEAR - y0
        for ink in inks:
            ink.move(down)


def _box_of(inks: list[Ink]) -> tuple[float, float, float, float]:
    left, top, right, bottom = zip(*(ink.box for ink in inks), strict=True)
    return min(left), min(top), max(right), max(bottom)


def _lower_onto(
    inks: list[Ink], taken: list[_Segment], floor: float, also: Sequence[_Segment]
) -> None:
    """Put things as low as they can go over what is taken, and what else they must not touch."""
    x0, x1 = min(i.box[0] for i in inks), max(i.box[2] for i in inks)
    bottom = max(i.box[3] for i in inks)
    under = [top for a, b, top in (*taken, *also) if a < x1 + 20 and x0 - 20 < b]
    rest = min([floor, *(top - _CLEAR for top in under)])
    for ink in inks:
        ink.move(rest - bottom)
    taken.append((x0, x1, min(i.box[1] for i in inks)))
