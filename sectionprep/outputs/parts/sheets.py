"""All part sheets of a chart: one PDF a part, drawn by processes of their own."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sectionprep.apart import Apart, Died
from sectionprep.drawing.engraver.part import seconds_for
from sectionprep.drawing.engraver.toolkit import get_ready
from sectionprep.drawing.proof.as_written import MustShow, cue_heads, heads_of
from sectionprep.drawing.scene.jazz_marks import overlays_of
from sectionprep.marking import Marking
from sectionprep.music.chart import Chart, Part
from sectionprep.music.pitch import Transposition
from sectionprep.music.roster import EMPTY, Roster
from sectionprep.musicxml.copies.cues import Cue, add_cue
from sectionprep.musicxml.copies.part import extract_part, note_id
from sectionprep.musicxml.copies.rhythm_cues import RhythmCue, add_rhythm_cue
from sectionprep.musicxml.copies.transposing import WrittenPart
from sectionprep.musicxml.copies.undrawn import Undrawn
from sectionprep.musicxml.document import Document
from sectionprep.outputs.names import safe_name
from sectionprep.outputs.parts.alike import made_alike
from sectionprep.outputs.parts.cue_choice import choose_cues
from sectionprep.outputs.parts.laying_out import told_plainly
from sectionprep.outputs.parts.part_job import PartJob, SheetReport, SheetStyle
from sectionprep.outputs.parts.proof_pages import Proof, proof_of
from sectionprep.outputs.parts.reminders import reminders
from sectionprep.outputs.parts.rhythm_choice import (
    Caught,
    is_mostly_slashes,
    rhythm_cues,
    rhythm_heads,
    worth_catching,
)
from sectionprep.outputs.parts.section_help import section_help
from sectionprep.outputs.parts.sheet import draw_part
from sectionprep.outputs.parts.time_words import may_close, time_words
from sectionprep.outputs.parts.turning import RoadTurns, free_at_bar_ends, plain_time
from sectionprep.outputs.parts.unshown import remarks_of
from sectionprep.outputs.parts.who_plays import who_plays
from sectionprep.passages import Together
from sectionprep.phrasing import Plan
from sectionprep.phrasing.syllables import syllables
from sectionprep.results import Marked, Score

if TYPE_CHECKING:
    from lxml import etree

_MOST_WORKERS = 4  # each takes about 80 MB


def file_names(chart: Chart) -> list[str]:
    """A distinct file stem for every part: number in score order and name."""
    return [f"{part.index + 1:02d}_{safe_name(part.label)}" for part in chart.parts]


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
    document: Document, cues: Sequence[Cue], hits: Sequence[RhythmCue]
) -> Callable[[int, etree._Element], None] | None:
    """What puts the cues into the copy of each measure."""
    before_entries = {cue.bar: cue for cue in cues}
    over_slashes = {cue.bar: cue for cue in hits}
    if not before_entries and not over_slashes:
        return None

    def write(bar: int, measure: etree._Element) -> None:
        if bar in before_entries:
            add_cue(measure, document, before_entries[bar])
        elif bar in over_slashes:
            add_rhythm_cue(measure, document, over_slashes[bar])

    return write


@dataclass(frozen=True, slots=True, kw_only=True)
class Basis:
    """What the part sheets of a chart are made from. together: gives section help and cues; roster:
    gives large print; plan: gives syllables; marking: what we added, to be printed lighter and
    listed in proofs."""

    document: Document
    chart: Chart
    together: Together | None = None
    roster: Roster = EMPTY
    plan: Plan | None = None
    marking: Marking | None = None

    @classmethod
    def of_score(cls, score: Score, plan: Plan | None = None) -> Basis:
        """A chart as it stands."""
        return cls(
            document=score.document,
            chart=score.chart,
            together=score.together,
            roster=score.roster,
            plan=plan,
        )

    @classmethod
    def of_marked(cls, marked: Marked) -> Basis:
        """A chart with its marks."""
        again = cls.of_score(marked.again, marked.plan)
        return replace(again, roster=marked.score.roster, marking=marked.marking)


def part_jobs(
    basis: Basis,
    folder: Path,
    style: SheetStyle,
    *,
    footer: str = "",
    parts: Iterable[int] | None = None,
) -> Iterator[PartJob]:
    """One drawing job for each part, made as it is asked for. parts: indices; None means all."""
    makes = _JobMaker(basis, folder, style, footer)
    wanted = None if parts is None else set(parts)
    seen: Counter[str] = Counter()
    for part in basis.chart.parts:
        if wanted is None or part.index in wanted:
            yield makes.job(part, seen[part.id])
        seen[part.id] += 1


class _JobMaker:
    """Makes the jobs of one chart."""

    def __init__(self, basis: Basis, folder: Path, style: SheetStyle, footer: str) -> None:
        chart, together = basis.chart, basis.together
        self._basis, self._folder, self._style, self._footer = basis, folder, style, footer
        self._names = file_names(chart)
        self._road = RoadTurns(chart)
        self._caught: Sequence[Caught] = ()
        if together is not None and style.rhythm_cues:
            self._caught = worth_catching(chart, together, style.no_rhythm_cues_in)

    def job(self, part: Part, occurrence: int) -> PartJob:
        """How to draw a part. occurrence: of its id in the file, from 0."""
        basis, chart, style = self._basis, self._basis.chart, self._style
        seat = basis.roster.seat(part.label)
        cues, hits = self._cues(part), rhythm_cues(chart, part, self._caught)
        plain = plain_time(part, {cue.bar for cue in hits})
        written, undrawn, jumps = _as_read(chart, part), Undrawn(), self._road.of(part, plain)
        rests, in_time = free_at_bar_ends(chart, part, plain)
        heads = (
            *heads_of(part, _reading(written)),
            *cue_heads(chart, cues),
            *rhythm_heads(chart, hits),
        )
        return PartJob(
            xml=extract_part(
                basis.document,
                part.id,
                occurrence,
                written=written,
                words=self._words(part, hits),
                reminders=reminders(chart, part, jumps),
                finish=_cue_writer(basis.document, cues, hits),
                courtesy=style.courtesy,
                clef=part.chair.instrument.clef,
                undrawn=undrawn,
            ),
            name=part.label,
            title=chart.title,
            composer=chart.composer,
            arranger=chart.arranger,
            footer=self._footer,
            must=MustShow(heads, chart.resolution),
            where=part.label,
            out=self._folder / f"{self._names[part.index]}.pdf",
            style=replace(style, staff=seat.staff) if seat is not None and seat.staff else style,
            overlays=overlays_of(part),
            syllables=self._syllables(part),
            proof=self._proof(part),
            rests=rests,
            in_time=in_time,
            jumps=jumps,
            steady=is_mostly_slashes(part),
            plays=may_close(chart, part, {cue.bar for cue in hits}) if style.rhythm_cues else (),
            lettered=part.chair.section == "rhythm",
            section=part.chair.section,
            under=who_plays(chart, part, seat),
            numbers=tuple(bar.number for bar in chart.bars),
            lyricist=chart.lyricist,
            rights=chart.rights,
            remarks=remarks_of(chart, part, undrawn),
        )

    def _cues(self, part: Part) -> Sequence[Cue]:
        """What is heard before the entries of a part. A score in concert pitch gets none."""
        chart, together = self._basis.chart, self._basis.together
        if together is None or chart.concert or not self._style.cues:
            return ()
        return choose_cues(chart, together, part)

    def _words(self, part: Part, hits: Sequence[RhythmCue]) -> dict[int, str]:
        """What is said over the bars of a part."""
        chart, together = self._basis.chart, self._basis.together
        said: dict[int, str] = {}
        if self._style.rhythm_cues:
            said |= time_words(chart, part, {cue.bar for cue in hits})
        if together is not None and self._style.section_help:
            said |= section_help(chart, together, part.index)
        return said

    def _syllables(self, part: Part) -> dict[str, str]:
        basis = self._basis
        if not self._style.syllables or basis.together is None or basis.plan is None:
            return {}
        said = syllables(basis.chart, basis.together, basis.plan, part.index)
        return {note_id(address): word for address, word in said.items()}

    def _proof(self, part: Part) -> Proof | None:
        if not self._style.proof or self._basis.marking is None:
            return None
        return proof_of(self._basis.chart, self._basis.marking, part.index)


class Drawing:
    """Sheets being drawn in the background. The engraver is foreign code that a strange bar can
    bring down, so it runs in processes of its own; what brings one down is reported and stops
    nobody else. workers: how many processes; by default as many as the machine has cores for.
    beside: one more, for what does not wait for the sheets."""

    def __init__(self, workers: int | None = None, *, beside: bool = False) -> None:
        get_ready()
        self.beside = Apart() if beside else None
        self.apart = Apart(workers or min(os.cpu_count() or 1, _MOST_WORKERS), background=True)
        self.jobs: list[PartJob] = []
        self.futures: list[Future[SheetReport]] = []

    def draw(self, jobs: Iterable[PartJob]) -> None:
        """Have these drawn; the first are being drawn while the next are made."""
        for job in jobs:
            self.jobs.append(job)
            self.futures.append(self.apart.submit(draw_part, job, seconds=seconds_for(job.xml)))

    def __enter__(self) -> Drawing:
        return self

    def __exit__(self, *error: object) -> None:
        for apart in filter(None, (self.beside, self.apart)):
            apart.__exit__(*error)

    def reports(self, tick: Callable[[], None] = lambda: None) -> list[SheetReport]:
        """Wait for all sheets, in order; `tick` is called after each."""
        found: list[SheetReport] = []
        for n, future in enumerate(self.futures):
            try:
                found.append(future.result())
            except Died as why:
                hopeless = why.hopeless
                found.append(_not_drawn(self.jobs[n], why) if hopeless else self._once_more(n))
            tick()
        drawn = {n: report for n, report in enumerate(found) if report.pages}

        def again(levels: Mapping[int, int | None]) -> dict[int, SheetReport]:
            return self._again(levels, drawn)

        even = made_alike(drawn, [job.alike for job in self.jobs], again)
        return [even.get(n, report) for n, report in enumerate(found)]

    def _again(
        self, levels: Mapping[int, int | None], drawn: Mapping[int, SheetReport]
    ) -> dict[int, SheetReport]:
        """Parts drawn once more, at other levels of page economy, by who drew them before."""
        waiting = {}
        for part, level in levels.items():
            job, seconds = replace(self.jobs[part], level=level), seconds_for(self.jobs[part].xml)
            process = drawn[part].process
            waiting[part] = self.apart.submit(draw_part, job, seconds=seconds, process=process)
        return {part: future.result() for part, future in waiting.items()}

    def _once_more(self, part: int) -> SheetReport:
        """A part that brought the engraver down, told as plainly as can be from now on."""
        job = self.jobs[part]
        self.jobs[part] = plain = told_plainly(job)
        try:
            return self.apart.submit(draw_part, plain, seconds=seconds_for(plain.xml)).result()
        except Died as why:
            return _not_drawn(job, why)

    def also(self, work: Callable[..., None], *given: Any) -> Callable[[], None]:
        """Have other work done by the same processes; call what comes back to wait for it."""
        return self.apart.submit(work, *given).result


def _not_drawn(job: PartJob, why: Died) -> SheetReport:
    return SheetReport(
        name=job.name,
        path=job.out,
        pages=0,
        staves=(),
        turns=(),
        bars_per_line=(),
        failed=f"{job.name}: {why}. Look at its bars in the score.",
    )


def draw_all(jobs: Iterable[PartJob], tick: Callable[[], None] = lambda: None) -> list[SheetReport]:
    """Draw every job, in order; `tick` is called after each."""
    with Drawing() as drawing:
        drawing.draw(jobs)
        return drawing.reports(tick)
