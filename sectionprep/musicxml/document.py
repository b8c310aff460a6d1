"""The director's bytes, the tree over them, and each note's permanent address.

The bytes are the truth. lxml reads the tree; expat says where each `<note>` and `<measure>` begins
and ends in the bytes. The n-th note of the one is the n-th note of the other, and n is the note's
address.
"""

from __future__ import annotations

import io
import lzma
import re
import stat
import struct
import zipfile
import zlib
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from pathlib import Path, PurePosixPath
from typing import NamedTuple
from xml.parsers import expat

from lxml import etree

from sectionprep.errors import NotAScore, OverLimit, UnreadableFile
from sectionprep.musicxml.long_texts import cut_long_texts
from sectionprep.settings import Limits

_BOMS = ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"))


class Span(NamedTuple):
    """Bytes [start, end) of one element, its tags included."""

    start: int
    end: int


@dataclass(frozen=True, kw_only=True)
class Document:
    """One MusicXML document. encoding: a Python codec that reads any slice of `data` cut between
    characters.

    remark: what had to be taken otherwise than the file says, for the director. notes, directions:
    the span of each `<note>` and `<direction>` in document order. root: the lxml tree (never
    written back). archive: for .mxl, the whole archive and the name of the member that holds the
    score.
    """

    path: Path
    data: bytes
    encoding: str
    root: etree._Element
    notes: tuple[Span, ...]
    directions: tuple[Span, ...] = ()
    archive: bytes | None = None
    member: str = ""
    tree_notes: tuple[etree._Element, ...] = field(default=(), repr=False)
    tree_directions: tuple[etree._Element, ...] = field(default=(), repr=False)
    remark: str = ""

    def without_tree(self) -> Document:
        """The same for who looks at no element any more: the tree is most of a long score's
        memory."""
        bare = etree.Element("score-partwise")
        return replace(self, root=bare, tree_notes=(), tree_directions=())

    def place(self, element: etree._Element) -> str:
        """Where an element stands: "part Alto Sax 1, bar 12, line 345 of the file"."""
        around = [element, *element.iterancestors()]
        measure = next((e for e in around if tag_of(e) == "measure"), None)
        key = next((e.get("id") for e in around if tag_of(e) == "part"), None)
        said = []
        if key is not None:
            names = [
                e.findtext("{*}part-name")
                for e in self.root.iter("{*}score-part")
                if e.get("id") == key
            ]
            said.append(
                f"part {_plain(' '.join((names[0] if names and names[0] else key).split()))}"
            )
        if measure is not None:
            said.append(f"bar {_plain(measure.get('number') or '?')}")
        line = element.sourceline
        if isinstance(line, int) and not self.path.is_dir():  # a folder's parts were put together
            line += self.data.count(b"\n", 0, _blanks(self.data))
            said.append(f"line {line} of the file")
        return ", ".join(said)

    @cached_property
    def addresses(self) -> dict[int, int]:
        """Number of each note in document order, by the `id()` of its element in the tree."""
        return {id(element): n for n, element in enumerate(self.tree_notes)}

    @cached_property
    def has_words(self) -> bool:
        """False where nothing is sung: no note has a syllable."""
        if b"\x00" in self.data[:4]:  # two bytes a letter
            return next(self.root.iter("{*}lyric"), None) is not None
        return b"lyric" in self.data

    @cached_property
    def may_have_tablature(self) -> bool:
        """False where surely no note has a fret and no clef is one of tablature."""
        two_bytes_a_letter = b"\x00" in self.data[:4]
        return two_bytes_a_letter or b"fret" in self.data or b"tab" in self.data.lower()

    @cached_property
    def shows_beams(self) -> bool:
        """False where no note says how it is beamed."""
        return next(self.root.iter("{*}beam"), None) is not None

    @cached_property
    def found_measures(self) -> dict[tuple[str | None, int], list[etree._Element]]:
        """The measures of each part that was asked for, by its id and which of equal ids
        (`copies.part.measures_of`)."""
        return {}

    def text(self, span: Span) -> str:
        """The characters of a span."""
        return self.data[span.start : span.end].decode(self.encoding)


def tag_of(element: etree._Element) -> str:
    """Element name without namespace; empty for comments and processing instructions."""
    return local_name(element.tag)


@lru_cache(4096)
def local_name(tag: object) -> str:
    """The same for an element's `tag`: one call less where every note counts."""
    return tag.rpartition("}")[2] if isinstance(tag, str) else ""


def open_document(path: Path, limits: Limits | None = None) -> Document:
    """Read a .musicxml, .xml or .mxl file. Raises UnreadableFile, NotAScore or OverLimit, in one
    line."""
    limits = limits or Limits()
    raw = read_bytes(path, limits)
    if raw[:4] == b"PK\x03\x04":
        data, member, lost = _unpack(path, raw, limits)
        document = parse_document(path, data, limits, archive=raw, member=member)
        said = "; ".join(remark for remark in (document.remark, lost) if remark)
        return replace(document, remark=said) if lost else document
    return parse_document(path, raw, limits)


def read_bytes(path: Path, limits: Limits) -> bytes:
    """All of an ordinary file within the limits. Raises UnreadableFile or OverLimit."""
    try:
        if path.is_dir():
            raise UnreadableFile(
                "is a folder, not a file.", where=str(path), remedy="Name a score file."
            )
        status = path.stat()
        if not stat.S_ISREG(status.st_mode):
            raise UnreadableFile(
                "is no ordinary file.", where=str(path), remedy="Name a score file."
            )
        size = status.st_size
        if size > limits.file_bytes:
            raise OverLimit(
                f"has {size:,} bytes; the limit is {limits.file_bytes:,}.",
                where=str(path),
                remedy="Raise it with --max-bytes if you trust the file.",
            )
        raw = path.read_bytes()
    except OSError as error:
        raise UnreadableFile(
            f"cannot be opened ({error.strerror or error}).",
            where=str(path),
            remedy="Check the path and that you may read it.",
        ) from error
    if not raw.strip():
        raise UnreadableFile("is empty.", where=str(path), remedy="Export the score again.")
    return raw


def _unpack(path: Path, raw: bytes, limits: Limits) -> tuple[bytes, str, str]:
    where = str(path)
    try:
        with zipfile.ZipFile(io.BytesIO(raw)) as archive:
            if sum(info.file_size for info in archive.infolist()) > _ceiling(len(raw), limits):
                raise OverLimit(
                    "unpacks to far more than it weighs.",
                    where=where,
                    remedy="This is no ordinary score; export it again, uncompressed.",
                )
            member = _root_member(archive, where)
            data = _member_bytes(archive, member, len(raw), where, limits)
            return data, member, _lost(archive, member)
    except ARCHIVE_ERRORS as error:
        raise UnreadableFile(
            f"the compressed score is damaged ({error}).",
            where=where,
            remedy="Export the score again.",
        ) from error


#: what reading a damaged, encrypted or unknown member of an archive can raise
ARCHIVE_ERRORS = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    struct.error,
    OSError,
    EOFError,
    NotImplementedError,
    RuntimeError,
    ValueError,
)


def _lost(archive: zipfile.ZipFile, score: str) -> str:
    """What is to be said of members beside the score that cannot be copied; "" where all can."""
    lost = []
    for info in archive.infolist():
        if info.filename != score:
            try:
                archive.read(info)
            except ARCHIVE_ERRORS:
                lost.append(_plain(info.filename))
    if not lost:
        return ""
    return f"its archive holds what cannot be read ({', '.join(lost)}): left out of a marked .mxl"


def _root_member(archive: zipfile.ZipFile, where: str) -> str:
    names = archive.namelist()
    if "META-INF/container.xml" in names:
        info = archive.getinfo("META-INF/container.xml")
        if info.file_size < 1_000_000:
            found = re.findall(rb"""full-path\s*=\s*["']([^"']+)["']""", archive.read(info))
            for candidate in found:
                name: str = candidate.decode("utf-8", "replace")
                if name in names and not name.lower().endswith(
                    (".pdf", ".png", ".jpg", ".mid", ".midi")
                ):
                    return name
    scores = [
        n
        for n in names
        if n.lower().endswith((".xml", ".musicxml"))
        and not n.startswith("META-INF/")
        and ".." not in PurePosixPath(n).parts
    ]
    if not scores:
        raise NotAScore(
            "the archive holds no score.",
            where=where,
            remedy="Export the chart as MusicXML and try that file.",
        )
    return min(scores, key=len)


def _ceiling(packed: int, limits: Limits) -> int:
    return min(limits.file_bytes, max(1_000_000, packed * limits.expansion))


def _member_bytes(
    archive: zipfile.ZipFile, member: str, packed: int, where: str, limits: Limits
) -> bytes:
    ceiling = _ceiling(packed, limits)
    with archive.open(member) as stream:
        data = stream.read(ceiling + 1)
    if len(data) > ceiling:
        raise OverLimit(
            f"unpacks to more than {ceiling:,} bytes.",
            where=where,
            remedy="This is no ordinary score; export it again, uncompressed.",
        )
    return data


def parse_document(
    path: Path,
    data: bytes,
    limits: Limits | None = None,
    *,
    archive: bytes | None = None,
    member: str = "",
    ours: bool = False,
) -> Document:
    """Build a Document from bytes already in memory. ours: the bytes are a checked document with
    our insertions and will not be changed again: where each note stands in them is not asked."""
    limits = limits or Limits()
    where = f"{path}" + (f" ({member})" if member else "")
    if not data.strip():
        raise UnreadableFile("is empty.", where=where, remedy="Export the score again.")
    encoding, remark = _encoding_of(data, where)
    spans, direction_spans = ((), ()) if ours else _spans(data, encoding, where, limits)
    root = _tree(data, where, encoding if remark else None)
    if tag_of(root) not in ("score-partwise", "score-timewise"):
        raise NotAScore(
            f"this is XML, but its outermost element is <{_plain(tag_of(root))}>, not a score.",
            where=where,
            remedy="Export the chart as MusicXML (partwise).",
        )
    remark = "; ".join(said for said in (remark, cut_long_texts(root, data)) if said)
    tree_notes = tuple(root.iter("{*}note"))
    tree_directions = tuple(root.iter("{*}direction"))
    if not ours and (len(tree_notes) != len(spans) or len(tree_directions) != len(direction_spans)):
        raise NotAScore(
            f"two parsers disagree on the number of notes ({len(tree_notes)} and {len(spans)}).",
            where=where,
            remedy="The file is not safe to change; export it again.",
        )
    return Document(
        path=path,
        data=data,
        encoding=encoding,
        root=root,
        notes=spans,
        directions=direction_spans,
        archive=archive,
        member=member,
        tree_notes=tree_notes,
        tree_directions=tree_directions,
        remark=remark,
    )


def _plain(text: str) -> str:
    return "".join(c if c.isprintable() else "?" for c in text)[:80]


def _encoding_of(data: bytes, where: str) -> tuple[str, str]:
    """A codec, and what is to be said where it is not the one that the file declares."""
    for mark, codec in _BOMS:
        if data.startswith(mark):
            return codec, ""
    if data[:2] == b"<\x00":
        return "utf-16-le", ""
    if data[:2] == b"\x00<":
        return "utf-16-be", ""
    declared = re.match(rb"""\s*<\?xml[^>]*?encoding\s*=\s*["']([A-Za-z0-9._-]+)["']""", data[:400])
    name = declared[1].decode("ascii").lower() if declared else "utf-8"
    try:
        b"<".decode(name)
    except (LookupError, UnicodeDecodeError, ValueError) as error:
        raise UnreadableFile(
            f"its encoding, {name}, is not known here.", where=where, remedy="Save it as UTF-8."
        ) from error
    return (name, "") if name not in ("utf-8", "utf8") else _proved(data, where)


_MANY_BYTES = re.compile(rb"[\xc2-\xf4][\x80-\xbf]")  # how UTF-8 writes a letter beyond ASCII


def _proved(data: bytes, where: str) -> tuple[str, str]:
    """UTF-8 as declared; or the one byte a letter of Western Europe that programs forget to
    declare, if all letters are such."""
    try:
        data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        if b"\x00" in data or _MANY_BYTES.search(data):
            raise UnreadableFile(
                f"should be UTF-8, but byte {data[error.start]:#04x} on line {line} is not.",
                where=where,
                remedy="Open it in a text editor, save it as UTF-8, and try that file.",
            ) from error
        said = f"is not UTF-8, as it should be (line {line}): read as Latin-1"
        return _one_byte(data), f"{said}; look at its names and words"
    return "utf-8", ""


def _one_byte(data: bytes) -> str:
    try:
        data.decode("windows-1252")
    except UnicodeDecodeError:
        return "iso-8859-1"
    return "windows-1252"


def _blanks(data: bytes) -> int:
    """How many bytes of white space stand before the declaration, where XML allows none and
    programs leave some."""
    first = len(data) - len(data.lstrip(b" \t\r\n"))
    return first if data.startswith(b"<?xml", first) else 0


_ONE_BYTE = frozenset({"windows-1252", "iso-8859-1"})


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

    def done(self) -> tuple[Span, ...]:
        return tuple(Span(start, self.ends[n]) for n, start in enumerate(self.starts))


def _spans(
    data: bytes, encoding: str, where: str, limits: Limits
) -> tuple[tuple[Span, ...], tuple[Span, ...]]:
    notes, directions = _Spans(), _Spans()
    kinds: dict[str, _Spans | None] = {}  # of elements, by the names met so far

    def kind_of(name: str) -> _Spans | None:
        kinds[name] = {"note": notes, "direction": directions}.get(name.rpartition(":")[2])
        return kinds[name]

    depth = 0
    closing, end_tag = ">".encode(encoding), "</".encode(encoding)
    blanks = _blanks(data)
    parser = expat.ParserCreate(encoding if encoding in _ONE_BYTE else None)
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
            f"it defines an entity ({_plain(name)}); such files are refused because they can be "
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


def _tree(data: bytes, where: str, encoding: str | None) -> etree._Element:
    """encoding: where the declaration is not to be believed."""
    parser = etree.XMLParser(
        encoding=encoding,
        resolve_entities=False,
        no_network=True,
        load_dtd=False,
        huge_tree=True,
        remove_comments=True,
        remove_pis=True,
    )
    try:
        return etree.fromstring(data[_blanks(data) :], parser)
    except (etree.XMLSyntaxError, ValueError) as error:
        raise UnreadableFile(
            f"the XML is damaged ({error}).", where=where, remedy="Export the score again."
        ) from error
