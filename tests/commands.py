"""The commands, as tests give them."""

from __future__ import annotations

import io
import signal
import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from unittest import mock

from sectionprep import cli


def run(*words: object) -> subprocess.CompletedProcess[str]:
    """A command in this process, which spares the start of another: what it says, and its code."""
    line = ["sectionprep", *map(str, words)]
    usual = {number: signal.getsignal(number) for number in (signal.SIGTERM, signal.SIGHUP)}
    out, told, code = io.StringIO(), io.StringIO(), 0
    try:
        with mock.patch.object(sys, "argv", line), redirect_stdout(out), redirect_stderr(told):
            cli.main()
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else 1
    finally:
        for number, handler in usual.items():
            signal.signal(number, handler)
    return subprocess.CompletedProcess(line, code, out.getvalue(), told.getvalue())


def begin(*words: object, **options: object) -> subprocess.CompletedProcess[str]:
    """A command as a person begins it, in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "sectionprep", *map(str, words)],
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
        **options,
    )  # type: ignore[call-overload,no-any-return]
