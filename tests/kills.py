"""Work that is killed: it ends before a call that changes a name, and no finally block runs."""

from __future__ import annotations

import itertools
import os
import subprocess
import sys
from collections.abc import Callable

_CHANGES = ("replace", "rename", "mkdir", "rmdir", "unlink", "link")
_KILLED, _FAILED = 77, 3  # no codes of a command


def in_a_small_process(module: str, work: str, *given: object) -> None:
    """A function of a module of tests where little is loaded: in a worker that has run other tests
    each of its hundreds of forks takes ten times as long."""
    code = f"import sys; sys.path[:] = {sys.path!r}; import {module} as tests, pathlib; "
    code += f"tests.{work}(pathlib.Path(sys.argv[1]), *sys.argv[2:])"
    done = subprocess.run(
        [sys.executable, "-c", code, *map(str, given)], capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr


def killed_after(count: int, work: Callable[[], object]) -> bool:
    """True if the work was ended, without any clearing up, before this call that changes a name;
    the calls of its own processes do not count."""
    child = os.fork()
    if child:
        code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        assert code in (0, _KILLED, _FAILED)
        return code == _KILLED
    _end_before(count)
    try:
        work()
    except BaseException:
        os._exit(_FAILED)
    os._exit(0)


def command_killed_after(count: int, *words: object) -> bool:
    """The same for a command in a process of its own: one that has begun others cannot be
    forked."""
    code = f"import sys; sys.path[:] = {sys.path!r}; import kills; kills._end_before({count}); "
    code += "from sectionprep.cli import main; main()"
    line = [sys.executable, "-c", code, *map(str, words)]
    done = subprocess.run(line, capture_output=True, text=True, timeout=120)
    assert done.returncode in (0, _KILLED), done.stderr
    return done.returncode == _KILLED


def _end_before(count: int) -> None:
    """Have this process end before that call that changes a name."""
    left, worker = itertools.count(count, -1), os.getpid()
    for name in _CHANGES:
        real = getattr(os, name)

        def counted(*given: object, _real: Callable[..., object] = real, **more: object) -> object:
            if os.getpid() == worker and next(left) <= 0:
                os._exit(_KILLED)
            return _real(*given, **more)

        setattr(os, name, counted)
