"""Vertical order above a staff: music, chords on one line, then words and signs.

The engraver puts chord symbols above tempo words and signs; players look for them right above the
staff. So chords get one baseline a line, just clear of the music, and everything else above the
staff is stacked over them, each as low as it can go without touching what lies under it.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from sectionprep.drawing.scene import chord_symbols
from sectionprep.drawing.scene.articulations import clear_bodies, clear_ties
from sectionprep.drawing.scene.ink import Box, Ink, System, box_of, extent
from sectionprep.drawing.scene.nudging import step_aside
from sectionprep.drawing.scene.page_edge import keep_inside
from sectionprep.drawing.scene.road_signs import signs_beside_letters
from sectionprep.drawing.scene.under_staff import CLEAR, clear_under

_SIGNS = frozenset({"dynam", "hairpin", "dir", "syl"})
_WORDS = frozenset({"tempo", "reh", "dir", "repeatMark", "voltaBracket"})
_CLEAR = 70.0  # white between two things, hundredths of a millimetre
_OVER_FERMATA = 22.0  # more white over a sign that is read by itself
_SIDE = 30.0  # white beside a chord symbol, hundredths of a millimetre
#: white beside the count of a long rest: closer, a metronome's number seems to go on; judgement
_BESIDE_COUNT = 200.0
_BESIDE_NO_COUNT = frozenset({"tempo", "repeatMark"})
_CHORD_HEIGHT = chord_symbols.SIZE * 0.95  # of a raised number
#: chord symbols no further apart stand at one place: a millimetre; from one to the one over it
_SAME, _STOREY = 100.0, _CHORD_HEIGHT + 40.0
_Segment = tuple[float, float, float]  # x0, x1, top


def _word_class(ink: Ink) -> str:
    return next((c for c in ink.classes if c in _WORDS), "")


def restack(system: System, chords: dict[str, str], width: float) -> System:
    """The line with its chord symbols and the words above the staff in their places, and its extent
    taken anew. chords: text by id; width: of the line."""
    inks = list(keep_inside(system.ink, width))
    clear_ties(inks)
    clear_bodies(inks)
    moving: dict[str, list[int]] = defaultdict(list)
    music: list[_Segment] = []
    counts: list[_Segment] = []
    over: dict[str, bool] = {}  # by group: a large frame may reach into the staff, its words do not
    for n, ink in enumerate(inks):
        word = _word_class(ink) if ink.group else ""
        left, top, right, bottom = ink.box
        if word and over.setdefault(ink.group, bottom < system.staff_top + 50):
            moving["endings" if word == "voltaBracket" else ink.group or word].append(n)
        elif top < system.staff_top:
            music.append((left, right, top - _OVER_FERMATA * ("fermata" in ink.classes)))
            if "multiRest" in ink.classes:
                counts.append((left - _BESIDE_COUNT, right + _BESIDE_COUNT, top))
    base, taken = _chord_line(system, chords, music)
    taken += music
    signs_beside_letters(inks, moving, width)
    groups = sorted(moving.values(), key=lambda group: -max(inks[n].box[3] for n in group))
    for group in groups:
        also = counts if _BESIDE_NO_COUNT.intersection(inks[group[0]].classes) else ()
        _lower_onto(inks, group, taken, system.staff_top - 60, also)
    clear_under(inks, system)
    _clear_below(inks, system)
    based = {
        name: spot._replace(y=base - up)
        for (name, spot), up in zip(system.chords.items(), raised_chords(system), strict=True)
    }
    boxes = chord_boxes(replace(system, chords=based), chords)
    step_aside(inks, boxes, _staff_boxes(system, width), width)
    top, bottom = extent(inks)
    if system.chords:
        top = min(top, *(spot.y - _CHORD_HEIGHT - 80 for spot in based.values()))
    return replace(
        system,
        ink=tuple(inks),
        chords=based,
        top=top,
        bottom=bottom,
    )


def set_apart(system: System, fixed: Iterable[Box] = ()) -> System:
    """A line that was not restacked, or was spaced anew since, with what touches something moved
    aside. fixed: boxes of what is added to it."""
    inks = list(system.ink)
    clear_ties(inks)
    clear_bodies(inks)
    width = max((right for _, _, right in system.bar_edges), default=float("inf"))
    step_aside(inks, list(fixed), _staff_boxes(system, width), width)
    top, bottom = extent(inks)
    top, bottom = min(system.top, top), max(system.bottom, bottom)
    return replace(system, ink=tuple(inks), top=top, bottom=bottom)


def _chord_line(
    system: System, chords: dict[str, str], music: Sequence[_Segment]
) -> tuple[float, list[_Segment]]:
    """The baseline of the line's chord symbols, and the room that they take."""
    base = system.staff_top - 110.0
    places: list[tuple[float, float]] = []
    raised = raised_chords(system)
    for name, spot in system.chords.items():
        width = chord_symbols.draw(None, spot.x, 0, chords.get(name, ""))
        under = [
            top for x0, x1, top in music if x0 < spot.x + width + _SIDE and spot.x - _SIDE < x1
        ]
        base = min([base, *(top - _CLEAR for top in under)])
        places.append((spot.x - 40, spot.x + width + 60))
    return base, [
        (x0, x1, base - up - _CHORD_HEIGHT - 60)
        for (x0, x1), up in zip(places, raised, strict=True)
    ]


def raised_chords(system: System, line: float = math.inf) -> list[float]:
    """How far above the line of its chord symbols each of them stands: one that a file has at the
    place of another stands over it, as a change that may be played instead (common practice, no
    source). line: how far apart in height those of one staff stand."""
    found: list[float] = []
    spots = list(system.chords.values())
    for n, spot in enumerate(spots):
        here = [
            up
            for up, other in zip(found, spots[:n], strict=True)
            if abs(other.x - spot.x) < _SAME and abs(other.y - spot.y) < line
        ]
        found.append(max(here, default=-_STOREY) + _STOREY)
    return found


def _staff_boxes(system: System, width: float) -> list[Box]:
    """Where the staves of a line are."""
    tops = sorted(system.staves) or [system.staff_top]
    high = system.staff_bottom - tops[-1]
    return [(0.0, top, width, top + high) for top in tops]


def chord_boxes(system: System, chords: Mapping[str, str]) -> list[Box]:
    """Where the chord symbols of a line stand. chords: text by id."""
    return [
        (
            spot.x,
            spot.y - _CHORD_HEIGHT,
            spot.x + chord_symbols.draw(None, spot.x, 0, chords.get(name, "")),
            spot.y + 0.1 * chord_symbols.SIZE,
        )
        for name, spot in system.chords.items()
    ]


def _clear_below(inks: list[Ink], system: System) -> None:
    """Words under the staff that touch anything there move down: the engraver was not told how wide
    long ones are."""
    groups: dict[str, list[int]] = defaultdict(list)
    for n, ink in enumerate(inks):
        if ink.group and "dir" in ink.classes and ink.box[3] > system.staff_bottom + 50:
            groups[ink.group].append(n)
    if not groups:
        return
    low = [n for n, ink in enumerate(inks) if ink.box[3] > system.staff_bottom]
    signs = {n for n in low if _SIGNS.intersection(inks[n].classes)}
    downwards = sorted(groups.items(), key=lambda group: min(inks[n].box[1] for n in group[1]))
    for name, group in downwards:
        aside = _beside(inks, group, [n for n in signs if inks[n].group != name])
        x0, y0, x1, y1 = box_of(inks[n] for n in group)
        x0, x1 = x0 + aside, x1 + aside
        beside = [
            (_wider(inks[n].box, CLEAR - 1 if n in signs else 0.0), inks[n].box[3])
            for n in low
            if inks[n].group != name
        ]
        around = [one for one in beside if one[0][0] < x1 and x0 < one[0][2]]
        down = 0.0
        while touched := [
            foot for box, foot in around if box[1] < y1 + down and y0 + down < box[3]
        ]:
            down = max(touched) + _CLEAR - y0
        for n in group:
            inks[n] = inks[n].moved(down, aside)


def _beside(inks: Sequence[Ink], group: Sequence[int], signs: Sequence[int]) -> float:
    """How far words go right that follow a dynamic on its line too closely ("p dolce")."""
    x0, y0, _, y1 = box_of(inks[n] for n in group)
    middle = (y0 + y1) / 2
    close = [
        inks[n].box[2] + CLEAR - x0
        for n in signs
        if "dynam" in inks[n].classes
        and inks[n].box[1] < middle < inks[n].box[3]
        and inks[n].box[2] - CLEAR < x0 < inks[n].box[2] + CLEAR
    ]
    return max(close, default=0.0)


def _wider(box: Box, by: float) -> Box:
    return box[0] - by, box[1] - by, box[2] + by, box[3] + by


def _lower_onto(
    inks: list[Ink],
    group: Sequence[int],
    taken: list[_Segment],
    floor: float,
    also: Sequence[_Segment],
) -> None:
    """Put things as low as they can go over what is taken, and what else they must not touch."""
    x0, _, x1, bottom = box_of(inks[n] for n in group)
    under = [top for a, b, top in (*taken, *also) if a < x1 + 20 and x0 - 20 < b]
    rest = min([floor, *(top - _CLEAR for top in under)])
    for n in group:
        inks[n] = inks[n].moved(rest - bottom)
    taken.append((x0, x1, min(inks[n].box[1] for n in group)))
