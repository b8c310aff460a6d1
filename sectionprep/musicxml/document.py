"""The director's bytes, the tree over them, and each note's permanent address.

The bytes are the truth. lxml reads the tree; expat says where each `<note>` and `<measure>` begins
and ends in the bytes. The n-th note of the one is the n-th note of the other, and n is the note's
address.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

from lxml import etree

from sectionprep.errors import NotAScore, UnreadableFile
from sectionprep.musicxml.encodings import blanks_before, encoding_of, printable
from sectionprep.musicxml.files import read_bytes, unpack
from sectionprep.musicxml.long_texts import cut_long_texts
from sectionprep.musicxml.spans import ByteSpan, spans_of
from sectionprep.settings import Limits


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
    notes: Sequence[ByteSpan]
    directions: Sequence[ByteSpan] = ()
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
                f"part {printable(' '.join((names[0] if names and names[0] else key).split()))}"
            )
        if measure is not None:
            said.append(f"bar {printable(measure.get('number') or '?')}")
        line = element.sourceline
        if isinstance(line, int) and not self.path.is_dir():  # a folder's parts were put together
            line += self.data.count(b"\n", 0, blanks_before(self.data))
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
    def may_have_slashes(self) -> bool:
        """False where surely no slash stands in the place of notes."""
        return next(self.root.iter("{*}slash"), None) is not None

    @cached_property
    def shows_beams(self) -> bool:
        """False where no note says how it is beamed."""
        return next(self.root.iter("{*}beam"), None) is not None

    @cached_property
    def found_stated(self) -> dict[tuple[str | None, int], Any]:
        """What each part states that was asked for (`copies.part.stated_in`)."""
        return {}

    @cached_property
    def found_measures(self) -> dict[tuple[str | None, int], list[etree._Element]]:
        """The measures of each part that was asked for, by its id and which of equal ids
        (`copies.part.measures_of`)."""
        return {}

    def text(self, span: ByteSpan) -> str:
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
        data, member, lost = unpack(path, raw, limits)
        document = parse_document(path, data, limits, archive=raw, member=member)
        said = "; ".join(remark for remark in (document.remark, lost) if remark)
        return replace(document, remark=said) if lost else document
    return parse_document(path, raw, limits)


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
    encoding, remark = encoding_of(data, where)
    notes: Sequence[ByteSpan] = ()
    directions: Sequence[ByteSpan] = ()
    if not ours:
        notes, directions = spans_of(data, encoding, where, limits)
    root = _tree(data, where, encoding if remark else None)
    if tag_of(root) not in ("score-partwise", "score-timewise"):
        raise NotAScore(
            f"this is XML, but its outermost element is <{printable(tag_of(root))}>, not a score.",
            where=where,
            remedy="Export the chart as MusicXML (partwise).",
        )
    remark = "; ".join(said for said in (remark, cut_long_texts(root, data)) if said)
    tree_notes = tuple(root.iter("{*}note"))
    tree_directions = tuple(root.iter("{*}direction"))
    if not ours and (len(tree_notes) != len(notes) or len(tree_directions) != len(directions)):
        raise NotAScore(
            f"two parsers disagree on the number of notes ({len(tree_notes)} and {len(notes)}).",
            where=where,
            remedy="The file is not safe to change; export it again.",
        )
    return Document(
        path=path,
        data=data,
        encoding=encoding,
        root=root,
        notes=notes,
        directions=directions,
        archive=archive,
        member=member,
        tree_notes=tree_notes,
        tree_directions=tree_directions,
        remark=remark,
    )


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
        remove_blank_text=True,  # indentation: two fifths of the tree of a usual file
    )
    try:
        return etree.fromstring(data[blanks_before(data) :], parser)
    except (etree.XMLSyntaxError, ValueError) as error:
        raise UnreadableFile(
            f"the XML is damaged ({error}).", where=where, remedy="Export the score again."
        ) from error
