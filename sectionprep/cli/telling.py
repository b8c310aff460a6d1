"""What commands tell on the screen: lines, counts, progress."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from sectionprep.one_output import Progress
    from sectionprep.phrasing.deciding import Unfit
    from sectionprep.results import Marked, Score


def clean(text: object) -> str:
    """Text from a file, made safe for a terminal: no control characters, no escape sequences."""
    return "".join(c if c.isprintable() or c == "\n" else " " for c in str(text))


def say(text: str = "") -> None:
    print(clean(text))


def say_aside(text: str) -> None:
    """Beside the results, which may go to a file."""
    print(clean(text), file=sys.stderr)


@contextmanager
def progress_shown() -> Iterator[Progress]:
    """A progress display on a terminal, nothing elsewhere."""
    if not sys.stderr.isatty():
        yield lambda _stage, _done, _of: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    with Progress(
        TextColumn("{task.description:<24}"),
        BarColumn(),
        MofNCompleteColumn(),
        console=Console(stderr=True),
        transient=True,
    ) as bar:
        task = bar.add_task("", total=1)

        def show(stage: str, done: int, of: int) -> None:
            bar.update(task, description=stage, completed=done, total=max(of, 1))

        yield show


def counted(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def say_sheets(not_printed: Iterable[str], not_as_written: Iterable[str]) -> None:
    """What is wrong with the sheets, first of all."""
    for why in not_printed:
        say(f"NOT PRINTED: {why}")
    for what in not_as_written:
        say(f"NOT AS THE FILE HAS IT: {what}. Compare that bar with the score.")


def say_not_applied(unfit: Unfit) -> None:
    """Lines of a plan or a workbook that were not applied; never dropped in silence."""
    from sectionprep.phrasing.deciding import say_unfit

    for decision, why in unfit:
        line = f"sectionprep: line not applied: {say_unfit(decision, why)}"
        print(clean(line), file=sys.stderr)


def say_strangers(score: Score) -> None:
    """Lines of a roster that fit nothing in the chart; never dropped in silence."""
    from sectionprep.music.roster import ROSTER

    for remark in score.chart.remarks:
        if remark.where == ROSTER:
            print(clean(f"sectionprep: roster: {remark.what}"), file=sys.stderr)


def say_taken_out(marked: Marked) -> None:
    """What was printed and is there no more, before anything else."""
    from sectionprep.outputs.reports.agreement import taken_out

    taken = taken_out(marked.score.chart, marked.marking)
    say(
        f"Taken out: {counted(len(taken), 'printed mark')}"
        + (" (with --section add nothing is):" if taken else ".")
    )
    for line in taken[:_TAKEN]:
        say(f"  {line}")
    if len(taken) > _TAKEN:
        say(f"  and {len(taken) - _TAKEN} more, listed in the change record.")


_TAKEN = 10  # marks taken out that are listed on the screen; judgement


def say_remarks(remarks: Iterable[Any]) -> None:
    """What the sheets do not show, each thing once."""
    from sectionprep.outputs.parts.sheet_remarks import said_once

    for line in said_once(remarks):
        say(f"  {line}")
