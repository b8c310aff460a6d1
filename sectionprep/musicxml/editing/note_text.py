"""The text of one note, and what an edit changes in it.

Everything that an edit does not name stays as it was, to the character.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from typing import NamedTuple

from sectionprep.music.marks import BY_NAME, named_by
from sectionprep.musicxml.note_order import stands_after, stands_before
from sectionprep.musicxml.numbers import decimal, whole


@dataclass(slots=True, kw_only=True)
class NoteEdit:
    """What shall change at one note. before, after: directions, as XML without indentation, at its
    start and at its end; inside: the same at a share of its length. slur numbers are chosen here;
    drop_starts, drop_stops: numbers of the slurs whose ends go. below: its marks go under it, for
    the lower of two players on a staff plays it."""

    add: set[str] = field(default_factory=set)
    remove: set[str] = field(default_factory=set)
    slur_start: int = 0
    slur_stop: int = 0
    drop_starts: set[int] = field(default_factory=set)
    drop_stops: set[int] = field(default_factory=set)
    before: list[str] = field(default_factory=list)
    after: list[str] = field(default_factory=list)
    inside: list[tuple[Fraction, str]] = field(default_factory=list)
    below: bool = False


_TOKEN = re.compile(
    r"<!--.*?-->|<\?.*?\?>|<!\[CDATA\[.*?\]\]>|<(/?)([\w:.-]+)([^>\"']*(?:(?:\"[^\"]*\"|'[^']*')[^>\"']*)*)>",
    re.DOTALL,
)
#: what notations would go into or stand before
_COMES_LATE = re.compile(r"notations|lyric|play|listen|<!")
_ELEMENTS = {
    "accent": '<accent placement="above"/>',
    "strong-accent": '<strong-accent type="up" placement="above"/>',
    "breath-mark": "<breath-mark>comma</breath-mark>",
    "caesura": "<caesura>normal</caesura>",
    "lift": '<other-articulation smufl="brassLiftShort">lift</other-articulation>',
    "rip": "<other-articulation>rip</other-articulation>",
    "tremolo": '<tremolo type="single">3</tremolo>',
}


def _element(name: str, edit: NoteEdit) -> str:
    """A mark as XML, on the side of the note where its player looks for it."""
    element = _ELEMENTS.get(name, f"<{name}/>")
    if edit.below and BY_NAME[name].family in ("attack", "length"):
        turned = ' type="down"' if name == "strong-accent" else ""
        return f'<{name}{turned} placement="below"/>'
    if name == "tenuto" and "accent" in edit.add:  # the two are read as one sign: on one side
        return '<tenuto placement="above"/>'
    return element


class _Node(NamedTuple):
    """An element in the text of one note: [start, end) with its tags, inner from `open_end` to
    `close_start`."""

    name: str
    start: int
    open_end: int
    close_start: int
    end: int
    attributes: str

    @property
    def is_empty_tag(self) -> bool:
        return self.open_end == self.end


def _value(node: _Node, attribute: str) -> str:
    """The value of an attribute, "" where it has none."""
    found = re.search(rf"""(?<![\w:.-]){attribute}\s*=\s*["']([^"']*)["']""", node.attributes)
    return found[1] if found else ""


def _number(node: _Node) -> int:
    """The number of a slur's end, as the reader takes it."""
    return whole(_value(node, "number") or None, 1)


def _children(text: str, start: int, stop: int) -> list[_Node]:
    found: list[_Node] = []
    depth = 0
    opened: tuple[str, int, int, str] = ("", 0, 0, "")
    for m in _TOKEN.finditer(text, start, stop):
        closing, name, attributes = m.groups()
        if name is None:
            continue
        if closing:
            depth -= 1
            if depth == 0:
                found.append(_Node(opened[0], opened[1], opened[2], m.start(), m.end(), opened[3]))
        elif attributes.endswith("/"):
            if depth == 0:
                found.append(
                    _Node(name.rpartition(":")[2], m.start(), m.end(), m.end(), m.end(), attributes)
                )
        else:
            if depth == 0:
                opened = (name.rpartition(":")[2], m.start(), m.end(), attributes)
            depth += 1
    return found


class NoteText:
    """The text of one note and the splices (in characters of that text) that an edit makes in
    it."""

    def __init__(self, text: str, newline: str) -> None:
        self.text = text
        head = _TOKEN.match(text)
        assert head
        self.prefix = head[2].rpartition(":")[0]
        close = text.rfind("</")
        self.open_end, self.close = head.end(), close
        first = text[head.end() : text.find("<", head.end())] if close > head.end() else ""
        self.indent = first[first.rfind("\n") + 1 :] if "\n" in first else None
        self.newline = newline
        self.splices: list[tuple[int, int, str]] = []

    @cached_property
    def children(self) -> list[_Node]:
        """The elements inside the note."""
        return _children(self.text, self.open_end, self.close)

    def tag(self, xml: str) -> str:
        """Give our elements the prefix that the document's own carry."""
        return re.sub(r"<(/?)(\w)", rf"<\1{self.prefix}:\2", xml) if self.prefix else xml

    def insert_line(self, at: int, xml: str, extra: str = "") -> None:
        lead = f"{self.newline}{self.indent}{extra}" if self.indent is not None else ""
        self.splices.append((at, at, lead + self.tag(xml)))

    def offset(self, share: Fraction, direction: str) -> str:
        """A direction that stands before the note, said to hold at a share of its length."""
        node = next(n for n in self.children if n.name == "duration")
        length = decimal(self.text[node.open_end : node.close_start]) or Fraction(0)
        offset = f"{float(share * length):.4f}".rstrip("0").rstrip(".")
        head, kind, rest = direction.rpartition("</direction-type>")
        return f"{head}{kind}<offset>{offset}</offset>{rest}"

    def edit(self, edit: NoteEdit) -> None:
        if edit.remove or edit.drop_starts or edit.drop_stops:
            self._remove(edit)
        if "ghost" in edit.add:
            self._ghost()
        by_home: dict[str, list[str]] = {}
        for name in sorted(edit.add - {"ghost"}):
            by_home.setdefault(BY_NAME[name].home, []).append(_element(name, edit))
        slurs = []
        if edit.slur_stop:
            slurs.append(f'<slur type="stop" number="{edit.slur_stop}"/>')
        if edit.slur_start:
            slurs.append(f'<slur type="start" number="{edit.slur_start}"/>')
        if by_home or slurs:
            self._notations(by_home, slurs)

    # -- adding

    def _notations(self, by_home: Mapping[str, list[str]], slurs: list[str]) -> None:
        if not _COMES_LATE.search(self.text):  # as in most notes; to know it spares taking it apart
            self._fresh_block(self.text.rfind(">", 0, self.close) + 1, by_home, slurs)
            return
        block = next(
            (n for n in self.children if n.name == "notations" and not n.is_empty_tag), None
        )
        if block is None:
            self._fresh_block(self._place_for(stands_after("notations")), by_home, slurs)
            return
        inner = _children(self.text, block.open_end, block.close_start)
        spread = "\n" in self.text[block.open_end : block.close_start]
        fresh: list[str] = list(slurs)
        for home, elements in by_home.items():
            node = next((n for n in inner if n.name == home), None)
            if node is None:
                fresh.append(f"<{home}>{''.join(elements)}</{home}>")
            elif node.is_empty_tag:
                self.splices.append(
                    (node.start, node.end, self.tag(f"<{home}>{''.join(elements)}</{home}>"))
                )
            else:
                self._into(node, elements)
        if fresh:
            at = inner[-1].end if inner else block.open_end
            if spread and self.indent is not None:
                step = self._inner_indent(block)
                self.splices.append(
                    (at, at, "".join(f"{self.newline}{step}{self.tag(xml)}" for xml in fresh))
                )
            else:
                self.splices.append((at, at, self.tag("".join(fresh))))

    def _fresh_block(self, at: int, by_home: Mapping[str, list[str]], slurs: list[str]) -> None:
        homes = (f"<{home}>{''.join(elements)}</{home}>" for home, elements in by_home.items())
        self.insert_line(at, f"<notations>{''.join(slurs)}{''.join(homes)}</notations>")

    def _into(self, node: _Node, elements: list[str]) -> None:
        inner = _children(self.text, node.open_end, node.close_start)
        at = inner[-1].end if inner else node.open_end
        if "\n" in self.text[node.open_end : node.close_start] and inner:
            before = self.text[: inner[-1].start]
            step = before[before.rfind("\n") + 1 :]
            lead = f"{self.newline}{step}" if not step.strip() else ""
            self.splices.append((at, at, "".join(f"{lead}{self.tag(xml)}" for xml in elements)))
        else:
            self.splices.append((at, at, self.tag("".join(elements))))

    def _inner_indent(self, block: _Node) -> str:
        inner = self.text[block.open_end : block.close_start]
        match = re.match(r"\s*\n([ \t]*)<", inner)
        return match[1] if match else (self.indent or "") + "  "

    def _place_for(self, followers: frozenset[str]) -> int:
        """End of the last child that stands before any of `followers`."""
        before = [n for n in self.children if n.name not in followers]
        first = min((n.start for n in self.children if n.name in followers), default=len(self.text))
        before = [n for n in before if n.end <= first]
        return before[-1].end if before else self.close

    def _ghost(self) -> None:
        head = next((n for n in self.children if n.name == "notehead"), None)
        if head is None:
            before = [n for n in self.children if n.name in stands_before("notehead")]
            self.insert_line(before[-1].end, '<notehead parentheses="yes">normal</notehead>')
        elif "parentheses" not in head.attributes:
            at = head.start + 1 + len(f"{self.prefix}:notehead" if self.prefix else "notehead")
            self.splices.append((at, at, ' parentheses="yes"'))
        else:
            value = re.search(
                r"""parentheses\s*=\s*["']([^"']*)["']""", self.text[head.start : head.open_end]
            )
            if value:
                self.splices.append((head.start + value.start(1), head.start + value.end(1), "yes"))

    # -- taking away

    def _mark(self, node: _Node) -> str:
        """The name of the mark an element stands for."""
        if not node.name.startswith("other-"):
            return node.name
        words = "" if node.is_empty_tag else self.text[node.open_end : node.close_start]
        return named_by(_value(node, "smufl"), words)

    def _remove(self, edit: NoteEdit) -> None:
        for block in [n for n in self.children if n.name == "notations"]:
            homes = _children(self.text, block.open_end, block.close_start)
            gone: list[_Node] = []
            emptied = 0  # children of the block that go whole
            for home in homes:
                if home.name == "slur":
                    if _number(home) in {"start": edit.drop_starts, "stop": edit.drop_stops}.get(
                        _value(home, "type"), ()
                    ):
                        gone.append(home)
                        emptied += 1
                elif home.name in ("articulations", "technical", "ornaments"):
                    marks = _children(self.text, home.open_end, home.close_start)
                    out = [m for m in marks if self._mark(m) in edit.remove]
                    refilled = any(
                        BY_NAME[name].home == home.name for name in edit.add if name in BY_NAME
                    )
                    if out and len(out) == len(marks) and not refilled:
                        gone.append(home)
                        emptied += 1
                    else:
                        gone.extend(out)
            refill = bool(edit.slur_start or edit.slur_stop or edit.add - {"ghost"})
            if gone and emptied == len(homes) and not refill:
                gone = [block]
            for node in gone:
                self.splices.append((self._with_space(node.start), node.end, ""))
        if "ghost" in edit.remove:
            head = next((n for n in self.children if n.name == "notehead"), None)
            value = (
                re.search(r"""\s*parentheses\s*=\s*["']yes["']""", head.attributes)
                if head
                else None
            )
            if head and value:
                at = self.text.index(value[0], head.start)
                self.splices.append((at, at + len(value[0]), ""))

    def _with_space(self, start: int) -> int:
        """An element alone on its line goes with its line break."""
        before = self.text[:start]
        stripped = before.rstrip(" \t")
        if stripped.endswith("\n"):
            stripped = stripped[:-1].removesuffix("\r")
            return len(stripped)
        return start
