"""Reads back what a director typed, whatever was sorted, filtered, moved or saved by another
program."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from sectionprep.errors import UnusableSettings
from sectionprep.music.roster import MOST_COPIES as MOST
from sectionprep.outputs.workbook import tables
from sectionprep.outputs.workbook.own_things import own_things

_TYPED_IN = tuple(name for name in tables.TABLES if tables.inputs_of(name))
#: sheets that workbooks of ours have had from the first; later ones may be missing
_ALWAYS = (tables.MARKS, tables.AGREEMENT, tables.REHEARSAL, tables.PARTS)


@dataclass(slots=True)
class Typed:
    """Typed cells: sheet -> row key -> heading -> value. kept: rows of "Kept from before" (sheet,
    key, heading, value). where: cell address of each, for messages. title: of the chart that it was
    written for, if it says so. bad: cells that cannot be read. own: what else a person has put into
    the workbook (`own_things`)."""

    cells: dict[str, dict[str, dict[str, Any]]] = field(default_factory=dict)
    kept: list[tuple[str, str, str, Any]] = field(default_factory=list)
    where: dict[tuple[str, str, str], str] = field(default_factory=dict)
    title: str = ""
    bad: list[UnusableSettings] = field(default_factory=list)
    own: tuple[str, ...] = ()


def refuse(bad: Sequence[UnusableSettings], path: Path) -> None:
    """Raise what is wrong with a workbook as one error that names every cell; nothing if nothing
    is."""
    if len(bad) == 1:
        raise bad[0]
    if bad:
        lines = "".join(f"\n  {each.says_shortly(path)}" for each in bad)
        raise UnusableSettings(f"has {len(bad)} cells that cannot be used:{lines}", where=str(path))


def read_typed(path: Path, *, insist: bool = True) -> Typed:
    """Everything typed into a workbook of ours. insist: raise for cells that cannot be read, else
    they are handed on. Raises UnusableSettings with sheets, cells and remedies."""
    from sectionprep.outputs.workbook.inspect import saved

    typed = _read(saved(path), path)
    if insist:
        refuse(typed.bad, path)
    return typed


@lru_cache(maxsize=4)  # a run asks for marks, cues, copies and what was settled, one by one
def _read(data: bytes, path: Path) -> Typed:
    from sectionprep.outputs.workbook.inspect import check_extent, opened

    workbook = opened(data, path)
    for name in workbook.sheetnames:
        if hasattr(workbook[name], "iter_rows"):
            check_extent(workbook[name], path)
        elif name in {*_TYPED_IN, tables.KEPT, tables.ABOUT}:
            raise UnusableSettings(
                "is a picture of a diagram, not a table.",
                where=f'{path}, sheet "{name}"',
                remedy="Give the table its name back.",
            )
    _check_version(workbook, path)
    typed = Typed(title=_title(workbook), own=own_things(workbook))
    found = False
    for name in _TYPED_IN:
        if name in workbook.sheetnames:
            found = True
            typed.cells[name] = _read_sheet(workbook[name], name, path, typed)
    _forget_filled(workbook, typed)
    if not found:
        raise UnusableSettings(
            "has none of the sheets of a rehearsal workbook.",
            where=str(path),
            remedy=f"Use a workbook written by this program, with its sheets named "
            f"{tables.MARKS}, {tables.AGREEMENT} ...",
        )
    _refuse_renamed(workbook, path)
    if tables.KEPT in workbook.sheetnames:
        _take_up(typed, _read_kept(workbook[tables.KEPT]))
    return typed


def _refuse_renamed(workbook: Any, path: Path) -> None:
    """What was typed in a sheet under another name would be lost without a word."""
    ours = {*tables.TABLES, tables.KEPT, tables.ABOUT}
    strange = [
        name
        for name in workbook.sheetnames
        if name not in ours and hasattr(workbook[name], "iter_rows")
    ]
    for missing in (name for name in _ALWAYS if name not in workbook.sheetnames):
        wanted = {plain(column.heading) for column in tables.TABLES[missing]}
        for name in strange:
            rows = workbook[name].iter_rows(min_row=1, max_row=20, values_only=True)
            if any(wanted <= {plain(value) for value in row} for row in rows):
                raise UnusableSettings(
                    f'has no sheet "{missing}", but "{name}" looks like it.',
                    where=str(path),
                    remedy=f'Give that sheet its name "{missing}" back.',
                )


def _take_up(typed: Typed, kept: list[tuple[str, str, str, Any]]) -> None:
    """What an earlier workbook could not place is tried again; newer typing wins, and nothing is
    dropped."""
    for sheet, key, heading, value in kept:
        known = sheet in tables.TABLES and any(
            c.heading == heading for c in tables.inputs_of(sheet)
        )
        if not known:
            typed.kept.append((sheet, key, heading, value))
            continue
        typed.cells.setdefault(sheet, {}).setdefault(key, {}).setdefault(heading, value)
        typed.where.setdefault((sheet, key, heading), tables.KEPT)


def _title(workbook: Any) -> str:
    if tables.ABOUT not in workbook.sheetnames:
        return ""
    return str(workbook[tables.ABOUT]["C1"].value or "")


def _forget_filled(workbook: Any, typed: Typed) -> None:
    """What still is as we filled it in was not typed: a roster's copies, or what was settled on
    the review page since, may replace it."""
    if tables.ABOUT not in workbook.sheetnames:
        return
    kinds = {
        tables.FILLED: (tables.PARTS, "Copies"),
        tables.STATUS_FILLED: (tables.AGREEMENT, "Status"),
    }
    for kind, key, value in workbook[tables.ABOUT].iter_rows(
        min_row=2, max_col=3, values_only=True
    ):
        sheet, heading = kinds.get(kind, ("", ""))
        cells = typed.cells.get(sheet, {}).get(str(key), {})
        if cells.get(heading) == value and value is not None:
            del cells[heading]


def _check_version(workbook: Any, path: Path) -> None:
    if tables.ABOUT not in workbook.sheetnames:
        return  # saved by a program that drops hidden sheets: headings and keys decide
    version = workbook[tables.ABOUT]["B1"].value
    if isinstance(version, int) and version > tables.VERSION:
        raise UnusableSettings(
            f"was written by a newer version (workbook version {version}; this one reads up to "
            f"{tables.VERSION}).",
            where=str(path),
            remedy="Bring sectionprep up to date.",
        )


def _heading_row(sheet: Any) -> int:
    for number, row in enumerate(sheet.iter_rows(min_row=1, max_row=20, values_only=True), start=1):
        if any(plain(value) == plain(tables.KEY) for value in row):
            return number
    return 0


def plain(value: Any) -> str:
    return " ".join(str(value).lower().split()) if value is not None else ""


def _read_sheet(sheet: Any, name: str, path: Path, typed: Typed) -> dict[str, dict[str, Any]]:
    heading_row = _heading_row(sheet)
    where = f"{path}, sheet {name}"
    if not heading_row:
        raise UnusableSettings(
            f'has no column headed "{tables.KEY}".',
            where=where,
            remedy="Put that column and its heading back; it tells the rows apart.",
        )
    headings = {
        plain(cell.value): cell.column for cell in sheet[heading_row] if cell.value is not None
    }
    columns = {}
    for column in tables.inputs_of(name):
        if plain(column.heading) not in headings:
            raise UnusableSettings(
                f'has no column headed "{column.heading}".',
                where=f"{where}, row {heading_row}",
                remedy="Give the column its heading back.",
            )
        columns[column.heading] = (headings[plain(column.heading)], column)
    key_column = headings[plain(tables.KEY)]
    rows: dict[str, dict[str, Any]] = {}
    keyless: list[tuple[dict[str, Any], dict[str, str]]] = []
    for row in sheet.iter_rows(min_row=heading_row + 1):
        cells = {cell.column: cell for cell in row}
        key = cells[key_column].value if key_column in cells else None
        values = {}
        for heading, (at, column) in columns.items():
            try:
                value = _value(cells[at], column, where) if at in cells else None
            except UnusableSettings as error:
                typed.bad.append(error)
                continue
            if value not in (None, ""):
                values[heading] = value
        places = {heading: cells[columns[heading][0]].coordinate for heading in values}
        if key in (None, ""):
            keyless.append((values, places))
        else:
            _take_row(typed, rows, path, (name, str(key)), values, places)
    for values, places in keyless:
        key = _key_below(name, values, rows)
        if key:
            _take_row(typed, rows, path, (name, key), values, places)
        elif values and name != tables.PARTS:
            first = next(iter(values))
            typed.bad.append(
                UnusableSettings(
                    f"{places[first]} holds {values[first]!r}, but its row has lost its key.",
                    where=where,
                    remedy=f'Type it again in the row it belongs to; "{tables.KEY}" must not be '
                    "emptied.",
                )
            )
    return rows


def _take_row(
    typed: Typed,
    rows: dict[str, dict[str, Any]],
    path: Path,
    row: tuple[str, str],
    values: Mapping[str, Any],
    places: Mapping[str, str],
) -> None:
    """Take up what is typed in a row (its sheet and key), and where. Lines from home are added to
    each other."""
    sheet, key = row
    known = rows.setdefault(key, {})
    for heading, value in values.items():
        here, cell = (sheet, key, heading), f"{sheet}!{places[heading]}"
        if heading == tables.LINE and heading in known:
            known[heading] = f"{known[heading]}\n{value}"
        elif known.setdefault(heading, value) != value:
            typed.bad.append(_twice(cell, value, typed.where[here], known[heading], path))
        typed.where.setdefault(here, cell)


def _twice(cell: str, value: Any, other: str, first: Any, path: Path) -> UnusableSettings:
    """Rows with one key, as where a row was copied whole (or two findings of one note are alike):
    neither is dropped without a word."""
    return UnusableSettings(
        f"{cell} holds {value!r:.60}, but {other} holds {first!r:.60}, and both rows have the "
        "same key.",
        where=str(path),
        remedy="Say the same in both, or empty one; what was copied is typed in an empty row.",
    )


def _key_below(sheet: str, values: Mapping[str, Any], rows: Collection[str]) -> str:
    """The key of a row that somebody has filled in below the table, where that is what one does:
    the next decision of one's own; a line from home, which names its part. "" where there is none.
    rows: the keys of the others."""
    if sheet == tables.OWN and values:
        return str(max((int(key) for key in rows if key.isdecimal()), default=0) + 1)
    if sheet == tables.HOME:
        return str(values.get(tables.LINE, "")).partition("\n")[0].rpartition(":")[0].strip()
    return ""


def _value(cell: Any, column: tables.Column, where: str) -> Any:
    value = cell.value
    if isinstance(value, str) and value.startswith("=") and cell.data_type == "f":
        raise UnusableSettings(
            f"{cell.coordinate} holds a formula ({value[:40]}).",
            where=where,
            remedy="Type the value itself.",
        )
    if isinstance(value, float) and value.is_integer():
        value = int(value)
    if column.number and isinstance(value, str) and value.strip():
        try:
            value = int(value.strip())
        except ValueError as error:
            raise UnusableSettings(
                f'{cell.coordinate} ("{column.heading}") holds {value!r}, which is no number.',
                where=where,
                remedy="Type a whole number.",
            ) from error
    if (
        column.number
        and value is not None
        and (isinstance(value, bool) or not isinstance(value, int) or not 0 <= value <= MOST)
    ):
        raise UnusableSettings(
            f'{cell.coordinate} ("{column.heading}") holds {value!r}.',
            where=where,
            remedy=f"Type a whole number from 0 to {MOST}.",
        )
    if (
        column.choices == tables.RATINGS
        and value not in (None, "")
        and str(value).strip() not in tables.RATINGS
    ):
        raise UnusableSettings(
            f'{cell.coordinate} ("{column.heading}") holds {value!r}.',
            where=where,
            remedy="Type a whole number from 1 to 5.",
        )
    if (
        isinstance(value, int)
        and not isinstance(value, bool)
        and not column.number
        and str(value) not in column.choices
    ):
        value = str(value)
    return value


def _read_kept(sheet: Any) -> list[tuple[str, str, str, Any]]:
    return [
        (str(row[0]), str(row[1]), str(row[2]), row[3])
        for row in sheet.iter_rows(min_row=3, max_col=4, values_only=True)
        if len(row) == 4 and row[0] and row[3] not in (None, "")
    ]
