"""Where each note and each direction begins and ends in the bytes, as expat says it."""

from __future__ import annotations

from typing import NamedTuple
from xml.parsers import expat

from sectionprep.errors import NotAScore, OverLimit, UnreadableFile
from sectionprep.musicxml.encodings import ONE_BYTE, blanks_before, printable
from sectionprep.settings import Limits


class ByteSpan(NamedTuple):
    """Bytes [start, end) of one element, its tags included."""

    start: int
    end: int


class _Spans:
    """Collects the byte spans of one kind of element while expat walks the bytes."""

    def __init__(self) -> None:
        self.starts: list[int] = []
        self.ends: dict[int, int] = {}
        self.open: list[int] = []

    def begin(self, at: int) -> None:
        self.open.append(len(self.starts))
        self.starts.append(at)

    def finish(self, at: int) -> None:
        self.ends[self.open.pop()] = at

    def done(self) -> tuple[ByteSpan, ...]:
        return tuple(ByteSpan(start, self.ends[n]) for n, start in enumerate(self.starts))


def spans_of(
    data: bytes, encoding: str, where: str, limits: Limits
) -> tuple[tuple[ByteSpan, ...], tuple[ByteSpan, ...]]:
    """Of all notes, and of all directions, in the order of the file. Raises NotAScore, OverLimit or
    UnreadableFile, with line and column."""
    notes, directions = _Spans(), _Spans()
    kinds: dict[str, _Spans | None] = {}  # of elements, by the names met so far

    def kind_of(name: str) -> _Spans | None:
        kinds[name] = {"note": notes, "direction": directions}.get(name.rpartition(":")[2])
        return kinds[name]

    depth = 0
    closing, end_tag = ">".encode(encoding), "</".encode(encoding)
    blanks = blanks_before(data)
    parser = expat.ParserCreate(encoding if encoding in ONE_BYTE else None)
    parser.ordered_attributes = True
    parser.SetParamEntityParsing(expat.XML_PARAM_ENTITY_PARSING_NEVER)

    def start(name: str, _attributes: object) -> None:
        nonlocal depth
        depth += 1
        if depth > 200:
            raise OverLimit(
                "elements are nested more than 200 deep.",
                where=where,
                remedy="This is no ordinary score; export it again.",
            )
        kind = kinds[name] if name in kinds else kind_of(name)
        if kind is not None:
            kind.begin(parser.CurrentByteIndex + blanks)
            if len(notes.starts) > limits.notes:
                raise OverLimit(
                    f"has more than {limits.notes:,} notes.",
                    where=where,
                    remedy="Raise the limit with --max-notes if you trust the file.",
                )

    def end(name: str) -> None:
        nonlocal depth
        depth -= 1
        kind = kinds[name]
        if kind is not None:
            at = (
                parser.CurrentByteIndex + blanks
            )  # of the closing tag; behind an element that is one tag
            kind.finish(
                data.find(closing, at) + len(closing) if data.startswith(end_tag, at) else at
            )

    def entity(name: str, *_rest: object) -> None:
        raise NotAScore(
            f"it defines an entity ({printable(name)}); such files are refused because they can be "
            f"made to "
            "explode or to read other files.",
            where=where,
            remedy="Export the score again, or remove the ENTITY line from its DOCTYPE.",
        )

    parser.StartElementHandler = start
    parser.EndElementHandler = end
    parser.EntityDeclHandler = entity
    try:
        parser.Parse(data[blanks:], True)
    except expat.ExpatError as error:
        text = expat.errors.messages.get(error.code, str(error))
        head = data[:64].lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n").replace(b"\x00", b"")
        if not head.startswith(b"<"):
            raise NotAScore(
                "this is not XML.", where=where, remedy="Export the chart as MusicXML."
            ) from error
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
    return notes.done(), directions.done()
