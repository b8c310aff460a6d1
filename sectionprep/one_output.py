"""One thing made of the stages' results: sheets, the workbook or sound alone; and what the whole
folder is made with too."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from sectionprep.garbage import collector_at_rest
from sectionprep.music.naming import find_part
from sectionprep.music.roster import ROSTER
from sectionprep.phrasing.deciding import Unfit
from sectionprep.results import Marked, Options, Score
from sectionprep.stages import Say, bars_without_cues, no_word, plan_score, read_score

if TYPE_CHECKING:
    from sectionprep.outputs.audition import Wish
    from sectionprep.outputs.parts.part_job import SheetReport, SheetStyle
    from sectionprep.outputs.settled import Settled
    from sectionprep.outputs.workbook import Typed
    from sectionprep.outputs.workbook.rows import Book

Progress = Callable[[str, int, int], None]


def no_progress(_stage: str, _done: int, _of: int) -> None:
    """Say nothing."""


@collector_at_rest()
def write_sheets(
    score: Score, folder: Path, options: Options, parts: Sequence[str], progress: Progress
) -> tuple[SheetReport, ...]:
    """Draw the parts of a chart as it stands. parts: names; empty means all."""
    from sectionprep.outputs.folder import Run, staged
    from sectionprep.outputs.parts.reprint import Printed, stamped
    from sectionprep.outputs.parts.sheets import Basis, draw_all, part_jobs

    chart = score.chart
    chosen = [find_part(chart.parts, name).index for name in parts] or None
    run = Run(
        chart=score.document.path,
        title=score.chart.title,
        kind="sheets",
        reads=score.reads(options),
        whole=chosen is None,
        force=options.force,
    )
    with staged(folder, run) as stage:
        plan = plan_score(score, options)[0] if options.syllables else None
        jobs = part_jobs(Basis.of_score(score, plan), stage, sheet_style(options), parts=chosen)
        printed = Printed(sheets=folder if folder.is_dir() else None)
        return tuple(
            draw_all(
                stamped(jobs, day_of(score), printed),
                counter("drawing parts", len(chart.parts if chosen is None else chosen), progress),
            )
        )


@collector_at_rest()
def write_checklist(marked: Marked, out: Path, options: Options, say: Say = no_word) -> Path:
    """Write the workbook alone; its path. say: is told of what stood there."""
    from sectionprep.outputs.edited_files import keep_own_things, typed_before
    from sectionprep.outputs.files import write_file

    typed = typed_before(out, options.decisions, marked.score.chart.title)
    made = workbook_bytes(book_of(marked, options, typed), typed)
    for line in keep_own_things(out, typed):
        say(line)
    reads = [read for read in marked.score.reads(options) if read != options.decisions]
    write_file(out, made, reads=reads)
    return out


def audition(
    path: Path, folder: Path, options: Options, wish: Wish
) -> tuple[tuple[Path, ...], Unfit, tuple[str, ...]]:
    """Write MIDI and sound of every passage, flat and shaped. The files, decisions that fit
    nowhere, and what a listener must know."""
    from sectionprep.outputs.audition import remarks, write_audition
    from sectionprep.outputs.folder import Run, staged

    score = read_score(path, options, trees=False)
    plan, unfit = plan_score(score, options)
    run = Run(
        chart=path,
        title=score.chart.title,
        kind="audition",
        reads=score.reads(options),
        whole=not wish.passages and not wish.part,
        force=options.force,
    )
    with staged(folder, run) as stage:
        said = [f"roster: {r.what}" for r in score.chart.remarks if r.where == ROSTER]
        said += remarks(score.chart, wish)
        files = write_audition(score.chart, score.together, plan, stage, wish, said.append)
        return tuple(folder / p.relative_to(stage) for p in files), unfit, tuple(said)


def sheet_style(options: Options) -> SheetStyle:
    """How the sheets are to look."""
    from sectionprep.outputs.parts.part_job import SheetStyle

    return SheetStyle(
        paper=options.paper,
        staff=options.staff,
        section_help=options.section_help,
        rhythm_cues=options.rhythm_cues,
        no_rhythm_cues_in=bars_without_cues(options),
        cues=options.cues,
        courtesy=options.courtesy,
        syllables=options.syllables,
        proof=options.proof,
    )


def book_of(
    marked: Marked,
    options: Options,
    typed: Typed | None,
    settled: Mapping[str, Settled] | None = None,
) -> Book:
    """All that goes into the workbook but what is to be said of the sheets."""
    from sectionprep.outputs.workbook.rehearsal_plan import plan_rehearsal
    from sectionprep.outputs.workbook.rows import build_book

    items = plan_rehearsal(marked, options.minutes)
    applied = options.decisions is not None
    return build_book(marked, items, typed, applied=applied, settled=settled)


def workbook_bytes(book: Book, typed: Typed | None, reports: Sequence[SheetReport] = ()) -> bytes:
    """The workbook, with what is to be said of the sheets. typed: what stands in the one before."""
    from sectionprep.outputs.workbook import write_workbook
    from sectionprep.outputs.workbook.rows import with_sheets

    return write_workbook(with_sheets(book, reports), typed)


def counter(stage: str, of: int, progress: Progress) -> Callable[[], None]:
    """Counts finished jobs into a progress display."""
    done = 0
    progress(stage, 0, of)

    def tick() -> None:
        nonlocal done
        done += 1
        progress(stage, done, of)

    return tick


def day_of(score: Score) -> date:
    """The date of the chart's file."""
    return date.fromtimestamp(max(source.path.stat().st_mtime for source in score.bundle.sources))
