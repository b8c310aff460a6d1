"""Proofreading: which marks of a part are ours, so that they print lighter, and the page that lists
them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sectionprep.drawing.engraver.mei import SignKey
from sectionprep.drawing.text import fonts
from sectionprep.marking import Marking
from sectionprep.music.chart import Chart
from sectionprep.music.timing import say_beat
from sectionprep.musicxml.copies.part import note_id

_SIZE, _STEP = 8.5, 12.5
_COLUMNS = (0.0, 0.14, 0.36)  # where, what, why: shares of the width
_SIGN = {
    "slur": "slur",
    "dynamic": "dynam",
    "hairpin": "hairpin",
    "cut-off": "dir",
    "words": "dir",
}  # kinds of change as the engraver names them
_NOTHING_BEFORE = ("", "plain", "none", "not written", "no slur")


@dataclass(frozen=True, slots=True, kw_only=True)
class Added:
    """One change of ours in a part, in words."""

    where: str
    what: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """What we added to one part. notes: ids of notes that got marks; signs: slurs, breaths and
    other signs as the engraver names them; added: all of it in words."""

    notes: frozenset[str]
    signs: frozenset[SignKey]
    added: tuple[Added, ...]


def proof_of(chart: Chart, marking: Marking, part: int) -> Proof:
    """What the marking added to a part. chart: the marked one."""
    written = [c for c in marking.changes if c.part == part and c.applied and c.kind != "left"]
    signs: set[SignKey] = set()
    for change in written:
        place = chart.place(change.tick)
        if change.kind in ("slur", "marks"):
            signs.add(("slur" if change.kind == "slur" else "breath", note_id(change.address)))
        elif change.kind in _SIGN:
            signs.add((_SIGN[change.kind], place.index, float(place.beat)))
    added = tuple(
        Added(
            where=f"bar {(place := chart.place(c.tick)).bar} beat {say_beat(place.beat)}",
            what=c.now if c.was in _NOTHING_BEFORE else f"{c.was} -> {c.now}",
            why=c.why,
        )
        for c in dict.fromkeys(written)
    )
    return Proof(
        notes=frozenset(note_id(c.address) for c in written if c.kind == "marks"),
        signs=frozenset(signs),
        added=added,
    )


def paint_proof_pages(
    canvas: Any,
    name: str,
    added: Sequence[Added],
    *,
    left: float,
    right: float,
    top: float,
    bottom: float,
) -> int:
    """Paint as many pages as it takes (in points); returns how many."""
    rows = list(added)
    pages = 0
    while rows or not pages:
        pages += 1
        y = top - 14
        canvas.setFont(fonts.BOLD, 12)
        canvas.drawString(
            left,
            y,
            fonts.printable(
                f"{name}: what was added" + (" (continued)" if pages > 1 else ""), fonts.BOLD
            ),
        )
        canvas.setFont(fonts.ITALIC, 8.5)
        canvas.drawString(
            left,
            y - 13,
            "Printed a shade lighter on the sheets before this page. Tick what is right, "
            "strike what is not.",
        )
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
    for share, end, words in zip(
        _COLUMNS, (*_COLUMNS[1:], 1.0), (row.where, row.what, row.why), strict=True
    ):
        canvas.setFont(fonts.TEXT, _SIZE)
        canvas.drawString(
            left + 14 + share * room,
            y,
            fonts.fitted(words, fonts.TEXT, _SIZE, (end - share) * room - 6),
        )
