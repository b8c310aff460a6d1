"""How the letters of a file are written: as it declares, where that is true."""

from __future__ import annotations

import re

from sectionprep.errors import UnreadableFile

_BOMS = ((b"\xef\xbb\xbf", "utf-8"), (b"\xff\xfe", "utf-16-le"), (b"\xfe\xff", "utf-16-be"))


def encoding_of(data: bytes, where: str) -> tuple[str, str]:
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


def blanks_before(data: bytes) -> int:
    """How many bytes of white space stand before the declaration, where XML allows none and
    programs leave some."""
    first = len(data) - len(data.lstrip(b" \t\r\n"))
    return first if data.startswith(b"<?xml", first) else 0


#: codecs in which every byte is a letter
ONE_BYTE = frozenset({"windows-1252", "iso-8859-1"})


def printable(text: str) -> str:
    """A word of a file as it can be shown."""
    return "".join(c if c.isprintable() else "?" for c in text)[:80]
