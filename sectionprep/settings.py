"""Frozen settings, and the one function that finds the files of templates/ and shared/."""

from __future__ import annotations

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


def read_toml(path: Path) -> dict[str, Any]:
    """Read a TOML file, or say on which line it cannot be understood."""
    try:
        with path.open("rb") as stream:
            return tomllib.load(stream)
    except OSError as error:
        raise UnusableSettings(
            f"cannot be opened ({error.strerror}).", where=str(path), remedy="Check the path."
        ) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise UnusableSettings(
            f"is not valid TOML: {error}.",
            where=str(path),
            remedy="Correct that line and run again.",
        ) from error


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """What a score may ask for before it is refused. All are judgements: ten times a large real
    score."""

    file_bytes: int = 200_000_000
    expansion: int = 200  # a .mxl member may unpack to this many times its packed size
    notes: int = 2_000_000
    bars: int = 20_000
    parts: int = 400
