"""The commands that a person types: arguments, progress, messages, exit codes. No music here, and
nothing heavy is loaded for --help."""

from __future__ import annotations

import os
import sys
from typing import NoReturn

import typer

from sectionprep.cli import books, listening, looking, marking, preparing, printing
from sectionprep.cli.app import app
from sectionprep.cli.telling import clean
from sectionprep.errors import SectionprepError

#: commands register themselves; in the order of `--help`
THEMES = (preparing, looking, marking, printing, listening, books)


def main() -> None:
    """Entry point; turns every foreseen failure into one line and its exit code."""
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
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except OSError as error:
        fail(f"{str(error.filename or '')[:200]}: {error.strerror or error}.", 3)
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
        raise


def fail(message: str, code: int) -> NoReturn:
    print(f"sectionprep: {clean(message)}", file=sys.stderr)
    sys.exit(code)
