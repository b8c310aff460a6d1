"""The garbage collector, held still while a chart is worked on."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


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
