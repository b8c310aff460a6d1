"""What was decided, step by step, so that every step can be taken back: today or next week."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from sectionprep.outputs.files import write_file
from sectionprep.review.plan_text import Key, PlanLine
from sectionprep.settings import read_edited
from sectionprep.version import __version__

_LARGEST = 40_000_000  # bytes: a hundred thousand steps; judgement


@dataclass(frozen=True, slots=True)
class LineChange:
    """A line of the plan file before and after; None where there is none of ours."""

    key: Key
    was: PlanLine | None
    now: PlanLine | None

    def back(self) -> LineChange:
        """The same, undone."""
        return LineChange(self.key, self.now, self.was)


@dataclass(frozen=True, slots=True)
class HabitChange:
    """A sentence of the house, there or not."""

    sentence: str
    was: bool
    now: bool

    def back(self) -> HabitChange:
        """The same, undone."""
        return HabitChange(self.sentence, self.now, self.was)


@dataclass(frozen=True, slots=True)
class SettledChange:
    """How a finding is settled; "" for open. says: the finding in words."""

    finding: str
    says: str
    was: str
    now: str

    def back(self) -> SettledChange:
        """The same, undone."""
        return SettledChange(self.finding, self.says, self.now, self.was)


Change = LineChange | HabitChange | SettledChange


@dataclass(frozen=True, slots=True)
class Step:
    """One decision. says: what it was, in plain words; passage: where it was made."""

    says: str
    passage: str
    changes: tuple[Change, ...]


@dataclass(slots=True)
class History:
    """The steps, and how many of them hold now. Kept in a file beside the plan file; a history that
    cannot be read is begun anew, since the plan file alone is the truth."""

    path: Path
    steps: list[Step] = field(default_factory=list)
    at: int = 0

    @property
    def to_undo(self) -> Step | None:
        """The step that undo takes back."""
        return self.steps[self.at - 1] if self.at else None

    @property
    def to_redo(self) -> Step | None:
        """The step that redo takes again."""
        return self.steps[self.at] if self.at < len(self.steps) else None

    def took(self, step: Step) -> None:
        """A new step: those that were undone are gone."""
        self.steps[self.at :] = [step]
        self.at += 1
        self.save()

    def moved(self, by: int) -> None:
        """One back (-1) or on (1)."""
        self.at += by
        self.save()

    def save(self) -> None:
        """Write the file, beside and then renamed. Raises DestinationError."""
        steps = [[s.says, s.passage, [_plain(change) for change in s.changes]] for s in self.steps]
        text = json.dumps(
            {"sectionprep": __version__, "at": self.at, "steps": steps}, ensure_ascii=False
        )
        write_file(self.path, text.encode("utf-8"))


def read_history(path: Path) -> History:
    """The history beside a plan file; an empty one where there is none."""
    if not path.exists():
        return History(path)
    try:
        table = json.loads(read_edited(path, _LARGEST))
        steps = [
            Step(str(says), str(passage), tuple(_change(c) for c in changes))
            for says, passage, changes in table["steps"]
        ]
        at = int(table["at"])
    except (ValueError, KeyError, TypeError, RecursionError):
        return History(path)
    return History(path, steps, at) if 0 <= at <= len(steps) else History(path)


def _plain(change: Change) -> list[Any]:
    if isinstance(change, HabitChange):
        return ["habit", change.sentence, change.was, change.now]
    if isinstance(change, SettledChange):
        return ["settled", change.finding, change.says, change.was, change.now]
    return [
        "line",
        list(change.key),
        change.was and list(change.was),
        change.now and list(change.now),
    ]


def _change(data: list[Any]) -> Change:
    if data[0] == "habit":
        return HabitChange(str(data[1]), bool(data[2]), bool(data[3]))
    if data[0] == "settled":
        return SettledChange(*map(str, data[1:5]))
    lead, place = data[1]
    was, now = (PlanLine(*map(str, side)) if side else None for side in data[2:4])
    return LineChange(Key(str(lead), str(place)), was, now)
