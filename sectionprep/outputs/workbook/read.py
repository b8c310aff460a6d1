"""Reads back what a director typed, whatever was sorted, filtered, moved or saved by another
program."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any

from sectionprep.errors import UnusableSettings
from sectionprep.music.roster import MOST_COPIES as MOST
from sectionprep.outputs.workbook import tables
from sectionprep.phrasing.directives import Directive
from sectionprep.phrasing.plan_file import parse_words

_TYPED_IN = (tables.MARKS, tables.AGREEMENT, tables.REHEARSAL, tables.PARTS)


@dataclass(slots=True)
class Typed:
    """Typed cells: sheet -> row key -> heading -> value. kept: rows of "Kept from before" (sheet,
    key, heading, value). where: cell address of each, for messages. title: of the chart that it was
    written for, if it says so."""

    cells: dict[str, dict[str, dict[str, Any]]] = field(default_factory=dict)
    kept: list[tuple[str, str, str, Any]] = field(default_factory=list)
    where: dict[tuple[str, str, str], str] = field(default_factory=dict)
    title: str = ""


def read_typed(path: Path) -> Typed:
    """Everything typed into a workbook of ours. Raises UnusableSettings with sheet, cell and
    remedy."""
    from openpyxl import load_workbook

    from sectionprep.outputs.workbook.inspect import check_extent, inspected

    data = inspected(path)
    try:
        workbook = load_workbook(data, data_only=False)
    except Exception as error:  # a library's many ways to say that the file is no good
        raise UnusableSettings(
            f"cannot be opened as a workbook ({type(error).__name__}).",
            where=str(path),
            remedy="Save it as .xlsx and name that file.",
        ) from error
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
    typed = Typed(title=_title(workbook))
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
    for missing in (name for name in _TYPED_IN if name not in workbook.sheetnames):
        wanted = {_plain(column.heading) for column in tables.TABLES[missing]}
        for name in strange:
            rows = workbook[name].iter_rows(min_row=1, max_row=20, values_only=True)
            if any(wanted <= {_plain(value) for value in row} for row in rows):
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
    """Numbers of copies that still are what we filled in were not typed: a roster's may replace
    them."""
    if tables.ABOUT not in workbook.sheetnames:
        return
    cells = typed.cells.get(tables.PARTS, {})
    for row in workbook[tables.ABOUT].iter_rows(min_row=2, max_col=3, values_only=True):
        if row[0] == tables.FILLED and cells.get(str(row[1]), {}).get("Copies") == row[2]:
            del cells[str(row[1])]["Copies"]


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
        if any(_plain(value) == _plain(tables.KEY) for value in row):
            return number
    return 0


def _plain(value: Any) -> str:
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
        _plain(cell.value): cell.column for cell in sheet[heading_row] if cell.value is not None
    }
    columns = {}
    for column in tables.inputs_of(name):
        if _plain(column.heading) not in headings:
            raise UnusableSettings(
                f'has no column headed "{column.heading}".',
                where=f"{where}, row {heading_row}",
                remedy="Give the column its heading back.",
            )
        columns[column.heading] = (headings[_plain(column.heading)], column)
    key_column = headings[_plain(tables.KEY)]
    rows: dict[str, dict[str, Any]] = {}
    for row in sheet.iter_rows(min_row=heading_row + 1):
        cells = {cell.column: cell for cell in row}
        key = cells[key_column].value if key_column in cells else None
        values = {
            h: _value(cells[c], column, where) for h, (c, column) in columns.items() if c in cells
        }
        values = {h: v for h, v in values.items() if v not in (None, "")}
        if key in (None, ""):
            if values and name != tables.PARTS:
                first = next(iter(values))
                raise UnusableSettings(
                    f"{cells[columns[first][0]].coordinate} holds {values[first]!r}, but its "
                    f"row has lost its key.",
                    where=where,
                    remedy=f'Type it again in the row it belongs to; "{tables.KEY}" '
                    f"must not be emptied.",
                )
            continue
        rows.setdefault(str(key), {}).update(values)
        for heading in values:
            typed.where[(name, str(key), heading)] = (
                f"{name}!{cells[columns[heading][0]].coordinate}"
            )
    return rows


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
        key for key, row in cells.items() if _plain(row.get("Status")) in tables.SETTLED
    )


# -- decisions
# ----------------------------------------------------------------------------------------


def to_copy(typed: Typed, path: Path) -> tuple[str, ...]:
    """Instructions that the sheet Agreement asks to be copied, as "bar | part"."""
    found = []
    for key, cells in typed.cells.get(tables.AGREEMENT, {}).items():
        if _plain(cells.get("Status")) != tables.COPY:
            continue
        check, *rest = key.split("|")
        if check != "one-sided" or len(rest) != 4:
            where = typed.where.get((tables.AGREEMENT, key, "Status"), tables.AGREEMENT)
            raise UnusableSettings(
                f'{where} says "{tables.COPY}", but there is nothing to copy in its row.',
                where=str(path),
                remedy="It is for instructions that other parts cannot read.",
            )
        found.append(f"{rest[1]} | {rest[0]}")
    return tuple(found)


def to_directives(typed: Typed, path: Path) -> tuple[Directive, ...]:
    """What the Marks sheet decides; "leave it" keeps what is printed and adds nothing. Raises
    UnusableSettings for a decision that cannot be understood."""
    if tables.MARKS not in typed.cells:
        raise UnusableSettings(
            f'has no sheet named "{tables.MARKS}", where decisions stand.',
            where=str(path),
            remedy="Give the sheet its name back, or run without --decisions.",
        )
    directives: list[Directive] = []
    for key, cells in typed.cells.get(tables.MARKS, {}).items():
        decision = _plain(cells.get("Decision"))
        change = cells.get("Change to")
        if not decision and not change:
            continue
        where = typed.where.get(
            (tables.MARKS, key, "Decision" if decision else "Change to"), tables.MARKS
        )
        part, bar, beat, figure = _split_key(key, path, where)
        if decision in ("", _plain(tables.CHANGE)) and change:
            marks = parse_words(str(change))
            if marks is None:
                at = typed.where.get((tables.MARKS, key, "Change to"), where)
                raise UnusableSettings(
                    f"{at} asks for {change!r}, which is no mark I know.",
                    where=str(path),
                    remedy=f"Use: {' / '.join(tables.CHANGES)}.",
                )
            directives.append(Directive(part=part, bar=bar, beat=beat, marks=marks, figure=figure))
        elif decision == _plain(tables.LEAVE):
            directives.append(Directive(part=part, bar=bar, beat=beat, marks=None, figure=figure))
        elif decision == _plain(tables.CHANGE):
            raise UnusableSettings(
                f'{where} says "{tables.CHANGE}", but "Change to" is empty.',
                where=str(path),
                remedy="Say what to change it to, or choose another decision.",
            )
        elif decision != _plain(tables.TAKE):
            raise UnusableSettings(
                f"{where} holds {cells.get('Decision')!r}, which is no decision.",
                where=str(path),
                remedy=f"Choose one of: {', '.join(tables.DECISIONS)}.",
            )
    return tuple(directives)


def _split_key(key: str, path: Path, where: str) -> tuple[str, str, Fraction, str]:
    try:
        part, bar, beat, figure = key.rsplit("|", 3)
        return part, bar, Fraction(beat), figure
    except ValueError as error:
        raise UnusableSettings(
            f"{where}: its row key {key!r:.60} was changed.",
            where=str(path),
            remedy="Undo the change in that cell.",
        ) from error
