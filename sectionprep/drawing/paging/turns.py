"""Page turns: which pages lie open together, and what there is to turn in."""

from __future__ import annotations

from dataclasses import dataclass, replace

TURN_SECONDS = 2.5  # a turn needs about this long; judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class Jump:
    """Where the road map goes on elsewhere. leaves, to: the bar (or line) at whose end it leaves,
    and the one at whose beginning it goes on; seconds: of rest around it, or of plain time
    (in_time); name: what a player calls it."""

    leaves: int
    to: int
    seconds: float
    name: str
    in_time: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Turn:
    """A page turn: after which page of music, and the seconds of rest there, or of plain time
    (in_time). to, name: of a jump that goes on at a page which does not lie open."""

    page: int
    seconds: float
    to: int = 0
    name: str = ""
    in_time: bool = False

    @property
    def possible(self) -> bool:
        """Long enough to turn in."""
        return self.seconds >= TURN_SECONDS

    @property
    def how(self) -> str:
        """In a player's words: "turn", "turn in time", "turn quickly"."""
        if not self.possible:
            return "turn quickly"
        return "turn in time" if self.in_time else "turn"

    @property
    def free(self) -> str:
        """What there is to turn in: "4 s rest", "4 s without a figure"."""
        return f"{self.seconds:.0f} s {'without a figure' if self.in_time else 'rest'}"

    def behind(self, pages: int) -> Turn:
        """The same where so many pages come before the music."""
        return replace(self, page=self.page + pages, to=self.to and self.to + pages)

    @property
    def where(self) -> str:
        """In a player's words: "after page 1", "D.S. al Coda, from page 3 to page 1"."""
        return (
            f"{self.name}, from page {self.page} to page {self.to}"
            if self.to
            else (f"after page {self.page}")
        )


def is_turn(page: int, pages: int, cover: bool = False) -> bool:
    """Pages are printed on both sides, odd ones on the right: turn after each odd page. One and two
    pages lie side by side and are never turned. cover: a title page comes first, so that the music
    begins on a left page."""
    return pages > 2 and (page + cover) % 2 == 1 and page < pages


def lie_open(page: int, other: int, pages: int, cover: bool = False) -> bool:
    """Two pages that are seen at once, on the terms of `is_turn`."""
    if pages <= 2:
        return True
    return (page + cover) // 2 == (other + cover) // 2


_IN_TIME = 0.5  # price of a turn with one hand, dearer than one in a rest; judgement


def turn_cost(seconds: float, in_time: bool = False) -> float:
    """Price of a turn with this much rest, or so much plain time."""
    if seconds >= TURN_SECONDS:
        return _IN_TIME * in_time
    return 9.0 * (1 - seconds / TURN_SECONDS) + 1.0
