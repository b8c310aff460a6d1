"""The value in force at a place: a key, a clef, a transposition, a dynamic, a chord, a mute. Each
holds from where it is written until the next one."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence
from typing import TypeVar

V = TypeVar("V")
W = TypeVar("W")


def index_in_force(written: Sequence[V], place: float, key: Callable[[V], float]) -> int:
    """The index of the last thing written at or before a place, -1 before the first. written: in
    order of place; place: a tick or a bar; key: the place of a thing."""
    return bisect_right(written, place, key=key) - 1


def in_force(changes: Sequence[tuple[int, V]], place: float, *, before: W) -> V | W:
    """The value in force at a place. changes: (place, value) in order; before: what holds before
    the first."""
    at = index_in_force(changes, place, _place)
    return changes[at][1] if at >= 0 else before


def _place(change: tuple[int, object]) -> int:
    return change[0]
