"""What is known about the notes of a line while its plan is made, and the marks one note would
get."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from sectionprep.music.marks import ATTACKS, LENGTHS, SLURS, contradict
from sectionprep.music.notes import Tone
from sectionprep.phrasing.candidates import Candidate, Span
from sectionprep.phrasing.styles import Style
from sectionprep.phrasing.view import LineView, Spot

#: the kinds of mark that rules write: one that is printed may be ours
WRITTEN_BY_RULES = frozenset({"accent", "strong-accent", "tenuto", "staccato", "ghost"})
_GHOST_SHARE = 0.75  # of the density: how much evidence a ghost needs; judgement


@dataclass(slots=True)
class Draft:
    """What is known about one note while the plan is made. soft: it is leaned on without a hard
    front. pooled: its evidence, averaged over all places where the same figure stands; elsewhere:
    the first other bar where it stands too and is brought out; agreed, agreed_length: how it is
    brought out, and how long it is, at all of them."""

    spot: Spot
    said: list[Candidate] = field(default_factory=list)
    printed: frozenset[str] = frozenset()
    borrowed: bool = False
    soft: bool = False
    pooled: float = 0.0
    elsewhere: str = ""
    agreed: tuple[str, ...] = ()
    agreed_length: str = ""


@dataclass(slots=True)
class Work:
    """One line on the desk. section: the tones of every part that plays it, by onset."""

    name: str
    part: int
    view: LineView
    drafts: list[Draft]
    spans: list[Span]
    section: Sequence[Mapping[int, Tone]] = ()


def evidence_of(draft: Draft) -> float:
    """The strongest opinion counts whole, further ones half, opinions against it whole."""
    positive = sorted(
        (c.lean for c in draft.said if c.lean > 0 and c.marks != ("ghost",)), reverse=True
    )
    total = (positive[0] + 0.5 * sum(positive[1:])) if positive else 0.0
    return total + sum(c.lean for c in draft.said if c.lean < 0)


def length_of(draft: Draft) -> Candidate | None:
    """The strongest opinion on how long the note is."""
    speaking = [c for c in draft.said if c.length and draft.agreed_length in ("", c.length)]
    return max(speaking, key=lambda c: c.lean) if speaking else None


def lean_marks(draft: Draft) -> tuple[str, ...]:
    """How the note would be brought out: where the style is soft with a tenuto, else with the short
    or the long accent."""
    if draft.agreed:
        return draft.agreed
    proposals = [c for c in draft.said if c.marks and c.lean > 0 and c.marks != ("ghost",)]
    strongest = max(proposals, key=lambda c: c.lean).marks if proposals else ()
    if draft.soft:
        return ("accent",) if strongest == ("strong-accent",) else ("tenuto",)
    return ("strong-accent",) if _is_short(draft) else ("accent",)


def _is_short(draft: Draft) -> bool:
    """Short and free of its neighbour: a quarter on the beat is, and an eighth among sixteenths,
    any other eighth only before a rest (else a rooftop would tear the line)."""
    length = length_of(draft)
    spot = draft.spot
    free = spot.is_quarter or (spot.fine and spot.length >= 1) or spot.after >= 0.5 or spot.last
    return free and length is not None and length.length == "short"


def marks_of(
    draft: Draft, density: float, *, leaned: bool, printed: frozenset[str]
) -> tuple[frozenset[str], list[str]]:
    """The marks (slurs apart; an accent means full value and stands without a tenuto) of a note
    that carries `printed` and is brought out or not, and the reasons of the new ones."""
    marks = set(printed - SLURS)
    reasons: list[str] = []
    if leaned and not marks & ATTACKS:
        marks |= {m for m in lean_marks(draft) if not any(contradict(m, other) for other in marks)}
        reasons += [
            c.because
            for c in sorted(draft.said, key=lambda c: -c.lean)
            if c.lean >= 0.25 and c.marks
        ][:2]
    ghost = max(
        (c for c in draft.said if c.marks == ("ghost",)), key=lambda c: c.lean, default=None
    )
    if ghost and not leaned and not marks and ghost.lean >= _GHOST_SHARE * density:
        marks.add("ghost")
        reasons.append(ghost.because)
    length = length_of(draft)
    speaks = (
        length is not None
        and length.length != "joined"
        and not length.habit
        and draft.spot.is_quarter
    )
    if (
        length is not None
        and speaks
        and not printed & ATTACKS
        and not marks & (LENGTHS | {"strong-accent", "ghost"})
    ):
        mark = "tenuto" if length.length == "long" else "staccato"
        if "accent" not in marks and not any(contradict(mark, other) for other in marks):
            marks.add(mark)
            reasons.append(length.because)
    return frozenset(marks), reasons


_SHORT = frozenset({"strong-accent", "staccato", "staccatissimo", "spiccato"})
_LONG = frozenset({"accent", "tenuto", "soft-accent"})


def played_length(draft: Draft, marks: frozenset[str], style: Style) -> str:
    """ "short" or "long": how a player holds the note who reads these marks and knows the style."""
    spot = draft.spot
    if marks & _SHORT:
        return "short"
    if marks & _LONG or spot.slur in ("first", "inside"):
        return "long"
    length = length_of(draft)
    if length is not None:
        return "short" if length.length == "short" else "long"
    quarter = style.short_quarters and spot.is_quarter and spot.on_beat
    before_rest = style.cutoffs != "none" and spot.quarters <= 0.5 and spot.after >= 0.5
    return "short" if quarter or before_rest else "long"
