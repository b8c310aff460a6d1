"""Gathering parts into groups, and the stretches in which a group strikes together."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sectionprep.passages.chance import Floats
from sectionprep.passages.grid import Grid


@dataclass(frozen=True, slots=True)
class Stretch:
    """A group of parts over columns [first, last]; attacks: the columns where the group strikes;
    odds: its evidence against chance, in nats."""

    parts: frozenset[int]
    first: int
    last: int
    attacks: tuple[int, ...]
    odds: float = 0.0


def gather(odds: Floats, parts: Sequence[int], least: float) -> list[frozenset[int]]:
    """Groups of parts out of the odds of every two: those with the best mean are joined first,
    while the mean is over `least`. odds: square, by index of part. Who belongs to nobody is left
    out."""
    groups = {n: [part] for n, part in enumerate(parts)}
    sums = odds[np.ix_(parts, parts)]
    np.fill_diagonal(sums, -np.inf)
    means = sums.copy()
    sizes = np.ones(len(groups))
    while len(groups) > 1:
        one, other = divmod(int(means.argmax()), len(sizes))
        if means[one, other] <= least:
            break
        sums[one] += sums[other]
        sums[one, one] = -np.inf
        sums[:, one] = sums[one]
        sums[other] = sums[:, other] = means[other] = means[:, other] = -np.inf
        sizes[one] += sizes[other]
        means[one] = means[:, one] = sums[one] / (sizes[one] * sizes)
        groups[one] += groups.pop(other)
    return sorted((frozenset(group) for group in groups.values() if len(group) > 1), key=min)


_LEAVES_ALONE = 0.25  # notes without the second player up to which he takes part; judgement
_ONE_LINE = (
    0.7  # share of common attacks on the same pitch class from which two parts double; judgement
)


def inner_groups(grid: Grid, parts: Sequence[int], attacks: Sequence[int]) -> list[frozenset[int]]:
    """Parts of a group that share one line over most of these columns."""
    rows = list(parts)
    struck = grid.struck[rows][:, list(attacks)]
    pitch = grid.pitch[rows][:, list(attacks)] % 12
    both = struck[:, None] & struck[None]
    same = (both & (pitch[:, None] == pitch[None])).sum(axis=2)
    share = same / np.maximum(both.sum(axis=2), 1)
    found = gather(share, range(len(rows)), _ONE_LINE)
    return [frozenset(rows[n] for n in group) for group in found]


def attack_columns(grid: Grid, parts: frozenset[int], first: int, last: int) -> NDArray[np.int64]:
    """Columns at which most of the group strikes (both of two, two of three, three of five)."""
    rows = grid.struck[sorted(parts), first : last + 1]
    return np.flatnonzero(rows.sum(axis=0) > len(parts) / 2) + first


def cut(
    grid: Grid, parts: frozenset[int], first: int, last: int, silence: int, odds: float
) -> Iterator[Stretch]:
    """The stretches of a group over columns [first, last], parted where it is silent for `silence`
    ticks."""
    attacks = attack_columns(grid, parts, first, last)
    if not len(attacks):
        return
    members = sorted(parts)
    ends = grid.ticks[attacks] + np.median(grid.length[members][:, attacks], axis=0)
    gaps = grid.ticks[attacks[1:]] - ends[:-1]
    pieces = np.split(attacks, np.flatnonzero(gaps >= silence) + 1)
    for whole in pieces:
        piece = _trimmed(grid, members, whole)
        share = len(piece) / len(attacks)
        yield Stretch(parts, int(piece[0]), int(piece[-1]), tuple(piece.tolist()), share * odds)


def _trimmed(grid: Grid, members: list[int], piece: NDArray[np.int64]) -> NDArray[np.int64]:
    """Without what only a part of the group strikes at either end: the others have stopped there
    already, or not yet begun. One missing note, or one in four, is a slip. Second players on their
    staves who take part in most of it count as well."""
    missing = (~grid.struck[members][:, piece]).sum(axis=0)
    alone = grid.alone[members][:, piece]
    seconds = alone[alone.any(axis=1) & (alone.mean(axis=1) <= _LEAVES_ALONE)]
    missing += seconds.sum(axis=0)
    whole = np.flatnonzero(missing <= max(1, (len(members) + len(seconds)) // 4))
    return piece[whole[0] : whole[-1] + 1] if len(whole) else piece


def join_figures(grid: Grid, found: list[Stretch], least: int, reach: int) -> list[Stretch]:
    """Short figures of one group (brass punches) become one stretch when they follow within `reach`
    ticks and the group does nothing else between them."""
    joined: list[Stretch] = []
    open_figures: dict[frozenset[int], int] = {}
    for piece in found:
        if len(piece.attacks) >= least:
            open_figures.pop(piece.parts, None)
            joined.append(piece)
            continue
        at = open_figures.get(piece.parts)
        if at is not None:
            before = joined[at]
            between = grid.struck[sorted(piece.parts), before.last + 1 : piece.first]
            if not between.any() and grid.ticks[piece.first] - grid.ticks[before.last] <= reach:
                joined[at] = Stretch(
                    piece.parts,
                    before.first,
                    piece.last,
                    before.attacks + piece.attacks,
                    before.odds + piece.odds,
                )
                continue
        open_figures[piece.parts] = len(joined)
        joined.append(piece)
    return joined


def close_ends(
    grid: Grid, found: list[Stretch], pieces: list[Stretch], silence: int
) -> list[Stretch]:
    """A last note which every member of a stretch strikes belongs to it, even where one of them
    lets it go earlier than the others and then goes his own way. pieces: all that moves together,
    short encounters too; silence: ticks that make a fresh start."""
    single: dict[int, list[frozenset[int]]] = defaultdict(list)
    for piece in pieces:
        if len(piece.attacks) == 1:
            single[piece.attacks[0]].append(piece.parts)
    return [_closed(grid, stretch, single, silence) for stretch in found]


def _closed(
    grid: Grid, stretch: Stretch, single: dict[int, list[frozenset[int]]], silence: int
) -> Stretch:
    rows = sorted(stretch.parts)
    end = stretch.attacks[-1]
    stops = grid.ticks[end] + int(np.median(grid.length[rows, end]))
    at = end + 1
    while at < len(grid.ticks) and grid.ticks[at] - stops < silence:
        if grid.struck[rows, at].any():
            if grid.struck[rows, at].all() and any(
                parts < stretch.parts for parts in single.get(at, ())
            ):
                return Stretch(
                    stretch.parts,
                    stretch.first,
                    max(stretch.last, at),
                    (*stretch.attacks, at),
                    stretch.odds,
                )
            break
        at += 1
    return stretch
