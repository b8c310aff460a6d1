"""One run at a time writes into a folder.

The system's own lock on a file that says who holds it. (The package filelock, which also locks this
way, empties the file before it has the lock; then nobody could be named.)
"""

from __future__ import annotations

import os
import platform
from contextlib import suppress
from pathlib import Path

from sectionprep.errors import DestinationError

_LOCK = ".sectionprep-busy"


def take_lock(folder: Path) -> int:
    """The open lock of a folder. The system itself lets it go when its process has ended, however
    that came about, so no lock is ever stale."""
    lock = folder / _LOCK
    while True:
        handle = os.open(lock, os.O_CREAT | os.O_RDWR, 0o666)
        try:
            hold(handle)
            if not is_same(handle, lock):  # the run before took it away when it ended
                os.close(handle)
                continue
            os.ftruncate(handle, 0)
            os.write(handle, f"process {os.getpid()} on {platform.node()}".encode())
            return handle
        except BlockingIOError:
            holder = os.read(handle, 200).decode("utf-8", "replace")
            os.close(handle)
            raise DestinationError(
                f"another run is writing there ({holder or 'it has just begun'}).",
                where=str(folder),
                remedy="Wait for it to end or choose another folder with -o.",
            ) from None
        except OSError:
            os.close(handle)
            raise


def hold(handle: int) -> None:
    """Lock an open file. Raises BlockingIOError where another process holds it."""
    try:
        import fcntl
    except ImportError:  # Windows
        import msvcrt

        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined]
        except OSError as error:
            raise BlockingIOError from error
    else:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)


def is_same(handle: int, lock: Path) -> bool:
    """True where an open file still bears that name."""
    try:
        return os.path.samestat(os.fstat(handle), os.stat(lock))
    except FileNotFoundError:
        return False


def let_go(handle: int, folder: Path) -> None:
    with suppress(OSError):
        (folder / _LOCK).unlink(missing_ok=True)
    os.close(handle)
