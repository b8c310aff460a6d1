"""What a chart may come as: one score, a file of another format, or a folder with a file for each
part.

A bundle always offers one document to read. For a folder that is a score put together in memory;
edits are handed back to the files by the addresses of their notes.
"""

from __future__ import annotations

import copy
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from lxml import etree

from sectionprep.errors import NotAScore, UnreadableFile
from sectionprep.music.chairs import Clues, recognise
from sectionprep.music.instruments import SECTIONS
from sectionprep.musicxml.document import Document, open_document, parse_document, tag_of
from sectionprep.musicxml.editing.note_text import NoteEdit
from sectionprep.musicxml.editing.splices import Splice, apply_splices, splices_for
from sectionprep.musicxml.reading.other_formats import convert, is_foreign, no_collection
from sectionprep.settings import Limits, writable

_SCORES = (".musicxml", ".xml", ".mxl")


@dataclass(frozen=True, slots=True, kw_only=True)
class Bundle:
    """document: what is read. sources: the files behind it, in score order. remark: what was done
    to them."""

    document: Document
    sources: tuple[Document, ...]
    remark: str = ""

    @property
    def is_folder(self) -> bool:
        """True for a folder of single parts."""
        return len(self.sources) > 1

    @property
    def suffix(self) -> str:
        """Suffix of the marked score."""
        suffix = self.document.path.suffix.lower()
        return suffix if suffix in _SCORES else ".musicxml"

    def without_trees(self) -> Bundle:
        """The same for who looks at no element any more."""
        document, sources = self.document, tuple(s.without_tree() for s in self.sources)
        return replace(self, document=document.without_tree(), sources=sources)


def open_bundle(path: Path, limits: Limits, tune: int | None = None) -> Bundle:
    """Open whatever the director has. tune: which one of a collection in ABC."""
    try:
        is_folder = path.is_dir()
    except OSError as error:
        raise UnreadableFile(
            f"cannot be opened ({error.strerror}).", where=str(path)[:200], remedy="Check the path."
        ) from error
    if tune is not None and (is_folder or not is_foreign(path)):
        raise no_collection(path)
    if is_folder:
        return _open_folder(path, limits)
    if is_foreign(path):
        if not path.exists():
            raise UnreadableFile(
                "cannot be opened (No such file or directory).",
                where=str(path),
                remedy="Check the path.",
            )
        document, remark = convert(path, limits, tune)
        return Bundle(document=document, sources=(document,), remark=remark)
    document = open_document(path, limits)
    return Bundle(document=document, sources=(document,), remark=document.remark)


def _open_folder(folder: Path, limits: Limits) -> Bundle:
    try:
        files = sorted(
            p
            for p in folder.iterdir()
            if p.suffix.lower() in _SCORES and p.is_file() and not p.name.startswith(".")
        )
    except OSError as error:
        raise UnreadableFile(
            f"cannot be listed ({error.strerror}).", where=str(folder), remedy="Check the folder."
        ) from error
    if not files:
        raise NotAScore(
            "the folder holds no MusicXML file.",
            where=str(folder),
            remedy="Name a score, or a folder of parts.",
        )
    sources = [open_document(file, limits) for file in files]
    if len(sources) == 1:
        return Bundle(document=sources[0], sources=(sources[0],))
    for source in sources:
        if (
            tag_of(source.root) != "score-partwise"
            or len([e for e in source.root if tag_of(e) == "part"]) != 1
        ):
            raise NotAScore(
                "holds more than one part; a folder must hold single parts of one chart.",
                where=str(source.path),
                remedy="Name the score itself instead of its folder.",
            )
    sources.sort(key=_score_order)
    return Bundle(
        document=_joined(folder, sources, limits),
        sources=tuple(sources),
        remark=f"was put together from {len(sources)} files"
        + "".join(
            f"; {writable(source.path.name)} {source.remark}" for source in sources if source.remark
        ),
    )


def _part_name(document: Document) -> str:
    found = document.root.find("{*}part-list/{*}score-part/{*}part-name")
    name = " ".join((found.text or "").split()) if found is not None else ""
    return name or writable(document.path.stem)


def _score_order(document: Document) -> tuple[int, int, int, str]:
    name = _part_name(document)
    chair = recognise(Clues(name=name))
    voices = (
        "soprano-sax",
        "alto-sax",
        "tenor-sax",
        "baritone-sax",
        "trombone",
        "bass-trombone",
        "guitar",
        "piano",
        "bass",
        "drums",
    )
    key = chair.instrument.key
    return (
        SECTIONS.index(chair.section),
        voices.index(key) if key in voices else 0,
        chair.number,
        name,
    )


def _joined(folder: Path, sources: list[Document], limits: Limits) -> Document:
    first = sources[0].root
    score = etree.Element("score-partwise", version="4.0")
    for child in first:
        if tag_of(child) in ("work", "movement-title", "identification", "defaults"):
            score.append(_plain(child))
    part_list = etree.SubElement(score, "part-list")
    for n, source in enumerate(sources, start=1):
        listed = next(e for e in source.root.iter("{*}score-part"))
        twin = _plain(listed)
        twin.set("id", f"P{n}")
        name = twin.find("part-name")
        if name is not None and not (name.text or "").strip():
            name.text = writable(source.path.stem)
        part_list.append(twin)
        part = _plain(next(e for e in source.root if tag_of(e) == "part"))
        part.set("id", f"P{n}")
        score.append(part)
    return parse_document(
        folder, etree.tostring(score, xml_declaration=True, encoding="UTF-8"), limits
    )


def _plain(element: etree._Element) -> etree._Element:
    twin = copy.deepcopy(element)
    for inner in twin.iter():
        if isinstance(inner.tag, str):
            inner.tag = tag_of(inner)
    twin.tail = None
    return twin


@dataclass(frozen=True, slots=True, kw_only=True)
class MarkedFile:
    """One source with its marks: the bytes of its score and the splices that made them."""

    source: Document
    data: bytes
    splices: tuple[Splice, ...]


def mark_bundle(
    bundle: Bundle, edits: Mapping[int, NoteEdit], dropped: Iterable[int]
) -> tuple[MarkedFile, ...]:
    """Apply edits (by address in the bundle's document) to every source."""
    marked: list[MarkedFile] = []
    note, direction = 0, 0
    gone = set(dropped)
    for source in bundle.sources:
        last_note, last_direction = note + len(source.notes), direction + len(source.directions)
        mine = {
            address - note: edit for address, edit in edits.items() if note <= address < last_note
        }
        lost = {address - direction for address in gone if direction <= address < last_direction}
        splices = splices_for(source, mine, lost)
        marked.append(
            MarkedFile(source=source, data=apply_splices(source.data, splices), splices=splices)
        )
        note, direction = last_note, last_direction
    return tuple(marked)


def reread(bundle: Bundle, marked: tuple[MarkedFile, ...], limits: Limits) -> Document:
    """The document that the marked bytes hold, read from nothing but those bytes."""
    documents = [
        parse_document(
            m.source.path,
            m.data,
            limits,
            archive=m.source.archive,
            member=m.source.member,
            ours=True,
        )
        for m in marked
    ]
    return _joined(bundle.document.path, documents, limits) if bundle.is_folder else documents[0]
