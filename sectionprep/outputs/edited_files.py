"""Files of ours that a person has typed into: never written over, and what is not applied from them
is said."""

from __future__ import annotations

import itertools
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from sectionprep.errors import DestinationError, UnusableSettings
from sectionprep.outputs.files import is_one, refuse_input, unless_forced, write_file
from sectionprep.phrasing.plan_file import was_edited

if TYPE_CHECKING:
    from sectionprep.outputs.workbook.read import Typed


def is_edited_plan(path: Path) -> bool:
    """True where a plan stands that is not as we wrote it."""
    return path.is_file() and was_edited(path.read_text(encoding="utf-8", errors="replace"))


def replace_plan(
    out: Path, text: str, reads: Iterable[Path], *, force: bool, say: Callable[[str], None]
) -> None:
    """Write a plan file where none stands, or one that is as we wrote it. reads: what the command
    reads; say: is told what was replaced by force. Raises DestinationError."""
    refuse_input(out, reads)
    with unless_forced(force, say):
        if is_edited_plan(out):
            raise DestinationError(
                "is not as this program wrote it, or another's.",
                where=str(out),
                remedy="Choose another name with -o, or replace it with --force.",
            )
    write_file(out, text.encode("utf-8"))


def _names(path: Path) -> Iterator[Path]:
    """A place, and others beside it for what must not go there."""
    yield path
    for n in itertools.count(1):
        yield path.with_name(f"{path.stem}_new{n if n > 1 else ''}{path.suffix}")


def plan_place(path: Path, applied: Path | None) -> tuple[str, list[str]]:
    """Name for the plan to write beside others at `path` ("" for none), and what to say. applied:
    the plan that this run used; it stays as it is."""
    if applied is not None and is_one(path, applied):
        return "", []
    if not is_edited_plan(path):
        return path.name, []
    fresh = next(place.name for place in _names(path) if not is_edited_plan(place))
    return fresh, [
        f"{path} was edited by hand: it is kept as it is and was not applied; the plan of "
        f"this run is {fresh}. "
        "Apply yours with --plan.",
    ]


def workbook_place(
    path: Path, decisions: Path | None, title: str
) -> tuple[str, Typed | None, list[str]]:
    """Name for the workbook to write beside others at `path`, what was typed before and goes into
    it, and what to say. decisions: the workbook to take from; by default the one at `path`. One
    there that cannot be used, or is another chart's, is kept. Raises UnusableSettings where that
    is the one that was asked for."""
    said: list[str] = []
    for place in _names(path):
        try:
            typed = typed_before(place, decisions, title)
        except (UnusableSettings, DestinationError) as error:
            if decisions is not None and not place.exists():
                raise
            said.append(f"{error} It is kept as it is.")
            continue
        if said:
            said.append(f"The workbook of this run is {place.name}.")
        if typed is not None and decisions is None:
            said += not_applied(place, typed)
        return place.name, typed, said
    raise AssertionError("names never end")


def typed_before(path: Path, decisions: Path | None, title: str) -> Typed | None:
    """What was typed into the workbook to take from, by default the one that stands at `path`.
    Raises UnusableSettings, and DestinationError where the one at `path` is another chart's."""
    from sectionprep.outputs.workbook import read_typed

    if decisions is not None and is_one(path, decisions):
        return read_typed(decisions)
    standing = read_typed(path) if path.exists() else None
    if standing is not None and standing.title not in ("", title):
        raise DestinationError(
            f"is the workbook of {standing.title!r}.",
            where=str(path),
            remedy="Choose another name with -o.",
        )
    return standing if decisions is None else read_typed(decisions)


def keep_own_things(place: Path, taken: Typed | None) -> list[str]:
    """Before a workbook is replaced: where a person has put more into it than is carried over, a
    copy stays beside it. taken: what is carried over. What to say of that."""
    from sectionprep.outputs.workbook import read_typed

    if not place.exists():
        return []
    standing = read_typed(place, insist=False)
    return keep_copy(place, (*standing.own, *_not_taken(standing, taken)))


def keep_copy(place: Path, own: Sequence[str]) -> list[str]:
    """A copy of a workbook beside it, if it holds something of a person's own. What to say."""
    if not own:
        return []
    names = (place.with_stem(f"{place.stem}_kept{n if n > 1 else ''}") for n in itertools.count(1))
    copy = next(name for name in names if not os.path.lexists(name))
    write_file(copy, place.read_bytes())
    what = ", ".join(own[:_NAMED]) + (" ..." if len(own) > _NAMED else "")
    return [f"{place} holds what no new workbook takes along ({what}): kept in {copy.name}."]


_NAMED = 3


def _not_taken(standing: Typed, taken: Typed | None) -> Iterator[str]:
    """Where something was typed that is not in what is carried over."""
    for sheet, rows in standing.cells.items():
        for key, cells in rows.items():
            for heading in cells:
                if taken is None or heading not in taken.cells.get(sheet, {}).get(key, {}):
                    yield f"{standing.where[sheet, key, heading]}"


def not_applied(path: Path, typed: Typed) -> list[str]:
    """What to say of decisions in a workbook that a run replaces without --decisions: they stay in
    it."""
    from sectionprep.outputs.workbook import tables

    count = sum(
        bool(cells.get("Decision") or cells.get("Change to"))
        for cells in typed.cells.get(tables.MARKS, {}).values()
    )
    are = "1 decision is" if count == 1 else f"{count} decisions are"
    return [f"{are} kept in {path} but not applied. Apply with --decisions."] if count else []
