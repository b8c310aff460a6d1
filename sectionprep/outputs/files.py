"""Writing one file without damage: made beside its place and then renamed."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from sectionprep.errors import DestinationError
from sectionprep.outputs.lock import hold, is_same, let_go, take_lock

_HALF = ".sectionprep-writing-"  # how the names of files that are being written begin
_NO_WAIT = getattr(os, "O_NONBLOCK", 0)  # a pipe of such a name is not waited for


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


@contextmanager
def unless_forced(force: bool, say: Callable[[str], None]) -> Iterator[None]:
    """What would be refused there is replaced where that is asked for, and said."""
    try:
        yield
    except DestinationError as why:
        if not force:
            raise
        say(f"{why.where} {why.what.rstrip('.')}: replaced, as --force asks.")


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
        handle, name = _fresh(path.parent)
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


@contextmanager
def only_one(folder: Path) -> Iterator[None]:
    """Nobody else of ours writes into a folder meanwhile. Raises DestinationError."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock = take_lock(folder)
    except OSError as error:
        raise failed(folder, error) from error
    try:
        yield
    finally:
        let_go(lock, folder)


def _fresh(folder: Path) -> tuple[int, str]:
    """A new file beside those of a folder, open and locked; what killed runs have left there of
    theirs goes."""
    for left in folder.glob(f"{_HALF}*"):
        _clear(left)
    while True:
        handle, name = tempfile.mkstemp(dir=folder, prefix=_HALF)
        with suppress(OSError):  # where nothing can be locked nobody clears up, either
            hold(handle)
        if is_same(handle, Path(name)):  # else: another run took it for a dead one's
            return handle, name
        os.close(handle)


def _clear(left: Path) -> None:
    """Take away a file that nobody writes any more."""
    with suppress(OSError):
        handle = os.open(left, os.O_RDWR | getattr(os, "O_NOFOLLOW", 0) | _NO_WAIT)
        try:
            hold(handle)
            left.unlink()
        finally:
            os.close(handle)
