"""The plan file as text to be changed by one decision and by nothing else.

What the director wrote stays to the letter: our lines stand in a block of their own at the end,
where the last word wins. Sentences of the house go into the director's own [house], in a line each.
Every change is read back; one that would mean anything else than asked for is refused.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

from sectionprep.errors import UnusableSettings
from sectionprep.phrasing.wishes import parse_wish

MARK = "# -- Decided on the review page. The last line for a note wins. --"


class Key(NamedTuple):
    """What a line speaks of: the label of the lead, and "bar beat" of a note, or with what is
    settled at that place: "bar beat hairpin"."""

    lead: str
    place: str


class PlanLine(NamedTuple):
    """A line of the plan file and the passage it was made for."""

    passage: str
    text: str


@dataclass(frozen=True, slots=True)
class PlanText:
    """head: all that is not ours, as it came. lines: ours."""

    head: str = ""
    lines: Mapping[Key, PlanLine] = field(default_factory=dict)

    def text(self) -> str:
        """The whole file."""
        if not self.lines:
            return self.head
        gap = "" if not self.head or self.head.endswith("\n\n") else "\n"
        gap = "\n" + gap if self.head and not self.head.endswith("\n") else gap
        return f"{self.head}{gap}{_block(self.lines)}"

    def with_line(self, key: Key, line: PlanLine | None) -> PlanText:
        """The same with this line, or without any of ours for the note."""
        lines = {k: v for k, v in self.lines.items() if k != key}
        return replace(self, lines=lines if line is None else {**lines, key: line})

    @property
    def habits(self) -> tuple[str, ...]:
        """The sentences of the house."""
        return _habits(self.head)

    def with_habit(self, sentence: str, wanted: bool) -> PlanText:
        """The same with this sentence of the house, or without it. Raises UnusableSettings where
        the file says it in a way that cannot be changed safely."""
        if (sentence in self.habits) == wanted:
            return self
        head = _with_habit(self.head, sentence) if wanted else _without_habit(self.head, sentence)
        now = tuple(h for h in self.habits if h != sentence) + ((sentence,) if wanted else ())
        if not _says(head, now, _rest(self.head)):
            raise UnusableSettings(
                "says its habits in a way that this page cannot change safely.",
                remedy=f'Change "{sentence}" in its [house] by hand; the page notices.',
            )
        return replace(self, head=head)


def split(text: str) -> PlanText:
    """A plan file in its two pieces. A block of ours that somebody has edited is theirs from then
    on: it stays as it is, and ours begins anew behind it."""
    head, mark, block = text.rpartition(MARK)
    if not mark:
        return PlanText(head=text)
    lines: dict[Key, PlanLine] = {}
    for passage in tomllib.loads(block).get("passage", []):
        for line in passage.get("lines", []):
            key = Key(str(passage.get("lead")), _place(line))
            lines[key] = PlanLine(str(passage.get("id")), line)
    if _block(lines) == MARK + block:
        return PlanText(head=head, lines=lines)
    theirs = text.replace(MARK, "# -- Decided on the review page and edited since. --")
    return PlanText(head=theirs)


def _place(line: str) -> str:
    """Of what a line speaks: its place, and for a wish what it is about."""
    at, _, rest = line.partition("|")
    wish = parse_wish(rest.partition("|")[2].partition("|")[0])
    first = at.partition(" to ")[0].strip()
    if wish is None:
        return first
    return f"{first} {wish[1] if wish[0] == 'against' else wish[0]}"


def _block(lines: Mapping[Key, PlanLine]) -> str:
    tables: dict[tuple[str, str], list[str]] = {}
    for key, line in lines.items():
        tables.setdefault((line.passage, key.lead), []).append(line.text)
    made = [MARK]
    for (passage, lead), texts in tables.items():
        made += ["[[passage]]", f"id = {quoted(passage)}", f"lead = {quoted(lead)}", "lines = ["]
        made += [f"  {quoted(text)}," for text in texts] + ["]", ""]
    return "\n".join(made)


def quoted(text: str) -> str:
    """Text as a TOML string on one line."""
    plain = " ".join("".join(c for c in text if c.isprintable()).split())
    escaped = plain.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _tables(text: str) -> dict[str, Any]:
    return tomllib.loads(text.removeprefix("\ufeff"))


def _habits(head: str) -> tuple[str, ...]:
    house = _tables(head).get("house", {})
    return tuple(house.get("habits", ())) if isinstance(house, dict) else ()


def _rest(head: str) -> dict[str, Any]:
    """All that a file says, its habits apart."""
    table = _tables(head)
    house = {k: v for k, v in table.get("house", {}).items() if k != "habits"}
    return {k: v for k, v in table.items() if k != "house"} | ({"house": house} if house else {})


def _says(head: str, habits: tuple[str, ...], rest: dict[str, Any]) -> bool:
    try:
        return _habits(head) == habits and _rest(head) == rest
    except tomllib.TOMLDecodeError:
        return False


_HOUSE = re.compile(r"^[ \t]*\[house\][ \t]*(?:#[^\n]*)?\n?", re.MULTILINE)
_BEGIN = re.compile(r"^([ \t]*habits[ \t]*=[ \t]*\[)[ \t]*\n?", re.MULTILINE)


def _with_habit(head: str, sentence: str) -> str:
    begin, house = _BEGIN.search(head), _HOUSE.search(head)
    if begin is not None:  # first in the list, then moved to its end by who reads it back
        return _appended(head, begin.end(), sentence)
    new = f"habits = [\n  {quoted(sentence)},\n]\n"
    if house is not None:
        gap = "" if house[0].endswith("\n") else "\n"
        return f"{head[: house.end()]}{gap}{new}{head[house.end() :]}"
    table = re.search(r"^[ \t]*\[\[", head, re.MULTILINE)
    at = table.start() if table else len(head)
    gap = "" if not at or head[:at].endswith("\n") else "\n"
    return f"{head[:at]}{gap}[house]\n{new}\n{head[at:]}"


def _appended(head: str, start: int, sentence: str) -> str:
    """Before the bracket that ends the list: the first one outside strings and comments."""
    token = re.compile(r'"(?:[^"\\\n]|\\.)*"|\'[^\'\n]*\'|#[^\n]*|\]')
    last = start
    for found in token.finditer(head, start):
        if found[0] == "]":
            between = head[last : found.start()]
            bare = re.sub(r"#[^\n]*", "", between)
            comma = "" if last == start or "," in bare else ","
            inside = head[last : found.start()].rstrip(" \t")
            gap = "" if inside.endswith("\n") else "\n"
            added = f"{inside}{gap}  {quoted(sentence)},\n"
            return f"{head[:last]}{comma}{added}{head[found.start() :]}"
        if found[0][0] != "#":
            last = found.end()
    return head


def _without_habit(head: str, sentence: str) -> str:
    own_line = re.compile(
        rf"^[ \t]*{re.escape(quoted(sentence))}[ \t]*,?[ \t]*(?:#[^\n]*)?\n", re.MULTILINE
    )
    shorter = own_line.sub("", head, count=1)
    if shorter != head:
        return shorter
    return re.sub(rf"{re.escape(quoted(sentence))}[ \t]*,?[ \t]*", "", head, count=1)
