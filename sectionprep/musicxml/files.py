"""A score's file: an ordinary one, within the limits, taken out of its archive."""

from __future__ import annotations

import io
import lzma
import re
import stat
import struct
import zipfile
import zlib
from pathlib import Path, PurePosixPath

from sectionprep.errors import NotAScore, OverLimit, UnreadableFile
from sectionprep.musicxml.encodings import printable
from sectionprep.settings import Limits


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


def unpack(path: Path, raw: bytes, limits: Limits) -> tuple[bytes, str, str]:
    """The score in an archive, its name there, and what is to be said of its other members. Raises
    UnreadableFile, NotAScore or OverLimit."""
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
                lost.append(printable(info.filename))
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
