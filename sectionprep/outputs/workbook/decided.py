"""What the typed cells of a workbook decide: copies, findings settled, instructions to copy, marks,
and whatever the director has asked for in words of his own."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from sectionprep.errors import BadArgument, UnusableSettings
from sectionprep.outputs.workbook import tables
from sectionprep.outputs.workbook.read import Typed, plain, refuse
from sectionprep.phrasing.deciding import Decision
from sectionprep.phrasing.directives import Directive
from sectionprep.phrasing.director_words import decision_of, parse_words
from sectionprep.phrasing.wishes import Wish


def copies_of(typed: Typed) -> dict[str, int]:
    """Copies by part, as the Parts sheet has them."""
    return {
        part: cells["Copies"]
        for part, cells in typed.cells.get(tables.PARTS, {}).items()
        if isinstance(cells.get("Copies"), int)
    }


def settled_in(typed: Typed | None) -> frozenset[str]:
    """Keys of findings that a person has settled in the sheet Agreement."""
    cells = typed.cells.get(tables.AGREEMENT, {}) if typed is not None else {}
    return frozenset(
        key for key, row in cells.items() if plain(row.get("Status")) in tables.SETTLED
    )


def cues_taken_out(typed: Typed) -> frozenset[str]:
    """Printed numbers of bars whose cues are not to be shown to the rhythm section."""
    return frozenset(
        key.partition("|")[0]
        for key, cells in typed.cells.get(tables.CUES, {}).items()
        if plain(cells.get("Decision")) == tables.TAKE_OUT
    )


def to_copy(typed: Typed, path: Path) -> tuple[str, ...]:
    """Instructions that the sheet Agreement asks to be copied, as "bar | part". Raises
    UnusableSettings for rows without one."""
    bad: list[UnusableSettings] = []
    found = tuple(_copies_asked(typed, path, bad))
    refuse(bad, path)
    return found


def _copies_asked(typed: Typed, path: Path, bad: list[UnusableSettings]) -> Iterator[str]:
    for key, cells in typed.cells.get(tables.AGREEMENT, {}).items():
        if plain(cells.get("Status")) != tables.COPY:
            continue
        check, *rest = key.split("|")
        if check == "one-sided" and len(rest) == 4:
            yield f"{rest[1]} | {rest[0]}"
            continue
        where = typed.where.get((tables.AGREEMENT, key, "Status"), tables.AGREEMENT)
        bad.append(
            UnusableSettings(
                f'{where} says "{tables.COPY}", but there is nothing to copy in its row.',
                where=str(path),
                remedy="It is for instructions that other parts cannot read.",
            )
        )


def to_decisions(typed: Typed, path: Path) -> tuple[Decision, ...]:
    """What the sheets Passages, Marks and Your own decisions decide. Raises UnusableSettings that
    names every cell of the workbook that cannot be understood."""
    if tables.MARKS not in typed.cells:
        raise UnusableSettings(
            f'has no sheet named "{tables.MARKS}", where decisions stand.',
            where=str(path),
            remedy="Give the sheet its name back, or run without --decisions.",
        )
    bad = list(typed.bad)
    found: list[Decision] = []
    for name, read in (
        (tables.PASSAGES, _reading),
        (tables.MARKS, _mark),
        (tables.OWN, _own),
    ):
        for key, cells in typed.cells.get(name, {}).items():
            try:
                found += read(typed, key, cells)
            except UnusableSettings as error:
                error = UnusableSettings(error.what, where=str(path), remedy=error.remedy)
                bad.append(error)
    list(_copies_asked(typed, path, bad))
    refuse(bad, path)
    return tuple(found)


_Cells = Mapping[str, Any]


def _cell(typed: Typed, sheet: str, key: str, heading: str) -> str:
    return typed.where.get((sheet, key, heading), sheet)


def _reading(typed: Typed, key: str, cells: _Cells) -> Iterator[Decision]:
    value = plain(cells.get("Reading"))
    cell = _cell(typed, tables.PASSAGES, key, "Reading")
    if not value or value == tables.AS_PLANNED:
        return
    if value not in tables.READINGS:
        raise UnusableSettings(
            f"{cell} asks for the reading {value!r:.60}, which there is not.",
            remedy=f"Choose one of: {', '.join(tables.READINGS)}.",
        )
    passage, lead, bar = _split(key, cell, 3)
    yield Wish(kind="reading", value=value, part=lead, bar=bar, passage=passage, cell=cell)


def _mark(typed: Typed, key: str, cells: _Cells) -> Iterator[Decision]:
    """ "leave it" keeps what is printed and adds nothing."""
    decision, change = plain(cells.get("Decision")), cells.get("Change to")
    if not decision and not change:
        return
    cell = _cell(typed, tables.MARKS, key, "Decision" if decision else "Change to")
    part, bar, beat_text, figure = _split(key, cell, 4)
    beat = _beat(beat_text, cell, key)
    marks: frozenset[str] | None = None
    if change and decision in (plain(tables.TAKE), plain(tables.LEAVE)):
        raise UnusableSettings(
            f'{cell} says "{decision}", but "Change to" in its row holds {change!r:.60}.',
            remedy=f'Empty "Change to", or choose "{tables.CHANGE}".',
        )
    if decision in ("", plain(tables.CHANGE)) and change:
        cell = _cell(typed, tables.MARKS, key, "Change to")
        marks = parse_words(str(change))
        if marks is None:
            raise UnusableSettings(
                f"{cell} asks for {change!r:.60}, which is no mark I know.",
                remedy=f"Use: {' / '.join(tables.CHANGES)}.",
            )
    elif decision == plain(tables.CHANGE):
        raise UnusableSettings(
            f'{cell} says "{tables.CHANGE}", but "Change to" is empty.',
            remedy="Say what to change it to, or choose another decision.",
        )
    elif decision == plain(tables.TAKE):
        return
    elif decision != plain(tables.LEAVE):
        raise UnusableSettings(
            f"{cell} holds {cells.get('Decision')!r:.60}, which is no decision.",
            remedy=f"Choose one of: {', '.join(tables.DECISIONS)}.",
        )
    yield Directive(part=part, bar=bar, beat=beat, marks=marks, figure=figure, cell=cell)


def _own(typed: Typed, key: str, cells: _Cells) -> Iterator[Decision]:
    """A row that the director has filled in: part, bar, beat, and what is wanted there."""
    said = {heading: " ".join(str(value).split()) for heading, value in cells.items()}
    said.pop("Your note", None)
    if not said:
        return
    first = next(iter(said))
    for needed in ("Part", "Bar", "What"):
        if not said.get(needed):
            raise UnusableSettings(
                f'{_cell(typed, tables.OWN, key, first)} is filled in, but "{needed}" in its row '
                "is empty.",
                remedy="A row needs a part, a bar and what you want there.",
            )
    place = f"{said['Bar']} {said.get('Beat', '')}".strip()
    if said.get("To bar") or said.get("To beat"):
        place += f" to {said.get('To bar') or said['Bar']} {said.get('To beat', '')}".rstrip()
    cell = _cell(typed, tables.OWN, key, "What")
    try:
        made = decision_of(said["Part"], place, said["What"], source="the director")
    except BadArgument as error:
        raise UnusableSettings(f"{cell}: {error.what}", remedy=error.remedy) from error
    yield replace(made, cell=cell)


def _split(key: str, cell: str, pieces: int) -> list[str]:
    found = key.rsplit("|", pieces - 1)
    if len(found) != pieces:
        raise _changed(cell, key)
    return found


def _beat(text: str, cell: str, key: str) -> Fraction:
    try:
        return Fraction(text)
    except ValueError as error:
        raise _changed(cell, key) from error


def _changed(cell: str, key: str) -> UnusableSettings:
    return UnusableSettings(
        f"{cell}: its row key {key!r:.60} was changed.", remedy="Undo the change in that cell."
    )
