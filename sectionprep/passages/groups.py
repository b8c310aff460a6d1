"""From pairs to groups, and from groups to the stretches in which they stay together."""

from __future__ import annotations

import itertools
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sectionprep.passages.grid import Grid
from sectionprep.passages.pairs import APART, LINE, PairStates


@dataclass(frozen=True, slots=True)
class Stretch:
    """A group of parts over columns [first, last]; attacks: the columns where the group strikes."""

    parts: frozenset[int]
    first: int
    last: int
    attacks: tuple[int, ...]


def clusters(count: int, edges: list[tuple[int, int]]) -> list[frozenset[int]]:
    """Groups of parts out of pairwise edges: the best connected part takes its neighbours, and so on.

    A neighbour joins only if it knows at least half of the group, so that one chance pair does not weld
    two sections together.
    """
    near: dict[int, set[int]] = {}
    for a, b in edges:
        near.setdefault(a, set()).add(b)
        near.setdefault(b, set()).add(a)
    groups: list[frozenset[int]] = []
    while near:
        seed = max(near, key=lambda part: (len(near[part]), -part))
        members = {seed}
        for part in sorted(near[seed], key=lambda p: (-len(near[p] & near[seed]), p)):
            if 2 * len(near[part] & members) >= len(members):
                members.add(part)
        if len(members) > 1:
            groups.append(frozenset(members))
        for part in members:
            for other in near.pop(part):
                if other in near:
                    near[other].discard(part)
        near = {part: others for part, others in near.items() if others}
    return groups


def _edges_of(pairs: PairStates, column: NDArray[np.int8], at_least: int) -> list[tuple[int, int]]:
    chosen = np.flatnonzero(column >= at_least)
    return list(zip(pairs.first[chosen].tolist(), pairs.second[chosen].tolist(), strict=True))


def column_groups(grid: Grid, pairs: PairStates) -> list[list[frozenset[int]]]:
    """The groups at every column."""
    count, columns = grid.struck.shape
    if not len(pairs.states):
        return [[] for _ in range(columns)]
    changed = np.flatnonzero((np.diff(pairs.states, axis=1) != 0).any(axis=0)) + 1
    edges = [0, *changed.tolist(), columns]
    found: list[list[frozenset[int]]] = []
    for start, stop in itertools.pairwise(edges):
        groups = clusters(count, _edges_of(pairs, pairs.states[:, start], APART + 1))
        found.extend([groups] * (stop - start))
    return found


def inner_groups(pairs: PairStates, parts: frozenset[int], first: int, last: int) -> list[frozenset[int]]:
    """Parts of a group that share one line over most of columns [first, last]."""
    rows = pairs.inside(parts)
    share = (pairs.states[rows, first : last + 1] == LINE).mean(axis=1)
    edges = [(int(pairs.first[r]), int(pairs.second[r])) for r, s in zip(rows, share, strict=True) if s >= 0.7]
    return clusters(len(parts), edges)


def stretches(grid: Grid, groups: list[list[frozenset[int]]], silence: int) -> list[Stretch]:
    """Runs of columns over which one group holds, cut where the group is silent for `silence` ticks."""
    open_runs: dict[frozenset[int], int] = {}
    runs: list[tuple[frozenset[int], int, int]] = []
    for column, here in enumerate([*groups, []]):
        if column and column < len(groups) and groups[column] is groups[column - 1]:
            continue
        now = set(here)
        ended = [g for g in open_runs if g not in now]
        runs.extend((group, open_runs.pop(group), column - 1) for group in ended)
        for group in now:
            open_runs.setdefault(group, column)
    found = [piece for run in runs for piece in _cut(grid, *run, silence)]
    return sorted(found, key=lambda s: (s.first, s.last, sorted(s.parts)))


def attack_columns(grid: Grid, parts: frozenset[int], first: int, last: int) -> NDArray[np.int64]:
    """Columns at which most of the group strikes (both of two, two of three, three of five)."""
    rows = grid.struck[sorted(parts), first : last + 1]
    return np.flatnonzero(rows.sum(axis=0) > len(parts) / 2) + first


def _cut(grid: Grid, parts: frozenset[int], first: int, last: int, silence: int) -> Iterator[Stretch]:
    attacks = attack_columns(grid, parts, first, last)
    if not len(attacks):
        return
    members = sorted(parts)
    ends = grid.ticks[attacks] + np.median(grid.length[members][:, attacks], axis=0)
    gaps = grid.ticks[attacks[1:]] - ends[:-1]
    pieces = np.split(attacks, np.flatnonzero(gaps >= silence) + 1)
    for piece in pieces:
        yield Stretch(parts, int(piece[0]), int(piece[-1]), tuple(piece.tolist()))


def join_figures(grid: Grid, found: list[Stretch], least: int, reach: int) -> list[Stretch]:
    """Short figures of one group (brass punches) become one stretch when they follow within `reach` ticks
    and the group does nothing else between them."""
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
                joined[at] = Stretch(piece.parts, before.first, piece.last, before.attacks + piece.attacks)
                continue
        open_figures[piece.parts] = len(joined)
        joined.append(piece)
    return joined


def close_ends(grid: Grid, found: list[Stretch], pieces: list[Stretch], silence: int) -> list[Stretch]:
    """A last note which every member of a stretch strikes belongs to it, even where one of them lets it go earlier than the
    others and then goes his own way. pieces: all that moves together, short encounters too; silence: ticks that make a
    fresh start."""
    single: dict[int, list[frozenset[int]]] = defaultdict(list)
    for piece in pieces:
        if len(piece.attacks) == 1:
            single[piece.attacks[0]].append(piece.parts)
    return [_closed(grid, stretch, single, silence) for stretch in found]


def _closed(grid: Grid, stretch: Stretch, single: dict[int, list[frozenset[int]]], silence: int) -> Stretch:
    rows = sorted(stretch.parts)
    end = stretch.attacks[-1]
    stops = grid.ticks[end] + int(np.median(grid.length[rows, end]))
    at = end + 1
    while at < len(grid.ticks) and grid.ticks[at] - stops < silence:
        if grid.struck[rows, at].any():
            if grid.struck[rows, at].all() and any(parts < stretch.parts for parts in single.get(at, ())):
                return Stretch(stretch.parts, stretch.first, max(stretch.last, at), (*stretch.attacks, at))
            break
        at += 1
    return stretch
