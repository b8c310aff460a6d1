"""A workbook looked at before it is opened: what unpacks without end, declares entities or is
damaged is refused by the name of its sheet."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path
from typing import Any
from xml.parsers import expat

from sectionprep.errors import UnusableSettings
from sectionprep.musicxml.files import ARCHIVE_ERRORS
from sectionprep.settings import read_edited

#: bytes packed and unpacked, rows, columns: ten times the largest workbook of ours; judgements
_PACKED, _UNPACKED = 30_000_000, 60_000_000
_ROWS, _COLUMNS = 100_000, 500
_REMEDY = "Save it once more as .xlsx, or start from the workbook of the last run."


def saved(path: Path) -> bytes:
    """The bytes of a workbook that a person has saved. Raises UnusableSettings."""
    return read_edited(path, _PACKED)


def _inspect(data: bytes, path: Path) -> None:
    """Raises UnusableSettings for a workbook that is not fit to be opened."""
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            members = archive.infolist()
            if sum(member.file_size for member in members) > _UNPACKED:
                raise UnusableSettings(
                    f"unpacks to more than {_UNPACKED:,} bytes.", where=str(path), remedy=_REMEDY
                )
            for member in members:
                if member.filename.endswith((".xml", ".rels", ".vml")):
                    _look_into(archive, member, path)
    except ARCHIVE_ERRORS as error:
        raise UnusableSettings(
            "cannot be opened as a workbook.",
            where=str(path),
            remedy="Save it as .xlsx and name that file.",
        ) from error


def opened(data: bytes, path: Path) -> Any:
    """A workbook that a person has saved, looked into before it is read. path: its place, for
    messages. Raises UnusableSettings for one that cannot be, or must not be, read."""
    from openpyxl import load_workbook

    _inspect(data, path)
    try:
        return load_workbook(io.BytesIO(data), data_only=False)
    except Exception as error:  # a library's many ways to say that the file is no good
        raise UnusableSettings(
            "cannot be opened as a workbook.",
            where=str(path),
            remedy="Save it as .xlsx and name that file.",
        ) from error


def _look_into(archive: zipfile.ZipFile, member: zipfile.ZipInfo, path: Path) -> None:
    where = f"{path}, {member.filename}"

    def declared(*_: object) -> None:
        raise UnusableSettings(
            "declares a document type, which no workbook needs and which can be made to explode.",
            where=where,
            remedy=_REMEDY,
        )

    parser = expat.ParserCreate()
    parser.StartDoctypeDeclHandler = declared
    left = _UNPACKED  # a member may hold more than its directory says
    try:
        with archive.open(member) as stream:
            while piece := stream.read(1 << 20):
                left -= len(piece)
                if left < 0:
                    raise UnusableSettings(
                        f"unpacks to more than {_UNPACKED:,} bytes.", where=where, remedy=_REMEDY
                    )
                parser.Parse(piece)
        parser.Parse(b"", True)
    except expat.ExpatError as error:
        raise UnusableSettings(
            f"is damaged at line {error.lineno}.", where=where, remedy=_REMEDY
        ) from error


def check_extent(sheet: Any, path: Path) -> None:
    """Raises UnusableSettings where a stray cell far away makes a sheet endless."""
    if sheet.max_row > _ROWS or sheet.max_column > _COLUMNS:
        raise UnusableSettings(
            f"its table reaches to row {sheet.max_row:,}, column {sheet.max_column:,}.",
            where=f'{path}, sheet "{sheet.title}"',
            remedy="Delete the empty rows and columns behind the table, and save.",
        )
