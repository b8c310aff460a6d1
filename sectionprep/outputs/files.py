"""Writing without damage: everything is made in a folder beside the destination and then renamed
into it."""

from __future__ import annotations

import os
import platform
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from sectionprep.errors import DestinationError

_LOCK = ".sectionprep-busy"
_STAGE = ".sectionprep-making-"


def _failed(path: Path, error: OSError) -> DestinationError:
    return DestinationError(
        f"cannot be written ({error.strerror or error}).",
        where=str(path),
        remedy="Choose another folder with -o, or make room there; nothing half-written was left.",
    )


def write_file(path: Path, data: bytes, *, source: Path | None = None) -> None:
    """Write beside, then rename. source: the input, which is never overwritten."""
    if source is not None and path.exists() and source.exists() and os.path.samefile(path, source):
        raise DestinationError(
            "this would overwrite the input.",
            where=str(path),
            remedy="Choose another name with -o.",
        )
    handle, name = -1, ""
    try:
        if path.exists() and not path.is_file():
            raise DestinationError(
                "is no ordinary file.", where=str(path), remedy="Choose another name with -o."
            )
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.")
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(name, 0o644)
        os.replace(name, path)
    except OSError as error:
        if name and os.path.exists(name):
            os.unlink(name)
        raise _failed(path, error) from error


@contextmanager
def staged(folder: Path, *, source: Path) -> Iterator[Path]:
    """A fresh folder to fill; when the block ends well its files are renamed into `folder`, else it
    vanishes.

    Only one run at a time writes into a folder; a second one is told so.
    """
    fresh = not folder.exists()
    try:
        if folder.exists() and not folder.is_dir():
            raise DestinationError(
                "is a file, not a folder.", where=str(folder), remedy="Choose a folder with -o."
            )
        folder.mkdir(parents=True, exist_ok=True)
        lock = _take_lock(folder)
    except OSError as error:
        raise _failed(folder, error) from error
    stage: Path | None = None
    try:
        _clear_stages(folder)
        stage = Path(tempfile.mkdtemp(dir=folder, prefix=_STAGE))
        yield stage
        _move_in(stage, folder, source)
    except OSError as error:
        raise _failed(folder, error) from error
    finally:
        if stage is not None:
            shutil.rmtree(stage, ignore_errors=True)
        _let_go(lock, folder)
        if fresh:
            with suppress(OSError):  # nothing came into it: it goes again
                folder.rmdir()


def _take_lock(folder: Path) -> int:
    """The open lock of a folder. The system itself lets it go when its process has ended, however
    that came about, so no lock is ever stale."""
    lock = folder / _LOCK
    while True:
        handle = os.open(lock, os.O_CREAT | os.O_RDWR, 0o666)
        try:
            _hold(handle)
            if not _is_same(handle, lock):  # the run before took it away when it ended
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


def _hold(handle: int) -> None:
    """Raises BlockingIOError where another process holds it."""
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


def _is_same(handle: int, lock: Path) -> bool:
    try:
        return os.path.samestat(os.fstat(handle), os.stat(lock))
    except FileNotFoundError:
        return False


def _let_go(handle: int, folder: Path) -> None:
    with suppress(OSError):
        (folder / _LOCK).unlink(missing_ok=True)
    os.close(handle)


def _clear_stages(folder: Path) -> None:
    """What runs that were killed have left behind. Only the holder of the lock may do this."""
    for stale in folder.glob(f"{_STAGE}*"):
        shutil.rmtree(stale, ignore_errors=True)


def _move_in(stage: Path, folder: Path, source: Path) -> None:
    files = sorted(path for path in stage.rglob("*") if path.is_file())
    for path in files:
        target = folder / path.relative_to(stage)
        if target.exists() and source.exists() and os.path.samefile(target, source):
            raise DestinationError(
                "this would overwrite the input.",
                where=str(target),
                remedy="Choose another folder with -o.",
            )
    for path in files:
        target = folder / path.relative_to(stage)
        target.parent.mkdir(parents=True, exist_ok=True)
        os.replace(path, target)
