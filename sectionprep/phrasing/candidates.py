"""What a rule may say about a line."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import NamedTuple

from sectionprep.phrasing.view import LineView


class Candidate(NamedTuple):
    """One opinion of one rule about one note.

    weight: how much heavier (or lighter) the note is, in decibels of players' loudness where the
    rule has data, else by judgement on the same scale. lean: evidence for printing a mark that
    brings the note out, on the chooser's scale, where about 1 is enough. marks: how, if it is
    brought out. length: "short" or "long" when the rule speaks of note length, "joined" when the
    note must not be clipped though nothing is printed; habit: it is the length that the style gives
    such a note anyway, so that no mark is needed. slurred: the note is not tongued. stop: quarters
    after its onset at which a held note stops, 0 where the rule does not speak of it; release: who
    stops it, "tongue" or "breath". because: the reason in a musician's words.
    """

    spot: int
    because: str
    weight: float = 0.0
    lean: float = 0.0
    marks: tuple[str, ...] = ()
    length: str = ""
    habit: bool = False
    slurred: bool = False
    stop: float = 0.0
    release: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Span:
    """A proposal over several notes: a slur from first to last, or a hairpin."""

    first: int
    last: int
    kind: str
    because: str


def _silent(view: LineView) -> Iterable[Candidate | Span]:
    return ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """A rule of phrasing. source: who says so, or "common practice, no source". limits: where it is
    silent.

    propose speaks before anything is chosen; settle, for the few rules that answer to chosen leans,
    after it: it is given the indices of the notes that are brought out.
    """

    name: str
    says: str
    source: str
    limits: str
    propose: Callable[[LineView], Iterable[Candidate | Span]] = _silent
    settle: Callable[[LineView, frozenset[int]], Iterable[Candidate]] | None = None
