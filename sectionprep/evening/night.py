"""An evening made: charts gathered, ordered, and written as a workbook and a page into a folder
that holds the evenings before, whose ratings count."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from difflib import get_close_matches
from pathlib import Path

from sectionprep.errors import BadArgument, SectionprepError, UnusableSettings
from sectionprep.evening import paper
from sectionprep.evening.charts import Tonight, charts_of, gather
from sectionprep.evening.history import Entry, Past, pasts, remembered
from sectionprep.evening.missing import Gap
from sectionprep.evening.order import Evening, plan_evening
from sectionprep.evening.typed import cells_of, lines_of, typed_in
from sectionprep.outputs.edited_files import keep_copy
from sectionprep.outputs.folder import Run, staged
from sectionprep.outputs.names import safe_name
from sectionprep.results import Options

_ALL = "evening_*.xlsx"
EVENINGS = "evenings"  # to whom a folder of evenings belongs


@dataclass(frozen=True, slots=True, kw_only=True)
class Night:
    """What was made. failed: charts that could not be read, and why; notes: what a person must know
    of files that were there."""

    evening: Evening
    charts: tuple[Tonight, ...]
    files: tuple[Path, ...]
    failed: tuple[str, ...]
    notes: tuple[str, ...]

    @property
    def gaps(self) -> tuple[Gap, ...]:
        """What goes uncovered tonight."""
        return tuple(gap for chart in self.charts for gap in chart.gaps)


def make_evening(
    named: Sequence[Path],
    folder: Path,
    options: Options,
    *,
    minutes: int,
    start: int,
    keep_order: bool = False,
    missing: Sequence[str] = (),
    covers: bool = False,
) -> Night:
    """Write the evening of today into a folder. start: minutes after midnight; missing: who is not
    there, by part, chair or player; covers: draw sheets for those who take over. Raises
    BadArgument, DestinationError, UnusableSettings, and what reading says where no chart can be
    read."""
    notes: list[str] = []
    today = date.today()
    lines = look_back(folder, notes.append)
    charts, failed = _gathered(
        charts_of(named, folder), options, pasts(lines, today), missing, covers
    )
    _refuse_unknown(charts, missing)
    evening = plan_evening(charts, minutes, keep_order=keep_order)
    stem = f"evening_{today:%Y-%m-%d}"
    book, page = f"{stem}.xlsx", f"{stem}.pdf"
    earlier = {path.name for path in folder.glob(_ALL)}
    cells = cells_of(line for line in lines if line.day == today)
    own: tuple[str, ...] = ()
    if book in earlier:
        typed = typed_in(folder / book)
        if typed is None:
            earlier.remove(book)  # nobody's evening: it is not ours to replace
        else:
            cells, own = typed.cells, typed.own
    title = f"{today:%A, %d %B %Y}: {', '.join(chart.title for chart in charts)}"
    sheets = {
        f"{stem}_{safe_name(chart.name)}_{safe_name(cover.player)}.pdf": cover
        for chart in charts
        for cover in chart.covers
    }
    for cover in sheets.values():
        notes += cover.pages.not_drawn
    gaps = [gap for chart in charts for gap in chart.gaps]
    run = Run(
        chart=Path(EVENINGS),
        kind="evening",
        reads=[chart.path for chart in charts],
        typed_in=earlier,
        whole=False,
        force=options.force,
        say=notes.append,
    )
    with staged(folder, run) as stage:
        (stage / book).write_bytes(paper.workbook(evening, today, start, cells, gaps))
        (stage / page).write_bytes(paper.page(evening, start, title[:120], options.paper))
        for name, cover in sheets.items():
            (stage / name).write_bytes(cover.pages.pdf)
        notes += keep_copy(folder / book, own)
    return Night(
        evening=evening,
        charts=tuple(charts),
        files=tuple(folder / name for name in (book, page, *sheets)),
        failed=tuple(failed),
        notes=tuple(notes),
    )


def _gathered(
    paths: Sequence[Path],
    options: Options,
    known: Mapping[str, Past],
    missing: Sequence[str],
    covers: bool,
) -> tuple[list[Tonight], list[str]]:
    """The charts that can be read, each under a title of its own; and what is wrong with others."""
    charts: list[Tonight] = []
    failed: list[SectionprepError] = []
    for path in paths:
        try:
            charts.append(gather(path, options, known, missing, covers=covers))
        except SectionprepError as error:
            failed.append(error)
    if failed and not charts:
        raise failed[0]
    titles = Counter(chart.title for chart in charts)
    return [
        replace(c, title=f"{c.title} ({c.name})") if titles[c.title] > 1 else c for c in charts
    ], [str(error) for error in failed]


def _refuse_unknown(charts: Sequence[Tonight], missing: Sequence[str]) -> None:
    """Raise BadArgument for somebody whom no chart knows."""
    for name in missing:
        if not any(name in chart.missing for chart in charts):
            chairs = list(dict.fromkeys(part for chart in charts for part in chart.parts))
            near = get_close_matches(name.title(), chairs, n=1)
            meant = f"Did you mean {near[0]}? " if near else ""
            raise BadArgument(
                f"no chart of tonight knows {name!r}.",
                remedy=f"{meant}Chairs: {', '.join(chairs)}.",
            )


def look_back(folder: Path, say: Callable[[str], None]) -> tuple[Entry, ...]:
    """All that was typed into the evenings of a folder, by day; the history has it afterwards.
    say: is told what cannot be read."""
    days: dict[date, dict[str, Entry]] = {}
    for path in sorted(folder.glob(_ALL), key=lambda path: (path.stat().st_mtime, path.name)):
        try:
            typed = typed_in(path)
        except UnusableSettings as error:
            say(f"{error} Its ticks and ratings are not counted.")
            continue
        if typed is not None:
            mine = days.setdefault(typed.day, {})
            mine.update((line.line, line) for line in lines_of(typed))
    return remembered(folder, {day: list(mine.values()) for day, mine in days.items()}, say)
