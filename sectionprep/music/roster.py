"""The band's roster: who sits where and who leads, settled by the director in a file of our own (TOML)."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from sectionprep.errors import UnusableSettings
from sectionprep.music.chart import Part
from sectionprep.music.instruments import UNKNOWN, Chair, instrument
from sectionprep.music.naming import finds
from sectionprep.settings import read_toml

MOST_COPIES = 99  # of one part: a judgement, far above any section
STAVES = (7.0, 11.0)  # millimetres: the smallest and the largest staff (D. J. Argue, Music Preparation Fundamentals; large print)


@dataclass(frozen=True, slots=True, kw_only=True)
class Seat:
    """One line of the roster. staff: millimetres, 0 where the default will do."""

    part: str
    instrument: str = ""
    number: int = 0
    player: str = ""
    copies: int = 1
    staff: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class LeadWish:
    """Whose line a group follows: `of` is a scope, a passage id, or "bar N"."""

    of: str
    part: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Roster:
    """All seats and lead wishes; empty where the director settled nothing."""

    seats: tuple[Seat, ...] = ()
    leads: tuple[LeadWish, ...] = ()

    def seat(self, part: str) -> Seat | None:
        """The seat of a part, by its label."""
        return next((seat for seat in self.seats if seat.part == part), None)

    def of(self, parts: Sequence[Part]) -> Roster:
        """The same with every part called by its label; what fits no part stays as it was typed."""
        def label(words: str) -> str:
            found = finds(parts, words)
            return found.label if found else words

        return Roster(seats=tuple(replace(seat, part=label(seat.part)) for seat in self.seats),
                      leads=tuple(replace(wish, part=label(wish.part)) for wish in self.leads))

    def settle(self, part: str, chair: Chair) -> Chair:
        """The chair of a part after the director's word."""
        seat = self.seat(part)
        if seat is None or not (seat.instrument or seat.number):
            return chair
        found = instrument(seat.instrument) if seat.instrument else chair.instrument
        number = seat.number or chair.number
        return replace(chair, instrument=found, number=number, numbers=(number,) if number else (), sure=True,
                       why="roster")


EMPTY = Roster()


def read_roster(path: Path) -> Roster:
    """Read a roster file. Raises UnusableSettings with the entry that is wrong."""
    table = read_toml(path)
    unknown = set(table) - {"seat", "lead"}
    if unknown:
        raise UnusableSettings(f"has an unknown table [{sorted(unknown)[0]}].", where=str(path),
                               remedy="Use [[seat]] and [[lead]]; shared/roster_example.toml shows how.")
    seats = tuple(_entry(path, "seat", n, row, Seat) for n, row in enumerate(table.get("seat", []), start=1))
    leads = tuple(_entry(path, "lead", n, row, LeadWish) for n, row in enumerate(table.get("lead", []), start=1))
    for seat in seats:
        if not 0 <= seat.copies <= MOST_COPIES:
            raise UnusableSettings(f"asks for {seat.copies} copies.", where=f"{path}, seat of {seat.part}",
                                   remedy=f"Write a number from 0 to {MOST_COPIES}.")
        if seat.staff and not STAVES[0] <= seat.staff <= STAVES[1]:
            raise UnusableSettings(f"asks for a staff of {seat.staff:g} mm.", where=f"{path}, seat of {seat.part}",
                                   remedy=f"Write a height from {STAVES[0]:g} to {STAVES[1]:g}.")
        if seat.instrument and instrument(seat.instrument) is UNKNOWN:
            raise UnusableSettings(f"names an instrument {seat.instrument!r} that is not in shared/instruments.toml.",
                                   where=f"{path}, seat of {seat.part}", remedy="Use the name of a row there, such as alto-sax.")
    return Roster(seats=seats, leads=leads)


def _entry(path: Path, kind: str, number: int, row: Any, make: type[Any]) -> Any:
    where = f"{path}, {kind} {number}"
    if not isinstance(row, dict):
        raise UnusableSettings(f"[{kind}] must be written [[{kind}]].", where=where, remedy="See shared/roster_example.toml.")
    kinds = {"part": str, "instrument": str, "number": int, "player": str, "copies": int, "staff": (int, float), "of": str}
    for name, value in row.items():
        if name not in make.__dataclass_fields__:
            raise UnusableSettings(f"does not know {name!r}.", where=where, remedy="See shared/roster_example.toml.")
        if not isinstance(value, kinds[name]) or isinstance(value, bool):  # type: ignore[arg-type]
            raise UnusableSettings(f"{name} cannot be {value!r}.", where=where, remedy="See shared/roster_example.toml.")
    try:
        return make(**row)
    except TypeError as error:
        raise UnusableSettings("lacks an entry (part, or of and part).", where=where,
                               remedy="See shared/roster_example.toml.") from error
