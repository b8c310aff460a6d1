"""Files of ours that a person has typed into: never written over, and what is not applied from them
is said."""

from __future__ import annotations

import itertools
from pathlib import Path
from typing import TYPE_CHECKING

from sectionprep.phrasing.plan_file import was_edited

if TYPE_CHECKING:
    from sectionprep.outputs.workbook.read import Typed


def is_edited_plan(path: Path) -> bool:
    """True where a plan stands that is not as we wrote it."""
    return path.is_file() and was_edited(path.read_text(encoding="utf-8", errors="replace"))


def plan_place(path: Path, applied: Path | None) -> tuple[str, tuple[str, ...]]:
    """Name for the plan to write beside others at `path` ("" for none), and what to say. applied:
    the plan that this run used; it stays as it is."""
    if not is_edited_plan(path):
        return path.name, ()
    if applied is not None and applied.resolve() == path.resolve():
        return "", ()
    names = (f"{path.stem}_new{n if n > 1 else ''}.toml" for n in itertools.count(1))
    fresh = next(name for name in names if not is_edited_plan(path.with_name(name)))
    return fresh, (
        f"{path} was edited by hand: it is kept as it is and was not applied; the plan of "
        f"this run is {fresh}. "
        "Apply yours with --plan.",
    )


def not_applied(path: Path, typed: Typed) -> tuple[str, ...]:
    """What to say of decisions in a workbook that a run replaces without --decisions: they stay in
    it."""
    from sectionprep.outputs.workbook import tables

    count = sum(
        bool(cells.get("Decision") or cells.get("Change to"))
        for cells in typed.cells.get(tables.MARKS, {}).values()
    )
    are = "1 decision is" if count == 1 else f"{count} decisions are"
    return (f"{are} kept in {path} but not applied. Apply with --decisions.",) if count else ()
