"""The band's roster: who sits where and who leads, settled by the director in a file of our own
(TOML)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from msgspec import structs

from sectionprep.errors import UnusableSettings
from sectionprep.music.chart import Part
from sectionprep.music.instruments import UNKNOWN, Chair, instrument
from sectionprep.music.naming import finds
from sectionprep.music.part_names import read_name
from sectionprep.settings import read_toml
from sectionprep.shapes import File, shaped

ROSTER = "roster"  # where a remark on a line of it is said to stand
MOST_COPIES = 99  # of one part: a judgement, far above any section
STAVES = (
    7.0,
    11.0,
    # millimetres: the smallest and the largest staff (D. J. Argue, Music Preparation Fundamentals;
    # large print)
)


class Seat(File, frozen=True, kw_only=True):
    """One line of the roster. staff: millimetres, 0 where the default will do."""

    part: str
    instrument: str = ""
    number: int = 0
    player: str = ""
    copies: int = 1
    staff: float = 0.0


class LeadWish(File, frozen=True, kw_only=True):
    """Whose line a group follows: `of` is a scope, a passage id, or "bar N"."""

    of: str
    part: str


class _RosterFile(File, frozen=True, kw_only=True):
    seat: tuple[Seat, ...] = ()
    lead: tuple[LeadWish, ...] = ()


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

        return Roster(
            seats=tuple(structs.replace(seat, part=label(seat.part)) for seat in self.seats),
            leads=tuple(structs.replace(wish, part=label(wish.part)) for wish in self.leads),
        )

    def settle(self, part: str, chair: Chair) -> Chair:
        """The chair of a part after the director's word."""
        seat = self.seat(part)
        if seat is None or not (seat.instrument or seat.number):
            return chair
        same = seat.instrument in ("", chair.instrument.key)  # a clarinet in A stays one in A
        return replace(
            chair,
            instrument=chair.instrument if same else instrument(seat.instrument),
            number=seat.number or chair.number,
            numbers=(seat.number,) if seat.number else chair.numbers,
            sure=chair.sure or bool(seat.instrument),
            why="roster",
            other="" if seat.instrument else chair.other,
        )


EMPTY = Roster()
_PUT = "put this line at the top of a roster (--roster): "


def line_for(label: str, chair: Chair) -> str:
    """The line of a roster that settles a chair as it was read."""
    known = chair.instrument.key if chair.instrument.key != UNKNOWN.key else "INSTRUMENT"
    quoted = label.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{quoted}" = "{known}{f" {chair.number}" if chair.number else ""}"'


def asked(label: str, chair: Chair) -> str:
    """What the director is asked about a chair, in one line with the answer ready to paste; empty
    for nothing."""
    settle = f"to settle it, {_PUT}{line_for(label, chair)}"
    doubt = f"its chair is not certain ({chair.why})"
    if chair.instrument.key == UNKNOWN.key:
        return f"{doubt}; {settle} (a row of shared/instruments.toml, such as alto-sax)"
    if not chair.sure:
        return f"{doubt}: read as {chair.says}; {settle}"
    if chair.other:
        heard = replace(chair, instrument=instrument(chair.other))
        said = f"its name says {chair.instrument.says}, its sound id {heard.instrument.says}"
        return (
            f"{said}: read as {chair.says}; if the sound is right, {_PUT}{line_for(label, heard)}"
        )
    return ""


_EXAMPLE = 'See shared/roster_example.toml; lines such as "Reed 1" = "alto-sax 1" stand at its top.'
_REMEDIES = {kind: f"Write [[{kind}]], in double brackets. {_EXAMPLE}" for kind in ("seat", "lead")}


def read_roster(path: Path) -> Roster:
    """Read a roster file. Raises UnusableSettings with the entry that is wrong."""
    table = read_toml(path)
    lines = {part: words for part, words in table.items() if isinstance(words, str)}
    rest = {name: value for name, value in table.items() if name not in lines}
    file = shaped(rest, _RosterFile, str(path), _REMEDIES, _EXAMPLE)
    seats = (*(_short(path, part, words) for part, words in lines.items()), *file.seat)
    twice = [part for part, count in Counter(seat.part for seat in seats).items() if count > 1]
    if twice:
        raise UnusableSettings(
            f"has more than one seat for {twice[0]}.", where=str(path), remedy="Make one of them."
        )
    for seat in seats:
        if not 0 <= seat.copies <= MOST_COPIES:
            raise UnusableSettings(
                f"asks for {seat.copies} copies.",
                where=f"{path}, seat of {seat.part}",
                remedy=f"Write a number from 0 to {MOST_COPIES}.",
            )
        if seat.staff and not STAVES[0] <= seat.staff <= STAVES[1]:
            raise UnusableSettings(
                f"asks for a staff of {seat.staff:g} mm.",
                where=f"{path}, seat of {seat.part}",
                remedy=f"Write a height from {STAVES[0]:g} to {STAVES[1]:g}.",
            )
        if seat.instrument and instrument(seat.instrument) is UNKNOWN:
            raise UnusableSettings(
                f"names an instrument {seat.instrument!r} that is not in shared/instruments.toml.",
                where=f"{path}, seat of {seat.part}",
                remedy="Use the name of a row there, such as alto-sax.",
            )
    return Roster(seats=seats, leads=file.lead)


def _short(path: Path, part: str, words: str) -> Seat:
    """A line such as "Reed 1" = "alto-sax 1": a row of the instrument table, or an instrument's
    name, and a number."""
    name, _, number = words.strip().rpartition(" ")
    if not number.isdecimal():
        name, number = words.strip(), "0"
    keys = (name,) if instrument(name) is not UNKNOWN else read_name(name).keys
    if len(keys) != 1:
        raise UnusableSettings(
            f"seats {part!r} as {words!r}, which is no single instrument.",
            where=str(path),
            remedy='Write a row of shared/instruments.toml and a number, such as "alto-sax 1".',
        )
    return Seat(part=part, instrument=keys[0], number=int(number))
