"""The only code that changes a document: splices of bytes, and their undoing.

Edits name notes by address. They become splices inside the director's own bytes; everything else
stays as it was, to the byte.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from sectionprep.errors import UnusableSettings
from sectionprep.musicxml.document import Document
from sectionprep.musicxml.editing.note_text import NoteEdit, NoteText
from sectionprep.musicxml.spans import ByteSpan


class Splice(NamedTuple):
    """At byte `offset` of the original, `removed` gives way to `inserted`."""

    offset: int
    removed: bytes
    inserted: bytes


def splices_for(
    document: Document, edits: Mapping[int, NoteEdit], dropped: Iterable[int] = ()
) -> tuple[Splice, ...]:
    """Turn edits (by note address) and dropped directions (by direction address) into splices."""
    newline = "\r\n" if "\r\n".encode(document.encoding) in document.data[:4000] else "\n"
    made: list[Splice] = []
    for address in sorted(edits):
        span, edit = document.notes[address], edits[address]
        text = document.text(span)
        note = NoteText(text, newline)
        note.edit(edit)
        made.extend(_to_bytes(document, span, text, note.splices))
        if edit.before or edit.after or edit.inside:
            outer = _line_indent(document, span)
            lead = f"{newline}{outer}" if outer is not None else ""
            before = [*edit.before, *(note.offset(share, xml) for share, xml in edit.inside)]
            made.extend(_splice(document, span.start, f"{note.tag(xml)}{lead}") for xml in before)
            made.extend(_splice(document, span.end, f"{lead}{note.tag(xml)}") for xml in edit.after)
    for address in sorted(set(dropped)):
        span = document.directions[address]
        outer = _line_indent(document, span)
        start = (
            span.start - len(f"{newline}{outer}".encode(document.encoding))
            if outer is not None
            else span.start
        )
        made.append(Splice(offset=start, removed=document.data[start : span.end], inserted=b""))
    return tuple(sorted(made, key=lambda s: (s.offset, len(s.removed) > 0)))


def _splice(document: Document, offset: int, text: str) -> Splice:
    return Splice(offset=offset, removed=b"", inserted=text.encode(document.encoding))


def _to_bytes(
    document: Document, span: ByteSpan, text: str, splices: list[tuple[int, int, str]]
) -> Iterable[Splice]:
    even = len(text) == span.end - span.start  # every character is one byte
    for start, end, insert in splices:
        offset = span.start + (start if even else len(text[:start].encode(document.encoding)))
        yield Splice(
            offset=offset,
            removed=text[start:end].encode(document.encoding),
            inserted=insert.encode(document.encoding),
        )


def _line_indent(document: Document, span: ByteSpan) -> str | None:
    """White space before an element that begins its line; None when something else stands there."""
    back = document.data[max(0, span.start - 400) : span.start]
    width = len("x".encode(document.encoding))
    back = back[len(back) % width :]
    text = back.decode(document.encoding, "ignore")
    line = text[text.rfind("\n") + 1 :]
    return line if "\n" in text and not line.strip() else None


def apply_splices(data: bytes, splices: Iterable[Splice]) -> bytes:
    """The marked bytes."""
    out: list[bytes] = []
    at = 0
    for splice in splices:
        if (
            splice.offset < at
            or data[splice.offset : splice.offset + len(splice.removed)] != splice.removed
        ):
            raise AssertionError("splices overlap or do not belong to these bytes")
        out += [data[at : splice.offset], splice.inserted]
        at = splice.offset + len(splice.removed)
    out.append(data[at:])
    return b"".join(out)


def undo_splices(marked: bytes, splices: Iterable[Splice]) -> bytes:
    """The original bytes, taken out of the marked ones."""
    out: list[bytes] = []
    at = 0
    shift = 0
    for splice in splices:
        start = splice.offset + shift
        if marked[start : start + len(splice.inserted)] != splice.inserted:
            raise UnusableSettings(
                "the marked score was changed after it was written, so it cannot be undone here.",
                remedy="Take the original score instead.",
            )
        out += [marked[at:start], splice.removed]
        at = start + len(splice.inserted)
        shift += len(splice.inserted) - len(splice.removed)
    out.append(marked[at:])
    return b"".join(out)


def record(original: bytes, marked: bytes, splices: Iterable[Splice]) -> dict[str, Any]:
    """What `undo` needs, as plain data for a JSON file beside the marked score."""
    return {
        "original_sha256": hashlib.sha256(original).hexdigest(),
        "marked_sha256": hashlib.sha256(marked).hexdigest(),
        "splices": [
            [s.offset, base64.b64encode(s.removed).decode(), base64.b64encode(s.inserted).decode()]
            for s in splices
        ],
    }


def splices_of(data: Mapping[str, Any]) -> tuple[Splice, ...]:
    """Read back what `record` wrote."""
    try:
        return tuple(
            Splice(
                offset=int(offset),
                removed=base64.b64decode(removed),
                inserted=base64.b64decode(inserted),
            )
            for offset, removed, inserted in data["splices"]
        )
    except (KeyError, TypeError, ValueError) as error:
        raise UnusableSettings(
            "the change record is damaged.", remedy="Take the original score instead."
        ) from error
