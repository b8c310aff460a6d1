"""Writing one file without damage: made beside its place and then renamed."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable
from pathlib import Path

from sectionprep.errors import DestinationError


def failed(path: Path, error: OSError) -> DestinationError:
    """What to say when a place cannot be written."""
    return DestinationError(
        f"cannot be written ({error.strerror or error}).",
        where=str(path),
        remedy="Choose another folder with -o, or make room there; nothing half-written was left.",
    )


def is_one(path: Path, other: Path) -> bool:
    """True where both name the same file."""
    return path.exists() and other.exists() and os.path.samefile(path, other)


def refuse_input(path: Path, reads: Iterable[Path]) -> None:
    """Nothing that a command reads is ever written over. Raises DestinationError."""
    if any(is_one(path, read) for read in reads):
        raise DestinationError(
            "this would overwrite the input.",
            where=str(path),
            remedy="Choose another name with -o.",
        )


def write_file(path: Path, data: bytes, *, reads: Iterable[Path] = ()) -> None:
    """Write beside, then rename. reads: what the command reads, which is never overwritten."""
    refuse_input(path, reads)
    handle, name = -1, ""
    try:
        if path.exists() and not path.is_file():
            raise DestinationError(
                "is no ordinary file.", where=str(path), remedy="Choose another name with -o."
            )
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name[:20]}.")
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(name, 0o644)
        os.replace(name, path)
    except OSError as error:
        if name and os.path.exists(name):
            os.unlink(name)
        raise failed(path, error) from error
