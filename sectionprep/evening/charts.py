"""What each chart asks of the evening: its places to rehearse, who plays, how long it lasts, how
much the brass blow, and what was rated and settled before."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from sectionprep import stages
from sectionprep.errors import UnreadableFile
from sectionprep.evening.history import Past, left_of
from sectionprep.evening.missing import Gap, absent, gaps
from sectionprep.library import with_what_is_there
from sectionprep.music.chart import Chart, Part
from sectionprep.music.instruments import BRASS
from sectionprep.outputs.audition.road import length_of, pieces_of
from sectionprep.outputs.director.cover_sheet import Borrowed, cover_pdf
from sectionprep.outputs.director.engraved import DirectorPages
from sectionprep.outputs.folder import MANIFEST, files_of
from sectionprep.outputs.library.summary import charts_in
from sectionprep.outputs.names import stem_of
from sectionprep.outputs.workbook import Typed, read_typed, tables
from sectionprep.outputs.workbook.rehearsal_plan import Item, plan_rehearsal
from sectionprep.passages import Passage
from sectionprep.results import Marked, Options

_LONG = 240  # minutes over which needs are shared out: every place gets a line; judgement
RUN = "run"  # the key of a chart's run
_MARKED = "_marked"
_ENDINGS = (".musicxml", ".xml", ".mxl")


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A place to rehearse. need: points, what earlier evenings have won taken off; rated: 1 to 5, 0
    for never; before: when and how it went last, in words; brass: share of its time in which the
    brass blow, 0 to 1; parts: chairs of who is needed."""

    item: Item
    need: float
    rated: int
    before: str
    brass: float
    parts: frozenset[str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cover:
    """A cover sheet. player: label of who takes the stretches; bars: as a person says them."""

    player: str
    bars: tuple[str, ...]
    pages: DirectorPages


@dataclass(frozen=True, slots=True, kw_only=True)
class Tonight:
    """One chart of the evening. name: of its file, by which its lines are known; seconds: to play
    it through once as its road map runs; brass: share of that in which the first brass blow; parts:
    chairs with anything to play, in score order; missing: label of the part of each who is not
    there, by the name that was said; gaps: what goes uncovered without them; covers: sheets for
    those who take it; pickup: which bar is the pick-up, in words, "" without one."""

    name: str
    title: str
    path: Path
    places: tuple[Place, ...]
    parts: tuple[str, ...]
    seconds: float
    brass: float
    missing: dict[str, str] = field(default_factory=dict)
    gaps: tuple[Gap, ...] = ()
    covers: tuple[Cover, ...] = ()
    pickup: str = ""

    @property
    def need(self) -> float:
        """Points in all."""
        return sum(place.need for place in self.places)


def charts_of(named: Iterable[Path], out: Path) -> list[Path]:
    """The charts that are meant: files as they are, of a folder the marked scores of all that
    `prepare` or `book` has made in it, else all charts in it but those in `out`. Raises
    UnreadableFile for a folder without."""
    found: list[Path] = []
    for path in named:
        if not path.is_dir():
            found.append(path)
            continue
        charts = _marked_in(path) or charts_in(path, out)
        if not charts:
            raise UnreadableFile(
                "holds no charts.", where=str(path), remedy="Name charts, or a folder with some."
            )
        found += charts
    return list(dict.fromkeys(found))


def _marked_in(folder: Path) -> list[Path]:
    made = [path.parent for path in sorted(folder.rglob(MANIFEST))]
    return [
        results / name
        for results in made
        for name in files_of(results, "prepare")
        if Path(name).stem.endswith(_MARKED) and Path(name).suffix.lower() in _ENDINGS
    ]


def gather(
    path: Path,
    options: Options,
    known: Mapping[str, Past],
    missing: Sequence[str] = (),
    *,
    covers: bool = False,
) -> Tonight:
    """Read a chart with what stands beside it or among its results. known: what earlier evenings
    have done, by "chart|line"; missing: who is not there, by part, chair or player; covers:
    draw sheets for those who take over. Raises every kind of SectionprepError."""
    name = stem_of(path).removesuffix(_MARKED)
    options = _with_results(path, name, options)
    score = stages.read_score(path, options)
    marked = stages.mark_score(score, options)
    typed = read_typed(options.decisions) if options.decisions is not None else Typed()
    rated = ratings(typed)
    chart = score.chart
    title = chart.title or name
    passages = {p.id: p for p in score.together.passages}
    places = []
    for item in plan_rehearsal(marked, _LONG):
        passage = passages.get(item.passage)
        if passage is None:
            continue
        rating, left, before = _won(name, item.key, known, rated)
        places.append(
            Place(
                item=item,
                need=item.need * left,
                rated=rating,
                before=before,
                brass=_brass(chart, passage.parts, passage.start, passage.end),
                parts=frozenset(_player(part) for part in _called(chart, passage, item)),
            )
        )
    away = absent(chart, score.roster, missing)
    playing = [part for part in chart.parts if _has_music(part)]
    uncovered = gaps(title, chart, score.together, list(away.values()))
    return Tonight(
        name=name,
        title=title,
        path=path,
        places=tuple(places),
        parts=tuple(dict.fromkeys(_player(part) for part in playing)),
        seconds=length_of(pieces_of(chart, chart.clock)),
        brass=_brass(chart, [p.index for p in playing], 0, chart.bars[-1].end),
        missing={said: part.label for said, part in away.items()},
        gaps=uncovered,
        covers=tuple(_covers(marked, uncovered, options.paper)) if covers else (),
        pickup=chart.says_pickup,
    )


def _with_results(path: Path, name: str, options: Options) -> Options:
    """The wishes for a chart, with its plan, workbook and roster where they are. A marked score has
    its plan in it already: its workbook tells what was rated."""
    if path.stem.endswith(_MARKED):
        book = path.with_name(f"{name}_rehearsal.xlsx")
        return replace(options, decisions=book if book.is_file() else None)
    return with_what_is_there(path, path.with_name(f"{name}_prepared"), options)


def _covers(marked: Marked, uncovered: Sequence[Gap], paper: str) -> Iterator[Cover]:
    """A sheet for each player who is the best to take something. The notes are as they stand on
    tonight's sheets, with their marks."""
    chart = marked.again.chart
    taken: dict[int, list[Gap]] = {}
    for gap in uncovered:
        if gap.takers:
            taken.setdefault(gap.takers[0].part, []).append(gap)
    for player in sorted(taken):
        stretches = [
            Borrowed(
                part=gap.missing,
                start=gap.start,
                end=gap.end,
                why=gap.what,
                beside="You rest there" if gap.takers[0].rests else "You leave your own notes",
            )
            for gap in taken[player]
        ]
        yield Cover(
            player=chart.parts[player].label,
            bars=tuple(gap.bars for gap in taken[player]),
            pages=cover_pdf(
                marked.again.document,
                chart,
                player,
                stretches,
                paper=paper,
                footer=f"{chart.title}: cover sheet",
            ),
        )


def _won(
    name: str, key: str, known: Mapping[str, Past], rated: Mapping[str, int]
) -> tuple[int, float, str]:
    """The last rating of a line (0 for none), what is left of its need, and why in words. A line
    without a past of its own goes by the chart's last run."""
    past = known.get(f"{name}|{key}")
    if past is not None:
        return past.rating, past.left, past.told
    if rating := rated.get(key, 0):
        return rating, left_of(rating), f"rated {rating} in the chart's workbook"
    run = known.get(f"{name}|{RUN}")
    return (0, run.left, f"the run was {run.told}") if run is not None else (0, 1.0, "")


def _called(chart: Chart, passage: Passage, item: Item) -> Iterator[Part]:
    """Who is needed for a place: a section by itself, or all who have anything there."""
    alone = len(item.sections) == 1
    for part in chart.parts:
        here = not alone and _has_music(part, passage.start, passage.end)
        if here or part.index in passage.parts:
            yield part


def _has_music(part: Part, start: int = 0, end: float = math.inf) -> bool:
    """Whether a part has anything but rests and cues: notes, slashes or chord symbols."""
    notes = (note for note in part.notes if not (note.is_rest or note.is_cue))
    return any(note.onset < end and note.end > start for note in notes) or any(
        sign.kind == "chord" and start <= sign.onset < end for sign in part.directions
    )


def _player(part: Part) -> str:
    """Who plays a part, by the chair: charts name the same chair in many ways."""
    return part.chair.says if part.chair.sure else part.label


def ratings(typed: Typed) -> dict[str, int]:
    """Ratings 1 to 5 by the key of the line in the sheet Rehearsal."""
    found = {}
    for key, cells in typed.cells.get(tables.REHEARSAL, {}).items():
        value = str(cells.get("Rating 1-5", "")).strip()
        if value in tables.RATINGS:
            found[key] = int(value)
    return found


def _brass(chart: Chart, parts: Sequence[int], start: int, end: int) -> float:
    """The share of a stretch in which the busiest brass part sounds: what the lip feels."""
    length = max(end - start, 1)
    shares = [
        sum(tone.duration for tone in chart.between(part, start, end)) / length
        for part in parts
        if chart.parts[part].chair.section in BRASS
    ]
    return min(1.0, max(shares, default=0.0))
