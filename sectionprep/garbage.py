"""Memory: the collector held still while a chart is worked on, and what is free given back."""

from __future__ import annotations

import ctypes
import gc
from collections.abc import Iterator
from contextlib import contextmanager, suppress


@contextmanager
def collector_at_rest() -> Iterator[None]:
    """A chart is some hundred thousand small objects almost without cycles; a collector that walks
    them again and again takes a fifth of the time. What is alive at the end counts as old, so that
    it is not walked on the way out either."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.freeze()
            gc.unfreeze()
            gc.enable()


def give_back() -> None:
    """Hand memory that nothing holds any more to the system, where its C library keeps it: small
    pieces of a tree that is gone are of no use to Python, which takes its memory elsewhere."""
    with suppress(AttributeError, OSError, TypeError):  # other C libraries have no such call
        ctypes.CDLL(None).malloc_trim(0)
