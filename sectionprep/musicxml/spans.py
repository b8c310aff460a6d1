"""Where each note and each direction begins and ends in the bytes, as expat says it."""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from typing import NamedTuple, overload
from xml.parsers import expat

from sectionprep.errors import NotAScore, OverLimit, UnreadableFile
from sectionprep.musicxml.encodings import ONE_BYTE, blanks_before, printable
from sectionprep.settings import Limits

#: levels of elements; a score has about ten; judgement
_DEEPEST = 200


class ByteSpan(NamedTuple):
    """Bytes [start, end) of one element, its tags included."""

    start: int
    end: int


class Spans(Sequence[ByteSpan]):
    """The byte spans of one kind of element, in the order in which they begin. Two numbers each: a
    long score has a hundred thousand, and few are ever asked for."""

    def __init__(self) -> None:
        self._starts, self._ends = array("q"), array("q")
        self._open: list[int] = []

    def begin(self, at: int) -> None:
        """One begins at this byte."""
        self._open.append(len(self._starts))
        self._starts.append(at)
        self._ends.append(at)

    def finish(self, at: int) -> None:
        """The one that was begun last ends before this byte."""
        self._ends[self._open.pop()] = at

    def __len__(self) -> int:
        return len(self._starts)

    @overload
    def __getitem__(self, at: int) -> ByteSpan: ...
    @overload
    def __getitem__(self, at: slice) -> Sequence[ByteSpan]: ...
    def __getitem__(self, at: int | slice) -> ByteSpan | Sequence[ByteSpan]:
        if isinstance(at, slice):
            return [*map(ByteSpan, self._starts[at], self._ends[at])]
        return ByteSpan(self._starts[at], self._ends[at])


class _Walk:
    """expat's walk through one file."""

    def __init__(self, data: bytes, encoding: str, where: str, most: int) -> None:
        self.data, self.where, self.most = data, where, most
        self.notes, self.directions = Spans(), Spans()
        self.kinds: dict[str, Spans | None] = {}  # of elements, by the names met so far
        self.depth = 0
        self.closing, self.end_tag = ">".encode(encoding), "</".encode(encoding)
        self.blanks = blanks_before(data)
        self.parser = expat.ParserCreate(encoding if encoding in ONE_BYTE else None)
        self.parser.ordered_attributes = True
        self.parser.SetParamEntityParsing(expat.XML_PARAM_ENTITY_PARSING_NEVER)
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.EntityDeclHandler = self._entity

    def through(self) -> None:
        """Raises what `spans_of` raises, and expat's own errors."""
        self.parser.Parse(self.data[self.blanks :], True)

    def _kind(self, name: str) -> Spans | None:
        spans = {"note": self.notes, "direction": self.directions}.get(name.rpartition(":")[2])
        self.kinds[name] = spans
        return spans

    def _start(self, name: str, _attributes: object) -> None:
        self.depth += 1
        if self.depth > _DEEPEST:
            raise OverLimit(
                f"elements are nested more than {_DEEPEST} deep.",
                where=self.where,
                remedy="This is no ordinary score; export it again.",
            )
        kind = self.kinds[name] if name in self.kinds else self._kind(name)
        if kind is not None:
            kind.begin(self.parser.CurrentByteIndex + self.blanks)
            if len(self.notes) > self.most:
                raise OverLimit(
                    f"has more than {self.most:,} notes.",
                    where=self.where,
                    remedy="Raise the limit with --max-notes if you trust the file.",
                )

    def _end(self, name: str) -> None:
        self.depth -= 1
        kind = self.kinds[name]
        if kind is None:
            return
        # of the closing tag; behind an element that is one tag
        at = self.parser.CurrentByteIndex + self.blanks
        if self.data.startswith(self.end_tag, at):
            at = self.data.find(self.closing, at) + len(self.closing)
        kind.finish(at)

    def _entity(self, name: str, *_rest: object) -> None:
        raise NotAScore(
            f"it defines an entity ({printable(name)}); such files are refused because they can be "
            "made to explode or to read other files.",
            where=self.where,
            remedy="Export the score again, or remove the ENTITY line from its DOCTYPE.",
        )


def spans_of(data: bytes, encoding: str, where: str, limits: Limits) -> tuple[Spans, Spans]:
    """Of all notes, and of all directions, in the order of the file. Raises NotAScore, OverLimit or
    UnreadableFile, with line and column."""
    walk = _Walk(data, encoding, where, limits.notes)
    try:
        walk.through()
    except expat.ExpatError as error:
        head = data[:64].lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n").replace(b"\x00", b"")
        if not head.startswith(b"<"):
            raise NotAScore(
                "this is not XML.", where=where, remedy="Export the chart as MusicXML."
            ) from error
        text = expat.errors.messages.get(error.code, str(error))
        raise UnreadableFile(
            f"the XML breaks off or is damaged at line {error.lineno}, column {error.offset} "
            f"({text}).",
            where=where,
            remedy="Export the score again; nothing was changed.",
        ) from error
    except (ValueError, UnicodeError, LookupError) as error:
        raise UnreadableFile(
            f"cannot be decoded ({error}).", where=where, remedy="Save it as UTF-8."
        ) from error
    return walk.notes, walk.directions
