"""The program itself: its limits, and what a command was asked for."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

if TYPE_CHECKING:
    from sectionprep.results import Options
    from sectionprep.settings import Limits

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="Prepare the section parts of a big-band chart: find where the section "
    "moves together, settle one way to phrase it, "
    "put the same marks in every part, check that they agree, print parts and a "
    "rehearsal workbook. Notes are never changed. "
    "Options here come before the command. Prepare only music that you may copy.",
)


def asked(**given: Any) -> Options:
    """What was asked for, with the limits that hold for all commands. Of the files with decisions
    one is a workbook; the others are what section leaders have said."""
    from sectionprep.errors import BadArgument
    from sectionprep.results import Options
    from sectionprep.settings import Limits

    named = given.pop("decisions", None) or ()
    said = tuple(path for path in named if path.suffix.lower() == ".toml")
    books = [path for path in named if path not in said]
    if len(books) > 1:
        raise BadArgument(
            f"--decisions names {len(books)} workbooks.", remedy="Name one; its rows hold them all."
        )
    workbook = books[0] if books else None
    return Options(**given, decisions=workbook, said=said, limits=_LIMITS or Limits())


def beside(chart: Path, tune: int | None, ending: str) -> Path:
    """Where results go when nobody says: beside the chart, each tune of a collection by itself."""
    number = "" if tune is None else f"_{tune}"
    from sectionprep.outputs.names import stem_of

    return chart.with_name(f"{stem_of(chart)}{number}{ending}")


_LIMITS: Limits | None = None


def _version(wanted: bool) -> None:
    if wanted:
        from sectionprep.version import __version__

        print(f"sectionprep {__version__}")
        raise typer.Exit


@app.callback()
def limits(
    version: Annotated[  # noqa: ARG001
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
    max_bytes: Annotated[
        int | None,
        typer.Option(min=1, help="Largest file to read, in bytes.", show_default="200,000,000"),
    ] = None,
    max_notes: Annotated[
        int | None, typer.Option(min=1, help="Most notes to read.", show_default="2,000,000")
    ] = None,
    max_bars: Annotated[
        int | None, typer.Option(min=1, help="Most bars to read.", show_default="20,000")
    ] = None,
    max_parts: Annotated[
        int | None, typer.Option(min=1, help="Most parts to read.", show_default="400")
    ] = None,
) -> None:
    """Limits, for all commands."""
    from sectionprep.settings import Limits

    global _LIMITS
    given = {"file_bytes": max_bytes, "notes": max_notes, "bars": max_bars, "parts": max_parts}
    _LIMITS = Limits(**{name: value for name, value in given.items() if value is not None})
