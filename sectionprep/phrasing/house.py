"""What a band does as a habit: sentences of a small closed vocabulary, "situation: marks".

A habit speaks of every note in its situation that nobody has printed anything on. It comes after
the rules and before the director's decisions on single notes; of two that fit one note the later
line wins. "no accents" and its like take a mark away instead. A style is a situation, too:
"ballads: no accents".
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from statistics import median

from sectionprep.errors import BadArgument
from sectionprep.music.marks import ATTACKS, BREATHS, ORNAMENTS, SLURS
from sectionprep.phrasing.plan import PassagePlan, PlannedNote, Reading
from sectionprep.phrasing.rules.leap_up import LARGE
from sectionprep.phrasing.view import LineView, Spot


def _lands(view: LineView, spot: Spot) -> bool:
    before = view.prev(spot)
    return before is not None and before.triplet == 3


def _hit(view: LineView, spot: Spot) -> bool:
    return spot.before >= 0.5 and spot.after >= 0.5 and spot.quarters <= 1


#: situations by the name a director writes, narrow ones first
SITUATIONS: dict[str, Callable[[LineView, Spot], bool]] = {
    "last off-beat eighths": lambda view, spot: view.closes(spot),
    "hits": _hit,
    "triplet landings": _lands,
    "off-beat quarters": lambda view, spot: spot.pushed and spot.is_quarter,
    "pushes": lambda view, spot: spot.pushed,
    "restarts": lambda view, spot: (
        spot.off_beat and spot.is_eighth and spot.before >= 0.5 and not spot.last
    ),
    "leaps up": lambda view, spot: not spot.first and spot.rise >= LARGE,
    "off-beat tops": lambda view, spot: spot.is_top and spot.off_beat,
    "on-beat tops": lambda view, spot: spot.is_top and spot.on_beat,
    "held notes": lambda view, spot: spot.is_held,
    "on-beat quarters": lambda view, spot: spot.is_quarter and spot.on_beat,
}
#: styles by the name a director writes
STYLES = {
    "medium swing": "medium-swing",
    "up-tempo swing": "up-tempo",
    "shuffles": "shuffle",
    "ballads": "ballad",
    "bossas": "latin",
    "sambas": "samba",
    "rock": "straight",
    "funk": "funk",
    "older swing": "older-swing",
}
MARKS = {
    "accent": frozenset({"accent"}),
    "rooftop accent": frozenset({"strong-accent"}),
    "tenuto": frozenset({"tenuto"}),
    "staccato": frozenset({"staccato"}),
    "accent + staccato": frozenset({"accent", "staccato"}),
    "ghost": frozenset({"ghost"}),
    "plain": frozenset(),
}
REFUSALS = {
    "no accents": ATTACKS - {"ghost"},
    "no staccatos": frozenset({"staccato", "staccatissimo"}),
    "no tenutos": frozenset({"tenuto"}),
    "no ghosts": frozenset({"ghost"}),
}
_SHORT = frozenset({"strong-accent", "staccato"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Habit:
    """One sentence. situation: a key of SITUATIONS or of STYLES. marks: what such a note carries,
    or None; without: what it does not carry."""

    situation: str
    marks: frozenset[str] | None = None
    without: frozenset[str] = frozenset()

    @property
    def says(self) -> str:
        """The sentence as a director writes it."""
        words = next((w for w, marks in REFUSALS.items() if marks == self.without), "")
        if self.marks is not None:
            words = next(w for w, marks in MARKS.items() if marks == self.marks)
        return f"{self.situation}: {words}"

    def speaks_of(self, view: LineView, spot: Spot) -> bool:
        """The note stands in this situation."""
        if self.situation in STYLES:
            return STYLES[self.situation] == view.style.name
        return SITUATIONS[self.situation](view, spot)


def parse_habit(sentence: str) -> Habit:
    """A sentence as a habit. Raises BadArgument with the list of what can be said."""
    situation, _, words = (" ".join(side.lower().split()) for side in sentence.partition(":"))
    if situation not in SITUATIONS and situation not in STYLES:
        raise BadArgument(
            f"{sentence!r:.80} speaks of no situation I know.",
            remedy=f"Choose one of: {', '.join([*SITUATIONS, *STYLES])}.",
        )
    if words in MARKS:
        return Habit(situation=situation, marks=MARKS[words])
    if words in REFUSALS:
        return Habit(situation=situation, without=REFUSALS[words])
    raise BadArgument(
        f"{sentence!r:.80} asks for no mark I know.",
        remedy=f"Choose one of: {', '.join([*MARKS, *REFUSALS])}.",
    )


def with_habits(
    view: LineView,
    planned: PassagePlan,
    habits: Sequence[Habit],
    printed: Collection[int],
) -> PassagePlan:
    """The plan as the house plays it. printed: ticks of notes on which something is printed, which
    stay as they are. What a habit brings out weighs no less than the line."""
    if not habits:
        return planned
    return replace(planned, notes=_all_as_usual(view, planned.notes, habits, printed))


def habits_in_readings(
    view: LineView,
    notes: Sequence[PlannedNote],
    readings: Sequence[Reading],
    habits: Sequence[Habit],
    printed: Collection[int],
) -> tuple[Reading, ...]:
    """The readings of a line as the house plays them. notes: as planned, with the habits; printed:
    as of `with_habits`."""
    leans = _leans(notes)
    made = []
    for reading in readings:
        played = _all_as_usual(view, reading.notes, habits, printed) if habits else reading.notes
        made.append(replace(reading, notes=played, differs=len(leans ^ _leans(played))))
    return tuple(made)


def _leans(notes: Sequence[PlannedNote]) -> set[int]:
    return {note.tone.onset for note in notes if note.leaned}


def _all_as_usual(
    view: LineView,
    notes: Sequence[PlannedNote],
    habits: Sequence[Habit],
    printed: Collection[int],
) -> tuple[PlannedNote, ...]:
    made = [
        note if note.tone.onset in printed else _as_usual(view, spot, note, habits)
        for spot, note in zip(view.spots, notes, strict=True)
    ]
    middle = median(note.weight for note in notes)
    return tuple(
        new._replace(weight=max(new.weight, middle))
        if new.leaned and not old.leaned and not view.tail(spot)
        else new
        for spot, old, new in zip(view.spots, notes, made, strict=True)
    )


def _as_usual(
    view: LineView, spot: Spot, note: PlannedNote, habits: Sequence[Habit]
) -> PlannedNote:
    beside = note.marks & (SLURS | BREATHS | ORNAMENTS)  # no habit speaks of these
    marks, said = note.marks - beside, ""
    for habit in habits:
        if not habit.speaks_of(view, spot):
            continue
        wanted = marks - habit.without if habit.marks is None else habit.marks
        if wanted != marks:
            marks, said = wanted, habit.says
    if not said or marks == note.marks - beside:
        return note
    length = note.length
    if marks:
        length = "short" if marks & _SHORT else "long"
    return note._replace(
        marks=marks | beside,
        added=(marks | beside) - note.tone.marks,
        why=f"house habit ({said})",
        lost="",
        leaned=bool(marks & (ATTACKS - {"ghost"})) or (view.style.soft != "none" and bool(marks)),
        length=note.length if marks == {"ghost"} else length,
        tongued=note.tongued or bool(marks & ATTACKS),
    )
