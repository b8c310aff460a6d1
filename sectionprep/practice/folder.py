"""The folder: an index of the band by sections, a page a player, their sounds."""

from __future__ import annotations

import json
import os
import shutil
import tempfile
from collections.abc import Mapping
from concurrent.futures import Future
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from sectionprep.apart import Apart, Died
from sectionprep.drawing.engraver.part import seconds_for
from sectionprep.drawing.engraver.toolkit import EngravingFailed, get_ready
from sectionprep.drawing.text import fonts
from sectionprep.music.chart import Chart, Part
from sectionprep.outputs.audition import Wish, remarks
from sectionprep.outputs.audition.band import Band, Voice
from sectionprep.outputs.audition.road import pieces_of
from sectionprep.outputs.folder import Run, staged
from sectionprep.outputs.parts.part_job import SheetStyle
from sectionprep.outputs.parts.sheets import Basis, file_names, part_jobs
from sectionprep.passages import Passage
from sectionprep.phrasing.syllables import syllables
from sectionprep.practice.lines import Strip, part_lines
from sectionprep.practice.sounds import (
    Times,
    has_horns,
    passage_sounds,
    piece_of,
    times_of,
    whole_sounds,
)
from sectionprep.practice.takes import KEPT, TakeFolders, earlier_takes, write_list
from sectionprep.practice.templates import FOLDER, environment
from sectionprep.practice.words import words_of
from sectionprep.results import Marked
from sectionprep.settings import data_path

STEPS = (60, 70, 80, 90, 100)  # percent of the tempo
_SECONDS = 600.0  # of processor time for one passage's sounds: far more than any takes
_WORKERS = 2
_TAKES = (
    ("me", "You alone"),
    ("lead", "You with the lead"),
    ("section", "The section without you"),
    ("band", "The whole band"),
    ("horns", "The band without its rhythm section"),
    ("without", "The band without you"),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Made:
    """What was written: files, and what a director must know, one line each."""

    files: tuple[Path, ...]
    notes: tuple[str, ...]


def practice_folder(
    marked: Marked, folder: Path, run: Run, *, names: bool = False, font: Path | None = None
) -> Made:
    """Write the pages into a folder, which is there whole or not at all. Sounds that an earlier run
    has made, one that was killed as well, are taken from there. names: of players, from the roster;
    font: a sound font whose instruments play."""
    with staged(folder, run) as stage:
        kept = folder / KEPT
        made = write_practice(
            marked, stage, names=names, font=font, kept=kept, before=earlier_takes(folder)
        )
    shutil.rmtree(kept, ignore_errors=True)
    return made


def write_practice(
    marked: Marked,
    folder: Path,
    *,
    names: bool = False,
    font: Path | None = None,
    kept: Path | None = None,
    before: Mapping[str, Path] | None = None,
) -> Made:
    """Write the pages into an empty folder. kept: where sounds wait for the run to end; before:
    takes of earlier runs by their keys."""
    chart = marked.again.chart
    get_ready()
    (folder / "sound").mkdir(parents=True)
    notes = list(remarks(chart, Wish()))
    with ExitStack() as closing:
        if kept is None:
            kept = Path(closing.enter_context(tempfile.TemporaryDirectory()))
        kept.mkdir(exist_ok=True)
        place = TakeFolders(sound=folder / "sound", kept=kept, before=before or {}, font=font)
        apart = closing.enter_context(Apart(min(os.cpu_count() or 1, _WORKERS)))
        drawn = _draw(apart, marked)
        passages = [p for p in marked.again.together.passages if marked.plan.of(p.id) is not None]
        idle, work = _sounds(apart, marked, passages, place)
        pages = _Pages(marked, folder, names, idle, generated=notes)
        for part, job in zip(chart.parts, drawn, strict=True):
            try:
                art, lines, proved = job.result()
            except (Died, EngravingFailed) as error:
                art, lines, proved = "", [], True
                notes.append(f"NOT DRAWN: {part.label}: {error}")
            if not proved:
                notes.append(f"NOT AS THE FILE HAS IT: {part.label}. Compare it with the score.")
            pages.player(part, [p for p in passages if part.index in p.parts], art, lines)
        pages.index()
        keys: dict[str, str] = {}
        for one in work:
            keys |= one.result()
        write_list(place.sound, keys)
    return Made(
        files=tuple(sorted(p for p in folder.rglob("*") if p.is_file())), notes=tuple(notes)
    )


def _sounds(
    apart: Apart, marked: Marked, passages: list[Passage], place: TakeFolders
) -> tuple[list[int], list[Future[dict[str, str]]]]:
    """Have the sounds made, the longest first. Parts that are in no passage, and the jobs."""
    chart, together = marked.again.chart, marked.again.together
    band = Band(chart, together, marked.plan)
    voices = band.whole(chart.clock)
    busy = {part for p in passages for part in p.parts}
    sounding = {v.name for v in voices}
    idle = [p.index for p in chart.parts if p.index not in busy and p.label in sounding]
    work = [apart.submit(whole_sounds, chart, voices, idle, place, seconds=6 * _SECONDS)]
    work += [
        apart.submit(passage_sounds, band, _near(band, voices, p), p, place, seconds=_SECONDS)
        for p in passages
    ]
    return idle, work


def _draw(apart: Apart, marked: Marked) -> list[Future[tuple[str, list[Strip], bool]]]:
    basis = Basis.of_score(marked.again, marked.plan)
    jobs = part_jobs(basis, Path(), SheetStyle(syllables=True, cues=False))
    return [apart.submit(part_lines, job, seconds=4 * seconds_for(job.xml)) for job in jobs]


def _near(band: Band, voices: list[Voice], passage: Passage) -> list[Voice]:
    """Voices with only the notes of a passage: all that its sounds need."""
    start, end = piece_of(band.chart, passage).written
    return [
        replace(v, notes=tuple(n for n in v.notes if start <= n.start + 1e-6 < end)) for v in voices
    ]


class _Pages:
    """Writes the pages of one chart."""

    def __init__(
        self, marked: Marked, folder: Path, names: bool, idle: list[int], generated: list[str]
    ) -> None:
        self.marked, self.folder, self.names, self.idle = marked, folder, names, idle
        self.chart: Chart = marked.again.chart
        self.files = file_names(self.chart)
        self.made = [line for line in generated if line.startswith(("Generated", "The chart"))]
        self.env = environment()
        signs = fonts.web_font(fonts.MUSIC, fonts.WEB_SIGNS)
        for name in ("practice.js", "practice.css"):
            data = data_path(f"{FOLDER}/{name}").read_text(encoding="utf-8")
            (folder / name).write_text(data.replace("@MUSIC@", signs), encoding="utf-8")

    def player(self, part: Part, passages: list[Passage], art: str, lines: list[Strip]) -> None:
        """One player's page."""
        chart, plan = self.chart, self.marked.plan
        said = syllables(chart, self.marked.again.together, plan, part.index)
        shown, data = [], {}
        for passage in passages:
            planned = plan.of(passage.id)
            assert planned is not None
            piece = piece_of(chart, passage)
            times = times_of(chart, [piece], chart.clock)
            data[passage.id] = _data(times, self._takes(part, passage))
            shown.append(
                {
                    "id": passage.id,
                    "words": words_of(chart, passage, planned, part.index, said),
                    "takes": self._takes(part, passage),
                    "bars": times.bars,
                    "music": (piece.first, piece.last),
                }
            )
        pieces = pieces_of(chart, chart.clock)
        whole = {"band": "sound/chart_band.mp3"} | self._horns("chart")
        if part.index in self.idle:
            whole = {"without": f"sound/chart_{part.index + 1:02d}_without.mp3"} | whole
        times = times_of(chart, pieces, chart.clock)
        data["chart"] = _data(times, whole)
        self._write(
            f"{self.files[part.index]}.html",
            "player.html",
            part=part.label,
            player=self._player(part),
            shown=shown,
            whole=whole,
            whole_bars=times.bars,
            names=dict(_TAKES),
            steps=STEPS,
            art=art,
            lines=lines,
            made=self.made,
            data=_script({"part": part.label, "key": self._key(part), "pieces": data}),
        )

    def index(self) -> None:
        """The band by sections."""
        sections: dict[str, list[tuple[str, str, str]]] = {}
        for part in self.chart.parts:
            entry = (f"{self.files[part.index]}.html", part.label, self._player(part))
            sections.setdefault(part.chair.section, []).append(entry)
        self._write("index.html", "index.html", sections=sections)

    def _takes(self, part: Part, passage: Passage) -> dict[str, str]:
        mine = f"sound/{passage.id}_{part.index + 1:02d}"
        found = {"me": f"{mine}_me.mp3"}
        if part.index != passage.lead:
            found["lead"] = f"{mine}_lead.mp3"
        if len(passage.parts) > 1:
            found["section"] = f"{mine}_section.mp3"
        return found | {"band": f"sound/{passage.id}_band.mp3"} | self._horns(passage.id)

    def _horns(self, name: str) -> dict[str, str]:
        return {"horns": f"sound/{name}_horns.mp3"} if has_horns(self.chart) else {}

    def _player(self, part: Part) -> str:
        seat = self.marked.score.roster.seat(part.label) if self.names else None
        return seat.player if seat is not None else ""

    def _key(self, part: Part) -> str:
        """Under which a browser keeps the ticks: another chart's are not mixed in."""
        return f"sectionprep/{self.chart.title}/{part.label}"

    def _write(self, name: str, template: str, **facts: Any) -> None:
        title = self.chart.title or "Untitled"
        text = self.env.get_template(template).render(title=title, **facts)
        (self.folder / name).write_text(text, encoding="utf-8")


def _data(times: Times, takes: dict[str, str]) -> dict[str, Any]:
    return {"bars": times.bars, "beats": times.beats, "end": times.end, "takes": takes}


def _script(data: dict[str, Any]) -> str:
    """JSON that can stand inside a script element whatever the titles say."""
    text = json.dumps(data, ensure_ascii=True, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
