"""Frozen settings, and the one function that finds the files of templates/ and shared/."""

from __future__ import annotations

import stat
import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from sectionprep.errors import UnusableSettings

_PACKAGE = Path(__file__).resolve().parent


def data_path(name: str) -> Path:
    """Path of a file such as "shared/instruments.toml", from a wheel or from a checkout."""
    for root in (_PACKAGE / "_data", _PACKAGE.parent):
        path = root / name
        if path.exists():
            return path
    raise UnusableSettings(
        f"the file {name} is missing from this installation.", remedy="Install sectionprep again."
    )


@cache
def load_toml(name: str) -> dict[str, Any]:
    """Read one of our own TOML tables; `name` is relative to templates/ or shared/ (with the
    folder)."""
    return read_toml(data_path(name))


#: bytes of a file that a person edits by hand (plan, roster); judgement
_EDITED_BYTES = 4_000_000
_DEEP = 6  # levels of tables and lists that any file of ours has at most
_LARGEST = 1_000_000  # any number that such a file has a use for is smaller; judgement


def read_edited(path: Path, most: int = _EDITED_BYTES) -> bytes:
    """The bytes of a plan, roster, workbook or record. Only ordinary files are opened: a pipe or
    a device would be waited for without end. Raises UnusableSettings."""
    try:
        found = path.stat()
        if not stat.S_ISREG(found.st_mode):
            raise UnusableSettings(
                "is no ordinary file.", where=str(path), remedy="Name a file on a disk."
            )
        if found.st_size > most:
            raise UnusableSettings(
                f"is larger than {most:,} bytes.", where=str(path), remedy="Check the path."
            )
        return path.read_bytes()
    except (OSError, ValueError) as error:
        why = getattr(error, "strerror", "") or error
        raise UnusableSettings(
            f"cannot be opened ({why}).", where=str(path)[:200], remedy="Check the path."
        ) from error


def writable(name: str) -> str:
    """The name of a file as text that can be written anywhere: bytes of it that are no UTF-8
    (Python holds them as surrogates, PEP 383) are question marks."""
    return name.encode("utf-8", "replace").decode()


def read_toml(path: Path) -> dict[str, Any]:
    """Read a TOML file, or say on which line it cannot be understood."""
    data = read_edited(path)
    try:
        table = tomllib.loads(data.decode("utf-8-sig"))
    except (tomllib.TOMLDecodeError, ValueError) as error:  # ValueError: a number without end
        raise UnusableSettings(
            f"is not valid TOML: {error}.",
            where=str(path),
            remedy="Correct that line and run again.",
        ) from error
    except RecursionError:
        odd = f"is nested more than {_DEEP} deep"
    else:
        odd = _odd(table)
    if odd:
        raise UnusableSettings(
            f"{odd}.", where=str(path), remedy="Take that out; no such file needs it."
        )
    return table


def _odd(table: dict[str, Any]) -> str:
    """What no file of ours can mean: a date, a number beyond measure, lists in lists in lists."""
    waiting: list[tuple[str, Any, int]] = [("", table, 0)]
    while waiting:
        name, value, depth = waiting.pop()
        if depth > _DEEP:
            return f"is nested more than {_DEEP} deep at {name!r:.60}"
        if isinstance(value, dict):
            waiting += [(key, inner, depth + 1) for key, inner in value.items()]
        elif isinstance(value, list):
            waiting += [(name, inner, depth + 1) for inner in value]
        elif isinstance(value, int | float) and not -_LARGEST < value < _LARGEST:
            return f"has a number that is too large at {name!r:.60}"
        elif not isinstance(value, str | int | float):
            return f"has a date or a time at {name!r:.60}"
    return ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What a score may ask for before it is refused. All are judgements: ten times a large real
    score."""

    file_bytes: int = 200_000_000
    expansion: int = 200  # a .mxl member may unpack to this many times its packed size
    notes: int = 2_000_000
    bars: int = 20_000
    parts: int = 400
