"""The page after a proof: every mark that was added to this part, where and why, with room for the proof-reader."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sectionprep.outputs import fonts

_SIZE, _STEP = 8.5, 12.5
_COLUMNS = (0.0, 0.14, 0.36)  # where, what, why: shares of the width


@dataclass(frozen=True, slots=True, kw_only=True)
class Added:
    """One change of ours in a part, in words."""

    where: str
    what: str
    why: str


def paint_proof_pages(canvas: Any, name: str, added: Sequence[Added], *, left: float, right: float, top: float, bottom: float) -> int:
    """Paint as many pages as it takes (in points); returns how many."""
    rows = list(added)
    pages = 0
    while rows or not pages:
        pages += 1
        y = top - 14
        canvas.setFont(fonts.BOLD, 12)
        canvas.drawString(left, y, fonts.printable(f"{name}: what was added" + (" (continued)" if pages > 1 else ""), fonts.BOLD))
        canvas.setFont(fonts.ITALIC, 8.5)
        canvas.drawString(left, y - 13, "Printed a shade lighter on the sheets before this page. Tick what is right, strike what is not.")
        y -= 34
        while rows and y > bottom + 6:
            _row(canvas, rows.pop(0), left, right, y)
            y -= _STEP
        if not added:
            canvas.setFont(fonts.TEXT, _SIZE)
            canvas.drawString(left, y, "Nothing was added to this part.")
        canvas.showPage()
    return pages


def _row(canvas: Any, row: Added, left: float, right: float, y: float) -> None:
    canvas.setLineWidth(0.5)
    canvas.rect(left, y - 1.5, 7, 7, stroke=1, fill=0)
    room = right - left - 14
    for share, end, words in zip(_COLUMNS, (*_COLUMNS[1:], 1.0), (row.where, row.what, row.why), strict=True):
        canvas.setFont(fonts.TEXT, _SIZE)
        canvas.drawString(left + 14 + share * room, y, fonts.fitted(words, fonts.TEXT, _SIZE, (end - share) * room - 6))
