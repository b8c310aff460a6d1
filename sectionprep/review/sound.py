"""A passage to listen to: what can be asked for, and what was made, kept while nothing changes."""

from __future__ import annotations

import threading
from collections import OrderedDict
from dataclasses import dataclass
from typing import TYPE_CHECKING

from sectionprep.phrasing import PassagePlan

if TYPE_CHECKING:
    from sectionprep.review.session import Review

SLOWEST, FASTEST = 60, 110  # percent of the chart's tempo
FLAT, SHAPED = "flat", "shaped"
_KEPT = 48_000_000  # bytes of sound that are kept; judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class Take:
    """What is to be heard. stretch: which part of a long passage; how: "flat", "shaped" or the
    name of a reading; whole: all parts, not the lead alone; tempo: percent of the chart's; click:
    one on every beat."""

    passage: str
    stretch: int = 0
    how: str = SHAPED
    whole: bool = False
    tempo: int = 100
    click: bool = False


class Sounds:
    """The sounds of one chart."""

    def __init__(self, review: Review) -> None:
        self._review = review
        self._lock = threading.Lock()
        self._known: OrderedDict[Take, tuple[PassagePlan, bytes]] = OrderedDict()

    def wav(self, take: Take) -> bytes:
        """The sound as a WAV file. Raises KeyError for a reading that there is not."""
        # heavy: not before somebody listens
        from sectionprep.outputs.audition.soundfiles import wav
        from sectionprep.review.played import sound_of

        planned = self._review.planned(take.passage)
        with self._lock:
            known = self._known.get(take)
            if known is not None and known[0] == planned:
                self._known.move_to_end(take)
                return known[1]
        made = wav(sound_of(self._review, planned, take))
        with self._lock:
            self._known[take] = (planned, made)
            while len(self._known) > 1 and sum(len(s) for _, s in self._known.values()) > _KEPT:
                self._known.popitem(last=False)
        return made


def ways(review: Review, name: str) -> list[str]:
    """How a passage can be heard."""
    by_rules = review.rules.of(name)
    readings = [r.name for r in by_rules.readings if r.differs] if by_rules else []
    return [FLAT, SHAPED, *readings]
