"""The engraver itself: one a process, silent, with the options that are ours, given nothing that it
could not survive."""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

from sectionprep.drawing.text import fonts
from sectionprep.errors import SectionprepError

#: tenths of a millimetre: one page tall enough for any part
TALL = 60000
#: one line, as wide as it will
ENDLESS = {"breaks": "none", "noJustification": True, "pageWidth": 100000, "pageHeight": 3000}
#: equal seeds on both loads give equal ids, which nest systems
FIRST_SEED, SECOND_SEED = 1, 2000003
#: notes in a bar: ten full lines of the widest paper, more than any cadenza; judgement
_MOST_NOTES = 600
_MOST_ELEMENTS = 10_000  # in a bar: all that those many notes can carry; judgement
#: a bar of so many notes is a cadenza, and how long all cadenzas of a part may take, in squares of
#: notes: six of 350, some seven seconds with a second drawing; judgements
_CADENZA, _MOST_CADENZAS = 200, 800_000


class EngravingFailed(SectionprepError):
    """The engraver could not draw the part."""


def load(score: str, options: dict[str, Any], where: str, said: Callable[[], list[str]]) -> None:
    """Give the engraver a score. said: what it says meanwhile, of `quiet`. Raises
    EngravingFailed."""
    _refuse_endless_bars(score, where)
    drawer = toolkit()
    drawer.resetOptions()
    drawer.setOptions(options)
    if not drawer.loadData(score):
        raise EngravingFailed(
            "it cannot be drawn.", where=where, remedy="; ".join(said()) or "Check the score."
        )


def _refuse_endless_bars(score: str, where: str) -> None:
    """A bar cannot be divided, and the engraver's time grows with the square of its notes (1,000:
    six seconds, 5,000: minutes), so it is counted before it is begun; so are all its signs, since
    thousands at one place take as long, and all long bars together."""
    bars = score.split("<measure ")[1:]
    for bar in bars:
        for count, most, what in (
            (bar.count("<note"), _MOST_NOTES, "notes"),
            (bar.count("</") + bar.count("/>"), _MOST_ELEMENTS, "XML elements"),
        ):
            if count > most:
                number = re.search(r'number="([^"]*)"', bar)
                raise EngravingFailed(
                    f"bar {number[1] if number else '?'} holds {count:,} {what}; up to {most:,} in"
                    " a bar can be engraved.",
                    where=where,
                    remedy="Divide that bar in the score.",
                )
    cadenzas = [count for bar in bars if (count := bar.count("<note")) >= _CADENZA]
    if sum(count**2 for count in cadenzas) > _MOST_CADENZAS:
        raise EngravingFailed(
            f"{len(cadenzas)} of its bars hold {_CADENZA} notes or more, {sum(cadenzas):,} in all;"
            " that is more than can be engraved.",
            where=where,
            remedy="Divide those bars in the score.",
        )


def common(staff_mm: float) -> dict[str, Any]:
    """The options of all that is drawn."""
    return {
        "unit": staff_mm / 0.8,
        "header": "none",
        "footer": "none",
        "spacingSystem": 4,
        "multiRestStyle": "block",
        "mnumInterval": 0,
        "svgViewBox": True,
        "svgFormatRaw": True,
        "smuflTextFont": "none",
        "condense": "none",
        "expandNever": True,
        "outputFormatRaw": True,
        "font": "Leipzig",
        "pageMarginTop": 0,
        "pageMarginBottom": 0,
        "pageMarginLeft": 0,
        "pageMarginRight": 0,
        "spacingLinear": 0.25,
        "spacingNonLinear": 0.6,
    }


def get_ready() -> None:
    """Make what every drawing needs: processes that are forked afterwards have it at once."""
    fonts.register()
    fonts.glyph_boxes()
    toolkit()


@cache
def toolkit() -> Any:
    """One engraver a process; whoever uses it resets its options first, because they stick. It is
    told where its data lie: its own default holds only in the thread that has imported it first."""
    import verovio

    verovio.setDefaultResourcePath(str(Path(verovio.__file__).parent / "data"))
    return verovio.toolkit()


@contextmanager
def quiet() -> Iterator[Any]:
    """The engraver talks to file descriptor 2; keep what it says instead of showing it."""
    spool = _spool(os.getpid())
    os.ftruncate(spool, 0)
    os.lseek(spool, 0, os.SEEK_SET)
    saved = os.dup(2)
    os.dup2(spool, 2)

    def said() -> list[str]:
        os.lseek(spool, 0, os.SEEK_SET)
        lines = os.read(spool, 100_000).decode("utf-8", "replace").splitlines()
        return [line for line in lines if line.strip()][:3]

    try:
        yield said
    finally:
        os.dup2(saved, 2)
        os.close(saved)


@cache
def _spool(_process: int) -> int:
    """Descriptor of a nameless file for what the engraver says; a process that was forked has one
    of its own."""
    with tempfile.TemporaryFile() as file:
        return os.dup(file.fileno())
