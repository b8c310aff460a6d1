"""Excerpts for the director, engraved in a process of their own: one that cannot be drawn is named
and its page goes without it."""

from __future__ import annotations

from concurrent.futures import Future
from dataclasses import dataclass

from sectionprep.apart import Died
from sectionprep.drawing.engraver.toolkit import EngravingFailed
from sectionprep.drawing.scene.drawing import read_systems
from sectionprep.drawing.scene.ink import System

#: of processor time for one excerpt, seconds; some dozen bars take a tenth of one; judgement
SECONDS = 10.0


@dataclass(frozen=True, slots=True)
class DirectorPages:
    """A PDF, and why music is missing in it, one line each."""

    pdf: bytes
    not_drawn: tuple[str, ...]


def take_drawing(drawing: Future[str], where: str) -> tuple[list[System], dict[str, str]]:
    """The systems of an excerpt and the outlines of their glyphs. Raises EngravingFailed."""
    try:
        return read_systems(drawing.result())
    except Died as why:
        raise EngravingFailed(f"{why}.", where=where, remedy="Look at its bars.") from why
    except EngravingFailed as error:
        raise EngravingFailed(error.what, where=where, remedy=error.remedy) from error
