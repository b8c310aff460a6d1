"""What was rehearsed when: ticks, ratings and notes of all evenings of a folder, in one file.

The workbook of an evening is the truth about its day; the file remembers days whose workbook is
gone. It is a memory and no more: whatever is wrong with it is said, and the evening is made of the
workbooks alone. Written in one transaction, so a run that is killed leaves the old state, and of
two runs at once one waits for the other.
"""

from __future__ import annotations

import math
import os
import sqlite3
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass
from datetime import date
from pathlib import Path

FILE = "rehearsed.sqlite"
_WAIT = 10.0  # seconds for another run to finish its few milliseconds of writing; judgement
_OURS, _VERSION = 0x53507265, 1  # application_id and user_version of the file
_TABLE = (
    "CREATE TABLE IF NOT EXISTS rehearsed (day TEXT, line TEXT, chart TEXT, what TEXT, bars TEXT,"
    " done INTEGER, rating INTEGER, note TEXT, PRIMARY KEY (day, line))"
)
_FADES = 28.0  # days after which half is left of what a rehearsal has won; judgement
#: how much need is left of a place that was rated 1 (not yet) to 5 (ready); judgements
_LEFT = {1: 1.4, 2: 1.15, 3: 0.8, 4: 0.4, 5: 0.1}
_TAKEN = 0.8  # and of one that was taken, and not rated


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """What was typed beside one line of an evening. line: the chart's file and the line's key in
    its workbook, "chart|key"; chart, what, bars: as the evening said them; rating: 1 to 5, 0 for
    none."""

    day: date
    line: str
    chart: str = ""
    what: str = ""
    bars: str = ""
    done: bool = False
    rating: int = 0
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """What is known of a line. times: days on which it was taken or rated, the last of them `last`;
    rating: the latest, 0 for none, given `age` days ago (the last day where there is none)."""

    times: int
    last: date
    rating: int
    age: int

    @property
    def left(self) -> float:
        """By what its need is multiplied today: what was won fades."""
        return faded(_LEFT.get(self.rating, _TAKEN), self.age)

    @property
    def told(self) -> str:
        """In words, for the reason of a line."""
        day = f"{self.last.day} {self.last:%B %Y}"
        return f"rated {self.rating} last time ({day})" if self.rating else f"taken on {day}"


def faded(left: float, days: int) -> float:
    """What is left of a need some days later: half the way back to all of it in four weeks."""
    return 1.0 + (left - 1.0) * math.pow(0.5, max(days, 0) / _FADES)


def left_of(rating: int) -> float:
    """What is left of a need by a rating without a date; 1.0 for none."""
    return _LEFT.get(rating, 1.0)


def pasts(lines: Iterable[Entry], today: date) -> dict[str, Past]:
    """What is known of each line, from lines in order of their days."""
    found: dict[str, Past] = {}
    for line in lines:
        if not (line.done or line.rating):
            continue
        before = found.get(line.line)
        rating, since = line.rating, (today - line.day).days
        if not rating and before is not None and before.rating:
            rating, since = before.rating, before.age
        times = before.times + 1 if before is not None else 1
        found[line.line] = Past(times=times, last=line.day, rating=rating, age=since)
    return found


def remembered(
    folder: Path, typed: Mapping[date, Sequence[Entry]], say: Callable[[str], None]
) -> tuple[Entry, ...]:
    """Take what was typed on some days into the memory of a folder, in place of what it knew of
    these days, and return all that it knows by day. say: is told what is wrong with the file;
    then only what was typed comes back."""
    path = folder / FILE
    here = tuple(line for day in sorted(typed) for line in typed[day])
    if not (here or os.path.lexists(path)):
        return ()
    if os.path.lexists(path) and not path.is_file():
        say(f"{path} is no ordinary file: only evenings whose workbooks are here count.")
        return here
    for _ in range(2):
        which = _identity(path)
        try:
            return _taken_in(path, typed)
        except sqlite3.OperationalError as error:
            say(f"{path} cannot be used ({error}): only evenings whose workbooks are here count.")
            return here
        except sqlite3.DatabaseError as error:
            mended = _identity(path) != which  # by another run
            if not mended and not _set_aside(path, str(error), say):
                return here
        except _NotOurs as error:
            say(f"{path} {error}: it is left alone; only evenings whose workbooks are here count.")
            return here
    return here


class _NotOurs(Exception):
    """A database that we have no business in."""


def _taken_in(path: Path, typed: Mapping[date, Sequence[Entry]]) -> tuple[Entry, ...]:
    with closing(sqlite3.connect(path, timeout=_WAIT, isolation_level=None)) as memory:
        memory.text_factory = lambda data: data.decode("utf-8", "replace")
        memory.execute("BEGIN IMMEDIATE")
        try:
            _refuse_others(memory)
            memory.execute(_TABLE)
            memory.execute(f"PRAGMA application_id = {_OURS}")
            memory.execute(f"PRAGMA user_version = {_VERSION}")
            known = _read(memory)
            for day, lines in typed.items():
                _put(memory, day, lines, {line.line: line for line in known if line.day == day})
            found = _read(memory)
            memory.execute("COMMIT")
        except BaseException:
            if memory.in_transaction:
                memory.execute("ROLLBACK")
            raise
        return found


def _refuse_others(memory: sqlite3.Connection) -> None:
    (owner,) = memory.execute("PRAGMA application_id").fetchone()
    (version,) = memory.execute("PRAGMA user_version").fetchone()
    (tables,) = memory.execute("SELECT count(*) FROM sqlite_master").fetchone()
    if tables and owner != _OURS:
        raise _NotOurs("is another program's")
    if owner == _OURS and version > _VERSION:
        raise _NotOurs("was written by a newer version")


def _put(
    memory: sqlite3.Connection, day: date, lines: Sequence[Entry], known: Mapping[str, Entry]
) -> None:
    """One day anew. A line of which only the typing was kept has its words from before."""
    memory.execute("DELETE FROM rehearsed WHERE day = ?", (day.isoformat(),))
    rows = []
    for line in lines:
        told = line if line.what else known.get(line.line, line)
        words = (day.isoformat(), line.line, told.chart, told.what, told.bars)
        rows.append((*words, int(line.done), line.rating, line.note))
    memory.executemany("INSERT OR REPLACE INTO rehearsed VALUES (?, ?, ?, ?, ?, ?, ?, ?)", rows)


def _read(memory: sqlite3.Connection) -> tuple[Entry, ...]:
    """All lines that make sense, by day."""
    found = []
    for day, line, chart, what, bars, done, rating, note in memory.execute(
        "SELECT day, line, chart, what, bars, done, rating, note FROM rehearsed ORDER BY day, rowid"
    ):
        try:
            when = date.fromisoformat(str(day))
        except ValueError:
            continue
        found.append(
            Entry(
                day=when,
                line=str(line),
                chart=str(chart or ""),
                what=str(what or ""),
                bars=str(bars or ""),
                done=bool(done),
                rating=rating if rating in _LEFT else 0,
                note=str(note or ""),
            )
        )
    return tuple(found)


def _identity(path: Path) -> tuple[int, int] | None:
    try:
        stat = path.stat()
    except OSError:
        return None
    return stat.st_dev, stat.st_ino


def _set_aside(path: Path, why: str, say: Callable[[str], None]) -> bool:
    """Give a broken file another name, so that a new one can be begun."""
    aside, n = path.with_suffix(".broken.sqlite"), 1
    while os.path.lexists(aside):
        n += 1
        aside = path.with_suffix(f".broken{n}.sqlite")
    try:
        os.replace(path, aside)
    except OSError as error:
        say(f"{path} is broken ({why}) and cannot be renamed ({error.strerror}): it is not used.")
        return False
    say(
        f"{path} was broken ({why}). It is kept as {aside.name}; a new one is begun with what was "
        "typed into the workbooks that are here."
    )
    return True
