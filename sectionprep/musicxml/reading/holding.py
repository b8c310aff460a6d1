"""What the player of a part holds, from tick to tick."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

from sectionprep.music.chairs import doubling
from sectionprep.music.instruments import HORNS, UNKNOWN, Chair, Instrument
from sectionprep.music.notes import Direction
from sectionprep.music.pitch import Transposition


def instruments_held(
    chair: Chair,
    directions: Sequence[Direction],
    transpositions: Sequence[tuple[int, Transposition]],
) -> tuple[tuple[int, Instrument], ...]:
    """What the player of a wind part holds, from tick to tick: by words such as "to Flute", or by a
    change of transposition, named by the last words before it or by none."""
    found = [(0, chair.instrument)]
    if chair.section not in HORNS:
        return tuple(found)
    named = [
        (d.onset, *doubling(d.value, chair.instrument)) for d in directions if d.kind == "words"
    ]
    changes: list[tuple[int, Instrument | None, int]] = [
        (tick, other, 0) for tick, other, demanded in named if other is not None and demanded
    ]
    for (_, before), (tick, after) in pairwise(transpositions):
        if before.chromatic != after.chromatic:
            changes.append((tick, None, after.chromatic))
    for tick, demanded_one, chromatic in sorted(changes, key=lambda change: change[0]):
        other = demanded_one
        if other is None:
            if found[-1][1].transposition.chromatic == chromatic:
                continue  # the words have said so already
            fitting = [
                one
                for at, one, _ in named
                if at <= tick and one is not None and one.transposition.chromatic == chromatic
            ]
            own = (
                chair.instrument if chair.instrument.transposition.chromatic == chromatic else None
            )
            other = (
                fitting[-1]
                if fitting
                else own or replace(UNKNOWN, transposition=Transposition(0, chromatic))
            )
        if other.key != found[-1][1].key:
            found.append((tick, other))
    return tuple(found)
