"""The plan file on the desk: read when it changes, written whole on every decision, with every step
to be taken back.

Whoever decides says which version of the plan was seen. If the same note was decided since, in
another window or in the file itself, nothing is written and the person is asked.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterable
from pathlib import Path

from sectionprep.errors import SectionprepError
from sectionprep.music.timing import say_beat
from sectionprep.outputs.files import write_file
from sectionprep.outputs.settled import Settled, read_settled, settled_beside, write_settled
from sectionprep.phrasing.deciding import Decision
from sectionprep.phrasing.plan_file import PlanFile, read_plan, was_edited
from sectionprep.phrasing.wishes import Wish
from sectionprep.review.history import (
    Change,
    HabitChange,
    LineChange,
    SettledChange,
    Step,
    read_history,
)
from sectionprep.review.plan_text import Key, PlanLine, PlanText, split


class Asked(Exception):
    """Something that only the director can settle; says it as a question."""


class PlanDesk:
    """One plan file. version: counts its changes, from a number that no earlier run has reached, so
    that a window left open since then is behind; trouble: why it cannot be read at the moment, in
    plain words, "" where it can; news: what was changed from outside.

    source: the chart, which is never written over. greeting: how a new file begins. named: the
    director named it; else a file there that is as `prepare` wrote it is our own proposal, no
    decision, and gives way to the first."""

    def __init__(self, path: Path, source: Path, *, greeting: str, named: bool) -> None:
        self.path, self._source, self._greeting = path, source, greeting
        self.version, self.trouble, self.news = 0, "", ""
        self.text, self.settled = PlanText(), PlanFile()
        self.history = read_history(path.with_name(f"{path.stem}.history.json"))
        self._settled_path = settled_beside(path)
        self.findings = read_settled(self._settled_path)
        self._stamp: tuple[int, ...] = ()
        self._bytes = b""
        self._touched: dict[Key | str, int] = {}
        self._named = named
        if path.exists():
            self._read()  # a plan that cannot be used is said before anything
            self.refresh()
        self.version, self.news = int(time.time()), ""
        self._touched.clear()

    def refresh(self) -> bool:
        """Look whether the file was changed from outside. True where the plan is another now."""
        stamp = _stamp(self.path)
        if stamp == self._stamp:
            return False
        self._stamp = stamp
        data = self.path.read_bytes() if stamp else b""
        if data == self._bytes and not self.trouble:
            return False
        try:
            text, settled = self._read() if stamp else (PlanText(), PlanFile())
        except (SectionprepError, ValueError) as error:
            self.trouble = str(error)
            self.version += 1
            return False
        same = text == self.text and not self.trouble
        self._bytes, self.trouble = data, ""
        if same:
            return False
        self._changed(text, settled)
        self.news = f"{self.path.name} was changed from outside; the page shows it as it is now."
        return True

    def _read(self) -> tuple[PlanText, PlanFile]:
        """What the file says. Raises UnusableSettings, ValueError."""
        settled = read_plan(self.path)
        text = self.path.read_text(encoding="utf-8")
        if not self._named and not was_edited(text):
            return PlanText(), PlanFile()
        return split(text), settled

    def _changed(self, text: PlanText, settled: PlanFile) -> None:
        self.version += 1
        old, new = _words(self.settled), _words(settled)
        for key in old.keys() | new.keys():
            if old.get(key) != new.get(key):
                self._touched[key] = self.version
        for sentence in set(text.habits) ^ set(self.text.habits):
            self._touched[sentence] = self.version
        self.text, self.settled = text, settled

    def decide(self, step: Step, seen: int, *, insist: bool = False) -> bool:
        """Take a step. seen: the version that the director looked at; insist: whatever was decided
        since. False where nothing would change. Raises Asked, DestinationError."""
        real = tuple(c for c in step.changes if c.was != c.now)
        if not real:
            return False
        self._ask(real, seen, insist)
        self._write(real)
        self.history.took(Step(step.says, step.passage, real))
        return True

    def undo(self, *, insist: bool = False) -> Step | None:
        """Take the last step back. None where there is none. Raises Asked."""
        step = self.history.to_undo
        if step is not None:
            self._again([c.back() for c in reversed(step.changes)], insist)
            self.history.moved(-1)
        return step

    def redo(self, *, insist: bool = False) -> Step | None:
        """Take a step again that was taken back. None where there is none. Raises Asked."""
        step = self.history.to_redo
        if step is not None:
            self._again(step.changes, insist)
            self.history.moved(1)
        return step

    def line(self, key: Key) -> PlanLine | None:
        """Our line for a note."""
        return self.text.lines.get(key)

    def speaks_itself(self, key: Key) -> bool:
        """True where the director's own part of the file has a line for the note."""
        lines = sum(_key(decision) == key for decision in self.settled.decisions)
        return lines > (key in self.text.lines)

    def _ask(self, changes: Iterable[Change], seen: int, insist: bool) -> None:
        self._need_a_readable_file()
        if insist:
            return
        for change in changes:
            if self._touched.get(_name(change), 0) > seen:
                raise Asked(f"{_said(change)} was decided since you looked. {self._now(change)}")

    def _again(self, changes: Iterable[Change], insist: bool) -> None:
        changes = tuple(changes)
        self._need_a_readable_file()
        for change in changes:
            if not insist and self._holds(change) != change.was:
                raise Asked(f"{_said(change)} is not as that step left it. {self._now(change)}")
        self._write(changes)

    def _need_a_readable_file(self) -> None:
        if self.trouble:
            raise Asked(
                f"Nothing can be decided while the plan file cannot be read: {self.trouble}"
            )

    def _holds(self, change: Change) -> object:
        if isinstance(change, HabitChange):
            return change.sentence in self.text.habits
        if isinstance(change, SettledChange):
            return self.findings.get(change.finding, Settled("", "")).way
        return self.line(change.key)

    def _now(self, change: Change) -> str:
        if not isinstance(change, LineChange):
            return ""
        line = self.line(change.key)
        words = line.text.split("|")[2].strip() if line is not None and "|" in line.text else ""
        return f"The plan file says now: {words or 'nothing; the rules decide'}."

    def _write(self, changes: Iterable[Change]) -> None:
        changes = tuple(changes)
        settled = [change for change in changes if isinstance(change, SettledChange)]
        if settled:
            self._settle(settled)
        if len(settled) < len(changes):
            self._write_plan(change for change in changes if not isinstance(change, SettledChange))

    def _settle(self, changes: Iterable[SettledChange]) -> None:
        findings = dict(self.findings)
        for change in changes:
            findings.pop(change.finding, None)
            if change.now:
                findings[change.finding] = Settled(change.now, change.says)
        write_settled(self._settled_path, findings)
        self.version += 1
        self.findings = findings
        self._touched.update((change.finding, self.version) for change in changes)

    def _write_plan(self, changes: Iterable[LineChange | HabitChange]) -> None:
        text = self.text
        if not text.head and not text.lines:
            text = PlanText(head=self._greeting)
        for change in changes:
            if isinstance(change, HabitChange):
                text = text.with_habit(change.sentence, change.now)
            else:
                text = text.with_line(change.key, change.now)
        before, data = self._bytes, text.text().encode("utf-8")
        write_file(self.path, data, reads=[self._source])
        try:
            settled = read_plan(self.path)
        except SectionprepError:
            write_file(self.path, before, reads=[self._source])
            self._stamp = _stamp(self.path)
            raise
        self._bytes, self._stamp = data, _stamp(self.path)
        self._changed(text, settled)


def _stamp(path: Path) -> tuple[int, ...]:
    try:
        found = os.stat(path)
    except OSError:
        return ()
    return found.st_mtime_ns, found.st_size, found.st_ino


def _words(settled: PlanFile) -> dict[Key, Decision]:
    """What holds for each place: its last line."""
    return {_key(decision): decision for decision in settled.decisions}


def _key(decision: Decision) -> Key:
    about = f" {decision.about}" if isinstance(decision, Wish) else ""
    return Key(decision.part, f"{decision.bar} {say_beat(decision.beat)}{about}")


def _name(change: Change) -> Key | str:
    """Of what a change speaks."""
    if isinstance(change, LineChange):
        return change.key
    return change.sentence if isinstance(change, HabitChange) else change.finding


def _said(change: Change) -> str:
    if isinstance(change, HabitChange):
        return f'The habit "{change.sentence}"'
    if isinstance(change, SettledChange):
        return "This finding"
    bar, _, beat = change.key.place.partition(" ")
    return f"Bar {bar}, beat {beat}"
