"""Files of ours that a person has typed into: never written over, and what is not applied from them
is said."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from sectionprep.errors import DestinationError, UnusableSettings
from sectionprep.outputs.files import is_one
from sectionprep.phrasing.plan_file import was_edited

if TYPE_CHECKING:
    from sectionprep.outputs.workbook.read import Typed


def is_edited_plan(path: Path) -> bool:
    """True where a plan stands that is not as we wrote it."""
    return path.is_file() and was_edited(path.read_text(encoding="utf-8", errors="replace"))


def _names(path: Path) -> Iterator[Path]:
    """A place, and others beside it for what must not go there."""
    yield path
    for n in itertools.count(1):
        yield path.with_name(f"{path.stem}_new{n if n > 1 else ''}{path.suffix}")


def plan_place(path: Path, applied: Path | None) -> tuple[str, list[str]]:
    """Name for the plan to write beside others at `path` ("" for none), and what to say. applied:
    the plan that this run used; it stays as it is."""
    if not is_edited_plan(path):
        return path.name, []
    if applied is not None and applied.resolve() == path.resolve():
        return "", []
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
