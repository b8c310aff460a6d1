"""The marked score beside the director's own, and the record that takes the marks out again."""

from __future__ import annotations

import base64
import hashlib
import io
import json
import zipfile
from pathlib import Path
from typing import Any

from sectionprep.errors import DestinationError, SectionprepError, UnusableSettings
from sectionprep.musicxml.document import Document, open_document
from sectionprep.musicxml.editing.splices import Splice, record, splices_of, undo_splices
from sectionprep.musicxml.files import ARCHIVE_ERRORS
from sectionprep.settings import read_edited, writable
from sectionprep.version import __version__

_CONTAINER = (
    b'<?xml version="1.0" encoding="UTF-8"?>\n<container><rootfiles><rootfile '
    b'full-path="score.musicxml" '
    b'media-type="application/vnd.recordare.musicxml+xml"/></rootfiles></container>\n'
)
_MADE = (1980, 1, 1, 0, 0, 0)

SCORE_ENDINGS = (".musicxml", ".xml", ".mxl")
_ELSEWHERE = "Choose another name with -o, or replace it with --force."
_RECORD_BYTES = 500_000_000  # no record of a score within the limits is larger


def packed(document: Document, data: bytes, suffix: str) -> bytes:
    """The bytes of a file with this ending: the score itself, or for .mxl an archive, the
    director's own with only the score's member replaced where there is one. An ending of another
    kind keeps what the document is. Source: MusicXML 4.0, compressed files."""
    compressed = {".mxl": True, ".musicxml": False, ".xml": False}.get(
        suffix.lower(), document.archive is not None
    )
    if not compressed:
        return data
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as new:
        if document.archive is None:
            new.writestr(zipfile.ZipInfo("mimetype", _MADE), b"application/vnd.recordare.musicxml")
            for name, content in (("META-INF/container.xml", _CONTAINER), ("score.musicxml", data)):
                new.writestr(
                    zipfile.ZipInfo(name, _MADE), content, compress_type=zipfile.ZIP_DEFLATED
                )
        else:
            _replace_member(document, data, new)
    return out.getvalue()


def _replace_member(document: Document, data: bytes, new: zipfile.ZipFile) -> None:
    with zipfile.ZipFile(io.BytesIO(document.archive or b"")) as old:
        new.comment = old.comment
        for info in old.infolist():
            try:
                content = data if info.filename == document.member else old.read(info)
            except ARCHIVE_ERRORS:  # said when the archive was opened
                continue
            new.writestr(info, content, compress_type=info.compress_type)


def record_json(
    document: Document,
    marked: bytes,
    splices: tuple[Splice, ...],
    changes: list[dict[str, Any]],
    replaces: str = "",
) -> str:
    """The change record: every change in words, and what `mark --undo` needs: the splices, and the
    archive of a .mxl that would not come out of our packing as it was. replaces: checksum of the
    marked score that stands where this one is to go."""
    body = {
        "sectionprep": __version__,
        "source": writable(document.path.name),
        **record(document.data, marked, splices),
        **({"replaces_sha256": replaces} if replaces else {}),
        "changes": changes,
    }
    if document.archive is not None and document.archive != packed(document, document.data, ".mxl"):
        body["archive"] = base64.b64encode(document.archive).decode("ascii")
    fields = [
        f'"{name}": '
        + (_lines(value) if isinstance(value, list) else json.dumps(value, ensure_ascii=False))
        for name, value in body.items()
    ]
    return "{\n" + ",\n".join(fields) + "\n}\n"


def _lines(items: list[Any]) -> str:
    """One line an item: short to look through, and quick to write."""
    return "[\n" + ",\n".join(map(json.JSONEncoder(ensure_ascii=False).encode, items)) + "\n]"


def refuse_foreign(target: Path, record_path: Path, source: Path) -> None:
    """Only what we wrote for the same chart, and nobody has edited since, is ever replaced: a
    marked score that stands at `target` must be the one of the record beside it, and that of a
    chart with the name of `source`. Raises DestinationError."""
    for path in (target, record_path):
        if path.exists() and not path.is_file():
            raise DestinationError("is no ordinary file.", where=str(path), remedy=_ELSEWHERE)
    if record_path.exists():
        known = _known(record_path, source)
    elif target.exists():
        raise DestinationError(
            "stands there already and was not written by this program.",
            where=str(target),
            remedy=_ELSEWHERE,
        )
    if target.exists():
        try:
            same = hashlib.sha256(open_document(target).data).hexdigest() in known
        except SectionprepError:
            same = False
        if not same:
            raise DestinationError(
                "was edited since it was written.", where=str(target), remedy=_ELSEWHERE
            )
        return
    others = [target.with_suffix(ending) for ending in SCORE_ENDINGS]
    for other in others if record_path.exists() else ():
        if other.is_file():
            raise DestinationError(
                f"is the record of {other.name}.", where=str(record_path), remedy=_ELSEWHERE
            )


def _known(record_path: Path, source: Path) -> tuple[str, ...]:
    """Checksums of the marked scores that a record knows as ours: its own, and the one that it was
    about to replace, should the run have been killed between the two. Raises DestinationError."""
    try:
        data = json.loads(read_edited(record_path, _RECORD_BYTES))
    except (UnusableSettings, ValueError, RecursionError):
        data = None
    if not isinstance(data, dict) or "sectionprep" not in data or "marked_sha256" not in data:
        raise DestinationError(
            "stands there already and is no change record.",
            where=str(record_path),
            remedy=_ELSEWHERE,
        )
    if data.get("source") != writable(source.name):
        raise DestinationError(
            f"is of what was made from {data.get('source')}.",
            where=str(record_path),
            remedy=_ELSEWHERE,
        )
    return str(data["marked_sha256"]), str(data.get("replaces_sha256", ""))


def replaced_sum(target: Path) -> str:
    """Checksum of the marked score that a new one is about to replace; "" where none stands."""
    if not target.is_file():
        return ""
    try:
        return hashlib.sha256(open_document(target).data).hexdigest()
    except SectionprepError:
        return ""


def refuse_edited(target: Path, original: bytes) -> None:
    """An original that stands there is replaced only by itself. Raises DestinationError."""
    if target.exists() and not (target.is_file() and target.read_bytes() == original):
        raise DestinationError(
            "stands there already and is not what would be written.",
            where=str(target),
            remedy=_ELSEWHERE,
        )


def undo(marked_path: Path, record_path: Path, suffix: str) -> bytes:
    """The original score's bytes as a file with this ending, from a marked score and its record.
    Raises UnusableSettings."""
    document = open_document(marked_path)
    if not record_path.exists():
        raise UnusableSettings(
            "there is no change record.",
            where=str(record_path),
            remedy="It is written beside the marked score as NAME.changes.json; name "
            "it with --record.",
        )
    try:
        data = json.loads(read_edited(record_path, _RECORD_BYTES))
    except (ValueError, RecursionError) as error:
        raise UnusableSettings(
            "the change record cannot be read.",
            where=str(record_path),
            remedy="It is written beside the marked score as NAME.changes.json; name "
            "it with --record.",
        ) from error
    if not isinstance(data, dict) or hashlib.sha256(document.data).hexdigest() != data.get(
        "marked_sha256"
    ):
        raise UnusableSettings(
            "this is not the score that the record was written for, or it was edited since.",
            where=str(marked_path),
            remedy="Take the original score instead.",
        )
    original = undo_splices(document.data, splices_of(data))
    if hashlib.sha256(original).hexdigest() != data.get("original_sha256"):
        raise UnusableSettings(
            "the change record is damaged.",
            where=str(record_path),
            remedy="Take the original score instead.",
        )
    kept = data.get("archive")
    wants_archive = suffix.lower() == ".mxl" or (not suffix and document.archive is not None)
    if isinstance(kept, str) and wants_archive:
        return _kept_archive(kept, original, record_path)
    return packed(document, original, suffix)


def _kept_archive(kept: str, original: bytes, record_path: Path) -> bytes:
    """The director's own archive, byte for byte. Raises UnusableSettings where it is not the one
    of this score."""
    try:
        archive = base64.b64decode(kept, validate=True)
        with zipfile.ZipFile(io.BytesIO(archive)) as members:
            holds = any(members.read(name) == original for name in members.namelist())
    except (ValueError, *ARCHIVE_ERRORS):
        holds = False
    if not holds:
        raise UnusableSettings(
            "the change record is damaged.",
            where=str(record_path),
            remedy="Take the original score instead.",
        )
    return archive
