"""Work done in processes of its own, under limits of time and memory.

The engraver is foreign code: a strange bar can bring it down, hold it for ever or make it ask for
all memory there is. What dies here is an error of that one piece of work; nobody else is hurt.
"""

from __future__ import annotations

import faulthandler
import gc
import os
import signal
import subprocess
import sys
import threading
import time
import traceback
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor, Future, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from functools import cache, partial
from multiprocessing import (
    Pipe,
    connection,
    current_process,
    get_all_start_methods,
    get_context,
    parent_process,
)
from multiprocessing.connection import Connection
from typing import Any, TypeVar, cast

_T = TypeVar("_T")
#: bytes a process may take beyond what it was born with: ten times the largest real part; judgement
MEMORY = 1_000_000_000
_AHEAD = 3  # pieces of work that are made before they are asked for
_GRACE = 2.0  # seconds for an idle process to end by itself
#: by the clock on the wall a process has this many seconds and this many times its processor time:
#: far more than a busy machine needs, so that none is waited for without end; judgement
_PATIENCE, _SLOWER = 60.0, 20.0


class Died(Exception):
    """The process ended before its work was done; says why, in plain words. hopeless: another
    process would fare no better."""

    def __init__(self, why: str, *, hopeless: bool = False) -> None:
        super().__init__(why)
        self.hopeless = hopeless


class Apart:
    """A few processes that do what they are given, one thing at a time each. background: at low
    priority. A daemon (a worker of some clusters) may have no children: it works in its own
    process, and whoever started it looks after its end."""

    def __init__(self, workers: int = 1, *, background: bool = False) -> None:
        self._background = background
        self._idle: list[_Child] = []
        self._change = threading.Condition()  # of who is idle
        self._all: list[_Child] = []
        self._ending = False
        self._pool: Executor = _Here()
        if not current_process().daemon:
            for _ in range(workers):
                self._idle.append(self._born(first=True))
            self._pool = ThreadPoolExecutor(workers)

    def _born(self, *, first: bool = False) -> _Child:
        child = _Child(background=self._background, first=first)
        self._all.append(child)
        return child

    def submit(
        self, work: Callable[..., _T], *given: Any, seconds: float = 0.0, process: int = 0
    ) -> Future[_T]:
        """Have something done. seconds: of processor time that it may take; 0 sets no limit;
        process: number of the one that is to do it if it lives. The result raises what the work
        raises, or Died."""
        if isinstance(self._pool, _Here):
            return self._pool.submit(work, *given)
        return self._pool.submit(self._done, work, given, seconds, process)

    def each(
        self, work: Callable[..., _T], many: Iterable[tuple[Any, ...]], seconds: float
    ) -> Iterator[Future[_T]]:
        """The same work for many things, in order; a few are under way while one is looked at."""
        coming: deque[Future[_T]] = deque()
        for given in many:
            coming.append(self.submit(work, *given, seconds=seconds))
            if len(coming) > _AHEAD:
                yield coming.popleft()
        yield from coming

    def _done(
        self, work: Callable[..., _T], given: tuple[Any, ...], seconds: float, process: int
    ) -> _T:
        child = self._take(process)
        try:
            result: _T = child.do(work, given, seconds)
        except Died:
            if not self._ending:
                dead, child = child, self._born()
                with self._change:
                    self._all.remove(dead)
            raise
        finally:
            with self._change:
                self._idle.append(child)
                self._change.notify_all()
        return result

    def _take(self, process: int) -> _Child:
        """The process with this number, if it lives, once it is idle; else the first that is."""
        with self._change:
            while (child := self._ready(process)) is None:
                self._change.wait()
            self._idle.remove(child)
            return child

    def _ready(self, process: int) -> _Child | None:
        wanted = [one for one in self._all if one.life.process.pid == process]
        return next((one for one in self._idle if not wanted or one in wanted), None)

    def __enter__(self) -> Apart:
        return self

    def __exit__(self, kind: object, *_error: object) -> None:
        self._ending = kind is not None
        self._pool.shutdown(wait=kind is None, cancel_futures=True)
        for child in self._all:
            child.end(at_once=kind is not None)
        self._pool.shutdown(wait=True)


@contextmanager
def borrowed(apart: Apart | None) -> Iterator[Apart]:
    """These processes, which whoever lends them looks after; or one of our own."""
    if apart is not None:
        yield apart
        return
    with Apart() as own:
        yield own


def alone(work: Callable[..., _T], *given: Any) -> _T:
    """Have one thing done in a process that begins from nothing, also where this one may have no
    children of its own kind. Raises what the work raises, or Died."""
    child = _Child(background=False, first=False)
    try:
        result: _T = child.do(work, given, 0.0)
        return result
    finally:
        child.end(at_once=False)


class _Here(Executor):
    """Runs what it is given at once, in this process."""

    def submit(self, fn: Callable[..., _T], /, *args: Any, **kwargs: Any) -> Future[_T]:
        future: Future[_T] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:  # it belongs to whoever asks for the result
            future.set_exception(error)
        return future


class _Forked:
    """A process that has all that this one has loaded: born at once, but only safe while no other
    thread of ours works, whose locks it would inherit locked."""

    def __init__(self, background: bool) -> None:
        context = get_context("fork" if _FORKS else "spawn")
        self.pipe, theirs = context.Pipe()
        # a worker of a library may have a context that starts another kind of process
        self.process = context.Process(  # type: ignore[attr-defined]
            target=_live, args=(theirs, background), daemon=True
        )
        self.process.start()
        theirs.close()

    def wait(self, seconds: float | None = None) -> int | None:
        """How it ended; None if it has not."""
        self.process.join(seconds)
        return cast("int | None", self.process.exitcode)

    def kill(self) -> None:
        self.process.kill()


class _Fresh:
    """A process that begins from nothing, at any time."""

    def __init__(self, background: bool) -> None:
        self.pipe, theirs = Pipe()
        code = f"from sectionprep.apart import _begin; _begin({theirs.fileno()}, {background})"
        self.process = subprocess.Popen(
            [sys.executable, "-c", code],
            pass_fds=(theirs.fileno(),),
            env=os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        theirs.close()

    def wait(self, seconds: float | None = None) -> int | None:
        """How it ended; None if it has not."""
        with suppress(subprocess.TimeoutExpired):
            return self.process.wait(seconds)
        return None

    def kill(self) -> None:
        self.process.kill()


def _begin(pipe: int, background: bool) -> None:
    _live(Connection(pipe), background)


_FORKS = "fork" in get_all_start_methods()


class _Child:
    """One process and the pipe to it. first: nothing else of ours runs yet."""

    def __init__(self, *, background: bool, first: bool) -> None:
        self.life = _Forked(background) if first or not _FORKS else _Fresh(background)
        self.pipe = self.life.pipe
        self._closing = threading.Lock()

    def _close(self) -> None:
        """Whoever waits for its answer and whoever ends it may both find it gone: the second close
        would hit another file that has got the number meanwhile."""
        with self._closing:
            self.pipe.close()

    def do(self, work: Callable[..., Any], given: tuple[Any, ...], seconds: float) -> Any:
        try:
            self.pipe.send((work, given, seconds))
            if not self.pipe.poll(_PATIENCE + _SLOWER * seconds if seconds else None):
                self.life.kill()  # it neither works nor ends
            well, answer = self.pipe.recv()
        except (EOFError, OSError):
            self._close()
            raise self._death(self.life.wait(), seconds) from None
        if not well:
            raise answer
        return answer

    def _death(self, code: int | None, seconds: float) -> Died:
        if code == -getattr(signal, "SIGPROF", 0):
            return Died(f"it took more than {seconds:.0f} seconds", hopeless=True)
        if code in (-signal.SIGABRT, _NO_MEMORY):
            return Died(f"it asked for more than {MEMORY // 1_000_000:,} MB", hopeless=True)
        return Died("the engraver broke down over it")

    def end(self, *, at_once: bool) -> None:
        """Let it go. at_once: whatever it is doing."""
        if at_once:
            self.life.kill()
        with suppress(OSError):
            self.pipe.send(
                None
            )  # processes born later may hold this pipe, too: closing says nothing
        if self.life.wait(_GRACE) is None:
            self.life.kill()
            self.life.wait()
        self._close()


_LOOK = 0.5  # seconds between two looks whether the parent is still there
_NO_MEMORY = 77  # exit code of a process of ours that had no memory left


def _live(pipe: Connection, background: bool) -> None:
    """The life of a process: do what comes through the pipe until told to end. It inherits much
    that is not its to collect, and its work leaves little behind."""
    gc.freeze()
    gc.disable()
    _bow_to_parent()
    _silence()
    _limit_memory()
    if background and hasattr(os, "nice"):
        os.nice(10)
    with suppress(EOFError, OSError):
        while (order := pipe.recv()) is not None:
            work, given, seconds = order
            _limit_time(seconds)
            answer = _answer(work, given)
            _limit_time(0.0)
            try:
                pipe.send(answer)
            except (TypeError, AttributeError, ValueError) as error:  # it cannot be sent
                pipe.send((False, RuntimeError(f"{answer[1]!r} ({error})")))
            del order, work, given, answer


def _answer(work: Callable[..., Any], given: tuple[Any, ...]) -> tuple[bool, Any]:
    try:
        return True, work(*given)
    except MemoryError:
        os._exit(_NO_MEMORY)
    except Exception as error:  # it belongs to whoever asked
        error.add_note(traceback.format_exc())
        return False, error


def _bow_to_parent() -> None:
    """Signals for all of a terminal's processes are for the parent to answer; when it has gone,
    however it went, this process goes too."""
    for name in ("SIGINT", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    parent = parent_process()
    if parent is None:
        end_with(os.getppid())
    else:
        _end_after(partial(connection.wait, [parent.sentinel]))


@cache
def end_with(parent: int) -> None:
    """From now on this process ends when the one with this number does, which has started it,
    however that ended."""

    def still_there() -> None:
        while os.getppid() == parent:
            time.sleep(_LOOK)

    _end_after(still_there)


def _end_after(wait: Callable[[], object]) -> None:
    """End this process when something has been waited for."""

    def watch() -> None:
        wait()
        os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def _silence() -> None:
    """Foreign code writes its last words to file descriptor 2; nobody can use them."""
    faulthandler.disable()
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, 2)
    os.close(nowhere)


def _limit_time(seconds: float) -> None:
    """Processor time, so that a busy machine kills nobody. Foreign code cannot ask to go on: the
    signal's own action ends the process."""
    if hasattr(signal, "setitimer"):
        signal.setitimer(signal.ITIMER_PROF, seconds)


def _limit_memory() -> None:
    try:
        import resource

        with open("/proc/self/statm", encoding="ascii") as stream:
            taken = int(stream.read().split()[0]) * resource.getpagesize()
        resource.setrlimit(resource.RLIMIT_AS, (taken + MEMORY, resource.RLIM_INFINITY))
    except (ImportError, OSError, ValueError):  # no such limits on this system
        return
