"""The commands that a person types: arguments, progress, messages, exit codes. No music here, and
nothing heavy is loaded for --help."""

from __future__ import annotations

import errno
import io
import os
import signal
import sys
import threading
import traceback
from contextlib import suppress
from pathlib import Path
from typing import NoReturn

import typer

from sectionprep.cli import (
    books,
    evenings,
    listening,
    looking,
    marking,
    preparing,
    printing,
    reviewing,
)
from sectionprep.cli.app import app
from sectionprep.cli.telling import clean
from sectionprep.errors import SectionprepError

#: commands register themselves; in the order of `--help`
THEMES = (preparing, reviewing, looking, marking, printing, listening, books, evenings)


def main() -> None:
    """Entry point; turns every foreseen failure into one line and its exit code."""
    _get_ready()
    try:
        code = app(standalone_mode=False)
        sys.exit(code if isinstance(code, int) else 0)
    except typer.Abort:
        fail("stopped.", 130)
    except KeyboardInterrupt:
        fail("stopped; nothing half-written was left.", 130)
    except SectionprepError as error:
        fail(str(error), error.exit_code)
    except BrokenPipeError:
        _end_quietly()
    except SystemExit as end:
        if isinstance(end.__context__, BrokenPipeError):  # the argument parser's way of saying so
            _end_quietly()
        raise
    except OSError as error:
        where = str(error.filename or "standard output")[:200]
        remedy = " Give it a shorter name." if error.errno == errno.ENAMETOOLONG else ""
        fail(f"{where}: {error.strerror or error}.{remedy}", 3)
    except MemoryError:
        fail("the file asks for more memory than there is.", 6)
    except Exception as error:
        if type(error).__name__ == "NoArgsIsHelpError":
            print(getattr(error, "message", "") or error)
            sys.exit(2)
        if hasattr(error, "format_message"):  # usage errors of the argument parser
            context = getattr(error, "ctx", None)
            hint = f" Try: {context.command_path} --help" if context else ""
            fail(f"{error.format_message()}{hint}", 2)
        if os.environ.get("SECTIONPREP_TRACE"):
            raise
        fail(f"{_place(error)}. {_OURS}", 1)


#: what is said of a failure that nobody has foreseen
_OURS = (
    "This is ours to mend; your files are as they were. Keep the chart and tell us"
    " (with SECTIONPREP_TRACE=1 in the environment the whole story is shown)."
)


def _place(error: Exception) -> str:
    """Where in our code something failed, and how."""
    where = traceback.extract_tb(error.__traceback__)[-1]
    return f"{type(error).__name__} at {Path(where.filename).name}:{where.lineno}: {error}"[:300]


def _get_ready() -> None:
    """Letters that a terminal lacks are shown as question marks. A run that is told to end, or
    whose terminal is closed, clears up behind itself first."""
    _open_streams()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")
    if threading.current_thread() is threading.main_thread():
        for name in ("SIGTERM", "SIGHUP"):
            number = getattr(signal, name, None)
            if number and signal.getsignal(number) == signal.SIG_DFL:  # else: told to go on (nohup)
                signal.signal(number, _end)


def _open_streams() -> None:
    """Where we were started with closed streams, nobody is told anything; but a file of results
    must not get the number of one, or a library would print into it."""
    for number in (0, 1, 2):
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)  # gets the lowest number that is free: this one
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115


def _end(number: int, _frame: object) -> NoReturn:
    sys.exit(128 + number)  # as a shell would say it


def _end_quietly() -> NoReturn:
    """Whoever read our output has had enough."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.__stdout__.fileno() if sys.__stdout__ else 1)
    sys.exit(0)


def fail(message: str, code: int) -> NoReturn:
    with suppress(OSError):  # nobody can be told; the code still says it
        print(f"sectionprep: {clean(message)}", file=sys.stderr)
    sys.exit(code)
