"""What was changed, where, and why."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

from sectionprep.musicxml.editing.note_text import NoteEdit


class Change(NamedTuple):
    """One line of the change list. was, is: marks before and after, in a player's words. kind:
    "marks", "slur", "dynamic", "hairpin", "cut-off", "words", or "left" for what was not done.
    applied: False for what policy "report" only lists. taken: what was printed and is there no
    more, in words; "" where nothing was taken out."""

    part: int
    tick: int
    kind: str
    was: str
    now: str
    why: str
    passage: str
    applied: bool = True
    address: int = -1
    taken: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Marking:
    """Edits by note address, directions to drop, and the list of changes in order of part and
    time."""

    edits: Mapping[int, NoteEdit]
    dropped: frozenset[int]
    changes: tuple[Change, ...]

    @property
    def written(self) -> tuple[Change, ...]:
        """The changes that were made."""
        return tuple(change for change in self.changes if change.applied)

    @property
    def taken_out(self) -> tuple[Change, ...]:
        """The changes by which something printed was lost, in order of time: a person must see
        every one."""
        return tuple(
            sorted((c for c in self.written if c.taken), key=lambda c: (c.tick, c.part, c.kind))
        )
