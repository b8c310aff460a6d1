"""What a person must know about a printed sheet: what it does not show, and where. Said once,
wherever it is said.

Remarks are made where a sheet is made (`PartJob.remarks`) or drawn (`SheetReport.remarks`) and flow
from there to the sheet's foot, the agreement report, the workbook's first sheet and the screen.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

_MOST = 8  # parts named in a line; judgement
_NOT_PRINTED = "not printed: "


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetRemark:
    """One thing about one part's sheet. what: in a musician's words; count: in how many places;
    first: number of the bar where it is first, "" where it belongs to no bar; for_player: whether
    the sheet itself says it."""

    part: str
    what: str
    count: int = 1
    first: str = ""
    for_player: bool = True

    @property
    def where(self) -> str:
        """How often, and where first."""
        if self.count <= 1:
            return f"bar {self.first}" if self.first else ""
        first = f", first in bar {self.first}" if self.first else ""
        return f"{self.count} places{first}"


def not_printed(
    part: str, what: str, count: int, first: str, *, for_player: bool = True
) -> SheetRemark:
    """The remark that something of the file is not on the sheet."""
    return SheetRemark(
        part=part, what=_NOT_PRINTED + what, count=count, first=first, for_player=for_player
    )


def said_once(remarks: Iterable[SheetRemark]) -> list[str]:
    """A line for each thing, with all parts that it concerns."""
    parts: dict[str, list[str]] = {}
    for remark in remarks:
        parts.setdefault(remark.what, []).append(
            f"{remark.part} ({remark.where})" if remark.where else remark.part
        )
    return [
        f"{what} - {', '.join(named[:_MOST])}{_and_more(len(named) - _MOST)}"
        for what, named in parts.items()
    ]


def _and_more(count: int) -> str:
    if count <= 0:
        return ""
    return " and 1 more part" if count == 1 else f" and {count} more parts"


def at_the_foot(remarks: Iterable[SheetRemark]) -> str:
    """The remarks of one part in a line for its own sheet; "" without any."""
    said = [
        f"{remark.what}{f' ({remark.where})' if remark.where else ''}"
        for remark in remarks
        if remark.for_player
    ]
    missing = ", ".join(
        one.removeprefix(_NOT_PRINTED) for one in said if one.startswith(_NOT_PRINTED)
    )
    return "; ".join(
        ([_NOT_PRINTED + missing] if missing else [])
        + [one for one in said if not one.startswith(_NOT_PRINTED)]
    )
