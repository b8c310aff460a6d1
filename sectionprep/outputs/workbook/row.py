"""A row of a sheet."""

from __future__ import annotations

from dataclasses import dataclass

Cell = str | int | float | None


@dataclass(slots=True, kw_only=True)
class Row:
    """cells: values by heading; key: stable name of the row; link: (sheet, key) to jump to; offers:
    what the row's own drop-down offers first, where it differs from its column's."""

    cells: dict[str, Cell]
    key: str = ""
    offers: tuple[str, ...] = ()
    link: tuple[str, str] = ("", "")
