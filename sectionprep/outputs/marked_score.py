"""The marked score beside the director's own, and the record that takes the marks out again."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from pathlib import Path
from typing import Any

from sectionprep.errors import UnusableSettings
from sectionprep.musicxml.document import Document, open_document
from sectionprep.musicxml.insertions import Splice, record, splices_of, undo_splices


def packed(document: Document, data: bytes) -> bytes:
    """The file's bytes: the score itself, or for .mxl the archive with only the score's member replaced."""
    if document.archive is None:
        return data
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(document.archive)) as old, zipfile.ZipFile(out, "w") as new:
        new.comment = old.comment
        for info in old.infolist():
            content = data if info.filename == document.member else old.read(info)
            new.writestr(info, content, compress_type=info.compress_type)
    return out.getvalue()


def record_json(document: Document, marked: bytes, splices: tuple[Splice, ...], changes: list[dict[str, Any]]) -> str:
    """The change record: every change in words, and the splices for `mark --undo`."""
    body = {"source": document.path.name, **record(document.data, marked, splices), "changes": changes}
    fields = [f'"{name}": {_lines(value) if isinstance(value, list) else json.dumps(value, ensure_ascii=False)}' for name, value in body.items()]
    return "{\n" + ",\n".join(fields) + "\n}\n"


def _lines(items: list[Any]) -> str:
    """One line an item: short to look through, and quick to write."""
    return "[\n" + ",\n".join(map(json.JSONEncoder(ensure_ascii=False).encode, items)) + "\n]"


def undo(marked_path: Path, record_path: Path) -> bytes:
    """The original file's bytes, from a marked score and its record. Raises UnusableSettings."""
    document = open_document(marked_path)
    if not record_path.exists():
        raise UnusableSettings("there is no change record.", where=str(record_path),
                               remedy="It is written beside the marked score as NAME.changes.json; name it with --record.")
    try:
        data = json.loads(record_path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise UnusableSettings(
            "the change record cannot be read.", where=str(record_path),
            remedy="It is written beside the marked score as NAME.changes.json; name it with --record.",
        ) from error
    if not isinstance(data, dict) or hashlib.sha256(document.data).hexdigest() != data.get("marked_sha256"):
        raise UnusableSettings(
            "this is not the score that the record was written for, or it was edited since.", where=str(marked_path),
            remedy="Take the original score instead.",
        )
    original = undo_splices(document.data, splices_of(data))
    if hashlib.sha256(original).hexdigest() != data.get("original_sha256"):
        raise UnusableSettings("the change record is damaged.", where=str(record_path),
                               remedy="Take the original score instead.")
    return packed(document, original)
