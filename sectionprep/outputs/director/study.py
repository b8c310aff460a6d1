"""What is shown on study pages: passages, and hits that are too short to be one, gathered."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from sectionprep.music.chart import Chart
from sectionprep.music.marks import SLURS
from sectionprep.musicxml.copies.alike import alike
from sectionprep.musicxml.copies.excerpt import (
    Excerpt,
    Pick,
    extract_excerpt,
    keeps_its_signs,
    unchanging,
)
from sectionprep.outputs.director.staves import pick_staff
from sectionprep.passages import Passage
from sectionprep.phrasing import PassagePlan
from sectionprep.phrasing.syllables import lead_syllables
from sectionprep.results import Marked

# a study page is a hand-out, not the score: longer passages show their first bars; judgement
_STUDY_BARS = 24
_STAFF_MM = 4.5  # staff height on study pages: smaller than a player's, large enough for a stand
_LEAST_MM = 3.6  # staff height that the engraver still draws
_STAVES, _ALIKE = 14, 0.6  # of hits that stand together: of all, and what they share; judgement
_GATHERINGS = 8  # of hits, the largest ones: the rest are in the workbook; judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class Study:
    """What is shown together: a passage, or hits of the same players (passages, each with its
    plan); the parts that have a staff, their staves, and the bars (indices). alike: parts that
    are written alike and share the staff of one of them, each with all that it stands for. made:
    what the engraver is given."""

    passages: tuple[Passage, ...]
    plans: tuple[PassagePlan, ...]
    parts: tuple[int, ...]
    picks: tuple[Pick, ...]
    bars: tuple[int, ...]
    pitch: str
    hits: bool = False
    alike: tuple[tuple[int, ...], ...] = ()
    made: Excerpt = field(compare=False, repr=False)

    @property
    def first(self) -> Passage:
        """The passage, or the earliest of the hits."""
        return self.passages[0]

    @property
    def title(self) -> str:
        """What it is called."""
        if not self.hits:
            return f"{self.first.id}   {self.first.scope}, {self.first.texture}"
        ids = ", ".join(hit.id for hit in self.passages)
        return f"Hits {ids}   {max(self.passages, key=lambda hit: len(hit.parts)).scope}"

    @property
    def staff(self) -> float:
        """Height of a staff, in millimetres."""
        parts = len(self.picks)
        if parts <= 6:
            return _STAFF_MM
        return 4.0 if parts <= 9 else _LEAST_MM


def study_of(
    marked: Marked,
    passage: Passage,
    planned: PassagePlan,
    pitch: str,
    only: frozenset[int] = frozenset(),
) -> Study:
    """A passage with its silence closed up. pitch: "sounding", or "written" (as the players
    read). only: the parts to show beside the lead, if not all."""
    chart = marked.again.chart
    parts = _shown(passage, only)
    picks = _picks(chart, [passage], parts, pitch)
    first, last = chart.place(passage.start).index, chart.end_place(passage.end).index
    silent = _silent_bars(chart, parts, passage.seconds, first, last)
    closed = unchanging(marked.again.document, picks, silent)
    bars = tuple(n for n in range(first, last + 1) if n not in closed)[:_STUDY_BARS]
    study = Study(
        passages=(passage,),
        plans=(planned,),
        parts=tuple(parts),
        picks=picks,
        bars=bars,
        pitch=pitch,
        made=_excerpt(marked, picks, bars, [planned]),
    )
    return _on_one_staff(marked, study)


def _on_one_staff(marked: Marked, study: Study) -> Study:
    """The same with one staff for parts that are written alike: the lead's, or the first one's."""
    homes = alike(study.made)
    if len({*homes}) == len(homes):
        return study
    groups = [[n for n, home in enumerate(homes) if home == first] for first in sorted({*homes})]
    leads = {passage.lead for passage in study.passages}
    shown = {
        next((n for n in group if study.parts[n] in leads), group[0]): group for group in groups
    }
    kept = sorted(shown)
    picks = tuple(_for_all(study.picks[n], len(shown[n])) for n in kept)
    return replace(
        study,
        parts=tuple(study.parts[n] for n in kept),
        picks=picks,
        made=_excerpt(marked, picks, study.bars, study.plans),
        alike=tuple(
            tuple(study.parts[n] for n in shown[one]) for one in kept if len(shown[one]) > 1
        ),
    )


def _for_all(pick: Pick, players: int) -> Pick:
    """A staff that stands for several parts says so, as scores do: "a 4"."""
    if players == 1:
        return pick
    return replace(
        pick, label=f"{pick.label} a {players}", abbreviation=f"{pick.abbreviation} a {players}"
    )


def hit_studies(
    marked: Marked, pitch: str, only: frozenset[int] = frozenset()
) -> tuple[list[Study], int]:
    """Hits and endings that get a mark, those of the same players together; and how many hits are
    left out, since there are too many to print. only: of those in which these parts play."""
    chart = marked.again.chart
    planned = {plan.id: plan for plan in marked.plan.marked}
    hits = [
        (hit, planned[hit.id])
        for hit in marked.score.together.hits
        if hit.id in planned
        and any(note.marks - SLURS - {"breath-mark"} for note in planned[hit.id].notes)
        and (not only or only & {*hit.parts})
    ]
    gathered: list[list[tuple[Passage, PassagePlan]]] = []
    for hit, plan in sorted(hits, key=lambda one: one[0].start):
        home = next((g for g in reversed(gathered) if _belongs(hit, g)), None)
        if home is None:
            gathered.append([(hit, plan)])
        else:
            home.append((hit, plan))
    studies = [
        study for group in gathered for study in _hit_studies(marked, chart, group, pitch, only)
    ]
    kept = sorted(studies, key=lambda study: -len(study.passages))[:_GATHERINGS]
    shown = sum(len(study.passages) for study in kept)
    return [study for study in studies if study in kept], len(hits) - shown


def _belongs(hit: Passage, group: Sequence[tuple[Passage, PassagePlan]]) -> bool:
    """Whether a hit stands with others: where all their players find room on one page, or are
    mostly the same."""
    mine, theirs = {*hit.parts}, {part for other, _ in group for part in other.parts}
    both = mine | theirs
    return len(both) <= _STAVES or len(mine & theirs) / len(both) >= _ALIKE


def _hit_studies(
    marked: Marked,
    chart: Chart,
    group: Sequence[tuple[Passage, PassagePlan]],
    pitch: str,
    only: frozenset[int],
) -> Iterator[Study]:
    """Hits in one line of music for as long as no key, clef or metre begins between them."""
    pending: list[tuple[Passage, PassagePlan]] = []
    parts = sorted({part for hit, _ in group for part in hit.parts if not only or part in only})
    picks = _picks(chart, [hit for hit, _ in group], parts, pitch)
    bars: set[int] = set()
    for hit, plan in group:
        mine = {*range(chart.place(hit.start).index, chart.end_place(hit.end).index + 1)}
        between = range(max(bars, default=min(mine)) + 1, min(mine))
        same = keeps_its_signs(marked.again.document, picks, [*between, *sorted(mine)])
        if pending and (len(bars | mine) > _STUDY_BARS or not same):
            yield _hits(marked, pending, parts, picks, bars, pitch)
            pending, bars = [], set()
        pending.append((hit, plan))
        bars |= mine
    yield _hits(marked, pending, parts, picks, bars, pitch)


def _hits(
    marked: Marked,
    group: Sequence[tuple[Passage, PassagePlan]],
    parts: Sequence[int],
    picks: tuple[Pick, ...],
    bars: set[int],
    pitch: str,
) -> Study:
    shown, plans = tuple(sorted(bars))[:_STUDY_BARS], tuple(plan for _, plan in group)
    study = Study(
        passages=tuple(hit for hit, _ in group),
        plans=plans,
        parts=tuple(parts),
        picks=picks,
        bars=shown,
        pitch=pitch,
        hits=True,
        made=_excerpt(marked, picks, shown, plans),
    )
    return _on_one_staff(marked, study)


def study_excerpt(study: Study, width_mm: float) -> tuple[Excerpt, float, float, str, float]:
    """What the engraver is given for it."""
    return study.made, width_mm, study.staff, study.first.id, _LEAST_MM


def _excerpt(
    marked: Marked, picks: Sequence[Pick], bars: Sequence[int], plans: Sequence[PassagePlan]
) -> Excerpt:
    chart, first, last = marked.again.chart, bars[0], bars[-1]
    said: dict[int, str] = {}
    for planned in plans:
        said |= lead_syllables(chart, planned, marked.plan.style)
    return extract_excerpt(
        marked.again.document,
        picks,
        first,
        last,
        said=said,
        closed=frozenset(range(first, last + 1)) - frozenset(bars),
    )


def _shown(passage: Passage, only: frozenset[int]) -> list[int]:
    """The parts on a study page, in score order. only: these, those that join, and the lead."""
    if not only:
        return sorted(passage.parts)
    joined = {guest.part for guest in passage.guests}
    return sorted(only & {*passage.parts, *joined} | {passage.lead})


def _picks(
    chart: Chart, passages: Sequence[Passage], parts: Sequence[int], pitch: str
) -> tuple[Pick, ...]:
    """The parts in score order, sections in brackets; who leads all is named as such."""
    leads = {passage.lead for passage in passages}
    start, end = min(p.start for p in passages), max(p.end for p in passages)
    return tuple(
        pick_staff(
            chart,
            part,
            pitch,
            start,
            end,
            label=chart.parts[part].says + (" (lead)" if leads == {part} else ""),
            group=chart.parts[part].chair.section if chart.parts[part].chair.sure else "",
        )
        for part in parts
    )


def _silent_bars(
    chart: Chart, parts: Sequence[int], seconds: frozenset[int], first: int, last: int
) -> list[int]:
    """Bars between these, in which none of the parts plays and no section or metre begins."""
    sounding = {
        bar
        for part in parts
        for tone in chart.read_by(seconds).between(
            part, chart.bars[first].start - 1, chart.bars[last].end
        )
        for bar in range(tone.bar, chart.bar_at(max(tone.onset, tone.end - 1)).index + 1)
    }
    return [
        n
        for n in range(first + 1, last)
        if n not in sounding
        and not chart.bars[n].rehearsal
        and chart.bars[n].meter == chart.bars[n - 1].meter
    ]
