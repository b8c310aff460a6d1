"""All part sheets of a chart: one PDF a part, drawn by processes of their own."""

from __future__ import annotations

import gc
import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace
from multiprocessing import current_process
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from sectionprep.drawing.engraver.engraver import get_ready
from sectionprep.drawing.proof.as_written import MustShow, cue_heads, heads_of
from sectionprep.drawing.scene.jazz_marks import DRAWN
from sectionprep.marking import Marking
from sectionprep.music.chart import Chart, Part
from sectionprep.music.pitch import Transposition
from sectionprep.music.roster import EMPTY, Roster
from sectionprep.musicxml.copies.cues import Cue, add_cue
from sectionprep.musicxml.copies.mending import plainly
from sectionprep.musicxml.copies.part import extract_part, note_id
from sectionprep.musicxml.copies.transposing import WrittenPart
from sectionprep.musicxml.copies.undrawn import Undrawn
from sectionprep.musicxml.document import Document
from sectionprep.outputs.names import safe_name
from sectionprep.outputs.parts.cue_choice import choose_cues
from sectionprep.outputs.parts.proof_pages import proof_of
from sectionprep.outputs.parts.section_help import section_help
from sectionprep.outputs.parts.sheet import PartJob, SheetReport, SheetStyle, draw_part
from sectionprep.outputs.parts.unshown import remarks_of
from sectionprep.passages import Together
from sectionprep.phrasing import Plan
from sectionprep.phrasing.syllables import syllables

if TYPE_CHECKING:
    from lxml import etree


_T = TypeVar("_T")
_MOST_WORKERS = 4  # each takes about 80 MB


def file_names(chart: Chart) -> list[str]:
    """A distinct file stem for every part: number in score order and name."""
    return [f"{part.index + 1:02d}_{safe_name(part.label)}" for part in chart.parts]


def rests_at_bar_ends(chart: Chart, part: Part) -> tuple[float, ...]:
    """Seconds of rest around each bar line: from the last note's end before it to the next note
    after it."""
    playing = sorted(
        (n.onset, n.end) for n in part.notes if not n.is_rest and not n.is_cue and n.duration
    )
    found: list[float] = []
    at = 0
    quiet_since = 0
    total = chart.bars[-1].end
    for bar in chart.bars:
        while at < len(playing) and playing[at][0] < bar.end:
            quiet_since = max(quiet_since, playing[at][1])
            at += 1
        following = playing[at][0] if at < len(playing) else total
        found.append(
            max(0.0, chart.seconds(quiet_since, following)) if quiet_since <= bar.end else 0.0
        )
    return tuple(found)


def _as_read(chart: Chart, part: Part) -> WrittenPart | None:
    """Parts of a concert-pitch score are printed as their players read them."""
    (_, first), *others = part.instruments
    if (
        not chart.concert
        or not part.chair.sure
        or not any(one.transposition.chromatic % 12 for _, one in part.instruments)
    ):
        return None
    changes = {chart.bar_at(tick).index: (one.transposition, one.clef) for tick, one in others}
    return WrittenPart(first.transposition, first.clef, changes)


def _reading(written: WrittenPart | None) -> tuple[tuple[int, Transposition], ...]:
    """What the player of a rewritten part reads, from which bar on."""
    if written is None:
        return ()
    changes = sorted(written.changes.items())
    return (0, written.transposition), *((bar, one) for bar, (one, _) in changes)


def _cue_writer(
    document: Document, cues: Sequence[Cue]
) -> Callable[[int, etree._Element], None] | None:
    by_bar = {cue.bar: cue for cue in cues}
    if not by_bar:
        return None

    def write(bar: int, measure: etree._Element) -> None:
        if bar in by_bar:
            add_cue(measure, document, by_bar[bar])

    return write


def part_jobs(
    document: Document,
    chart: Chart,
    folder: Path,
    *,
    style: SheetStyle,
    footer: str,
    parts: Iterable[int] | None = None,
    together: Together | None = None,
    roster: Roster = EMPTY,
    plan: Plan | None = None,
    marking: Marking | None = None,
) -> Iterator[PartJob]:
    """One drawing job for each part, made as it is asked for. together: gives section help and
    cues; roster: gives large print; plan: gives syllables; marking: what we added, to be printed
    lighter and listed in proofs."""
    seen: dict[str, int] = {}
    names = file_names(chart)
    wanted = None if parts is None else set(parts)
    for part in chart.parts:
        occurrence = seen.get(part.id, 0)
        seen[part.id] = occurrence + 1
        if wanted is not None and part.index not in wanted:
            continue
        overlays = {
            note_id(note.address): tuple(sorted(note.marks & DRAWN))
            for note in part.notes
            if note.marks & DRAWN
        }
        help_words = (
            section_help(chart, together, part.index)
            if together is not None and style.section_help
            else {}
        )
        seat = roster.seat(part.label)
        own_style = replace(style, staff=seat.staff) if seat is not None and seat.staff else style
        with_cues = style.cues and together is not None and not chart.concert
        cues = choose_cues(chart, together, part) if with_cues and together is not None else ()
        written = _as_read(chart, part)
        reading = _reading(written)
        undrawn = Undrawn()
        yield PartJob(
            xml=extract_part(
                document,
                part.id,
                occurrence,
                written=written,
                words=help_words,
                finish=_cue_writer(document, cues),
                courtesy=style.courtesy,
                clef=part.chair.instrument.clef,
                undrawn=undrawn,
            ),
            name=part.label,
            title=chart.title,
            composer=chart.composer,
            arranger=chart.arranger,
            footer=footer,
            must=MustShow((*heads_of(part, reading), *cue_heads(chart, cues)), chart.resolution),
            where=part.label,
            out=folder / f"{names[part.index]}.pdf",
            style=own_style,
            overlays=overlays,
            syllables=_syllables(chart, together, plan, part.index, style),
            proof=proof_of(chart, marking, part.index)
            if style.proof and marking is not None
            else None,
            rests=rests_at_bar_ends(chart, part),
            numbers=tuple(bar.number for bar in chart.bars),
            lyricist=chart.lyricist,
            rights=chart.rights,
            remarks=remarks_of(chart, part, undrawn),
        )


def _syllables(
    chart: Chart, together: Together | None, plan: Plan | None, part: int, style: SheetStyle
) -> dict[str, str]:
    if not style.syllables or together is None or plan is None:
        return {}
    return {
        note_id(address): word for address, word in syllables(chart, together, plan, part).items()
    }


class _Here(Executor):
    """Runs what it is given at once, in this process."""

    def submit(self, fn: Callable[..., _T], /, *args: Any, **kwargs: Any) -> Future[_T]:
        future: Future[_T] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:  # it belongs to whoever asks for the result
            future.set_exception(error)
        return future


def _settle() -> None:
    """A drawing process works in the background: whoever started it has more to do. It lives for
    one chart; what it inherits is not its to collect, and its sheets leave little behind."""
    gc.freeze()
    gc.disable()
    if hasattr(os, "nice"):
        os.nice(10)


class Drawing:
    """Sheets being drawn in the background. The engraver is foreign code that a strange bar can
    bring down, so it runs in processes of its own; what brings one down is reported and stops
    nobody else. here: draw in this process instead, where many charts are prepared side by side and
    whoever started it looks after its end."""

    def __init__(self, *, here: bool = False) -> None:
        get_ready()
        # a daemon (a worker of some clusters) may have no children: it draws by itself, and its
        # cluster tries again
        self.pool: Executor = (
            _Here()
            if here or current_process().daemon
            else ProcessPoolExecutor(
                max_workers=min(os.cpu_count() or 1, _MOST_WORKERS), initializer=_settle
            )
        )
        self.jobs: list[PartJob] = []
        self.futures: list[
            Future[SheetReport] | None
        ] = []  # None: a part before it has brought the processes down

    def draw(self, jobs: Iterable[PartJob]) -> None:
        """Have these drawn; the first are being drawn while the next are made."""
        for job in jobs:
            self.jobs.append(job)
            try:
                self.futures.append(self.pool.submit(draw_part, job))
            except BrokenProcessPool:
                self.futures.append(None)

    def __enter__(self) -> Drawing:
        return self

    def __exit__(self, *_error: object) -> None:
        # waited for always: a pool that ends by itself can lose its pipe while Python ends, which
        # is a traceback ("Bad file descriptor") in a few of a hundred runs
        self.pool.shutdown(wait=True, cancel_futures=True)

    def reports(self, tick: Callable[[], None] = lambda: None) -> list[SheetReport]:
        """Wait for all sheets, in order; `tick` is called after each."""
        found: list[SheetReport] = []
        for job, future in zip(self.jobs, self.futures, strict=True):
            try:
                found.append(future.result() if future is not None else _draw_alone(job))
            except BrokenProcessPool:
                found.append(_draw_alone(job))
            tick()
        return found

    def also(self, work: Callable[..., None], *given: Any) -> Callable[[], None]:
        """Have other work done by the same processes; call what comes back to wait for it."""
        try:
            future = self.pool.submit(work, *given)
        except BrokenProcessPool:  # a part brought the engraver down
            return lambda: work(*given)

        def wait() -> None:
            try:
                future.result()
            except BrokenProcessPool:
                work(*given)

        return wait


def draw_all(jobs: Iterable[PartJob], tick: Callable[[], None] = lambda: None) -> list[SheetReport]:
    """Draw every job, in order; `tick` is called after each."""
    with Drawing() as drawing:
        drawing.draw(jobs)
        return drawing.reports(tick)


def _draw_alone(job: PartJob) -> SheetReport:
    """Draw a part in a process of its own; if that brings it down, once more, told as plainly as
    can be."""
    for xml in (job.xml, plainly(job.xml)):
        try:
            with ProcessPoolExecutor(max_workers=1) as pool:
                return pool.submit(draw_part, replace(job, xml=xml)).result()
        except BrokenProcessPool:
            continue
    why = f"{job.name}: the engraver broke down over this part. Look at its bars in the score."
    return SheetReport(
        name=job.name, path=job.out, pages=0, staves=(), turns=(), bars_per_line=(), failed=why
    )
