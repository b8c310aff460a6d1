"""Same figure, same marks: bars that return, and moments that two groups hit together.

A printed mark is carried to the bare copies of its figure, unless it is what the rules would write
there by themselves: then they and the neighbours decide at each copy anew. So marks that we have
written ourselves carry no further when the marked chart is planned again.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Sequence

from sectionprep.music.chart import Chart
from sectionprep.music.marks import ATTACKS, BREATHS, SLURS
from sectionprep.phrasing.drafts import Draft, Work, lean_marks, length_of, marks_of

_LEAST_IN_FIGURE = 3  # notes in a bar that make it a figure worth phrasing alike; judgement
# notes of a riff, and how often its rhythm must come for it to be one; judgements
_LONGEST_RIFF, _LEAST_RIFFS = 8, 3
# price of each copy that comes out unlike the others, on the chooser's scale; judgement
_UNLIKE = 0.5

# one note of a figure at each place where the figure stands: (which work, the note)
Column = list[tuple[int, Draft]]


def agree_on_figures(desk: Sequence[Work], *, share_marks: bool) -> list[Column]:
    """Bars with the same rhythm and intervals (literal, transposed, re-scored) share their printed
    marks and pool their evidence, so that they come out alike unless their neighbours differ. The
    notes that answer to each other."""
    copies: dict[tuple[object, ...], list[Column]] = defaultdict(list)
    for position, work in enumerate(desk):
        bars: dict[int, Column] = defaultdict(list)
        for draft in work.drafts:
            bars[draft.spot.tone.bar].append((position, draft))
        for bar in bars.values():
            if len(bar) >= _LEAST_IN_FIGURE:
                copies[_figure(bar)].append(bar)
    found = _riffs(desk)
    for riff in found:
        _pool(riff)
    for same in copies.values():
        if len(same) < 2:
            continue
        density = desk[0].view.style.density
        for column in zip(*same, strict=True):
            drafts = [draft for _, draft in column]
            _pool(column)
            marked = Counter(draft.printed for draft in drafts if _tells_more(draft, density))
            for draft in drafts:
                if share_marks and marked and not draft.printed:
                    draft.printed, draft.borrowed = marked.most_common(1)[0][0], True
            found.append(list(column))
    return found


def _pool(column: Sequence[tuple[int, Draft]]) -> None:
    """Give the notes of a column the mean of their evidence: what speaks for a lean at one place
    speaks for it at all."""
    evidence = sum(draft.pooled for _, draft in column) / len(column)
    for _, draft in column:
        draft.pooled = evidence


def _riffs(desk: Sequence[Work]) -> list[Column]:
    """The notes that answer to each other in short phrases of one rhythm, at one place in the bar,
    whatever their pitches."""
    copies: dict[tuple[object, ...], list[Column]] = defaultdict(list)
    for position, work in enumerate(desk):
        for first, last in work.view.phrases:
            notes = work.drafts[first : last + 1]
            lengths = {draft.spot.tone.duration for draft in notes}
            if _LEAST_IN_FIGURE <= len(notes) <= _LONGEST_RIFF and len(lengths) > 1:
                rhythm = tuple((d.spot.offset, d.spot.tone.duration) for d in notes)
                copies[rhythm].append([(position, draft) for draft in notes])
    return [
        list(column)
        for same in copies.values()
        if len(same) >= _LEAST_RIFFS
        for column in zip(*same, strict=True)
    ]


def agree_on_leans(
    columns: Sequence[Column],
    chosen: Sequence[set[int]],
    score: Callable[[int, set[int], int], float],
    locked: Callable[[Draft], bool],
) -> None:
    """Where some copies of a note are brought out and others are not: all, or none, if that costs
    the lines less than being unlike. chosen: the leans of each work, changed in place; score: of
    the phrase of one note of a work, given its leans."""
    for column in columns:
        on = [(work, d.spot.index) for work, d in column if d.spot.index in chosen[work]]
        off = [(work, d.spot.index) for work, d in column if d.spot.index not in chosen[work]]
        if not on or not off:
            continue
        best, change = -_UNLIKE * min(len(on), len(off)), []
        for some, add in ((off, True), (on, False)):
            if not add and any(locked(d) for _, d in column):
                continue
            cost = 0.0
            for work, n in some:
                changed = chosen[work] | {n} if add else chosen[work] - {n}
                cost += score(work, changed, n) - score(work, chosen[work], n)
            if cost > best:
                best, change = cost, some
        for work, n in change:
            chosen[work] ^= {n}


def agree_on_lengths(columns: Sequence[Column]) -> None:
    """One length for a note at all places where its figure stands: that of most of them, the long
    one if equal."""
    for column in columns:
        lengths = Counter(
            said.length
            for _, draft in column
            if (said := length_of(draft)) is not None and said.length != "joined"
        )
        if len(lengths) > 1:
            alike = max(lengths, key=lambda length: (lengths[length], length == "long"))
            model = next(
                said
                for _, draft in column
                if (said := length_of(draft)) is not None and said.length == alike
            )
            for _, draft in column:
                draft.agreed_length = alike
                draft.said.append(
                    model._replace(spot=draft.spot.index, lean=0.0, weight=0.0, marks=())
                )


def name_copies(chart: Chart, columns: Sequence[Column], chosen: Sequence[set[int]]) -> None:
    """Tell each note how its figure is brought out, and the first other bar where it is."""
    for column in columns:
        ways = Counter(
            lean_marks(draft)
            for work, draft in column
            if draft.spot.index in chosen[work] and not draft.soft
        )
        for work, draft in column:
            if ways and draft.spot.index in chosen[work] and not draft.soft:
                draft.agreed = max(ways, key=lambda marks: (ways[marks], "accent" in marks, marks))
        bars = list(
            dict.fromkeys(d.spot.tone.bar for work, d in column if d.spot.index in chosen[work])
        )
        for _, draft in column:
            other = next((bar for bar in bars[:2] if bar != draft.spot.tone.bar), None)
            draft.elsewhere = "" if other is None else chart.bars[other].number


def struck_together(desk: Sequence[Work]) -> list[Column]:
    """Notes that two groups strike at one moment for the same length, set off by rests."""
    moments: dict[tuple[int, int], Column] = defaultdict(list)
    for position, work in enumerate(desk):
        for draft in work.drafts:
            if draft.spot.before >= 0.5 or draft.spot.after >= 0.5:
                moments[draft.spot.tone.onset, draft.spot.tone.duration].append((position, draft))
    return [column for column in moments.values() if len(column) > 1]


def agree_on_hits(desk: Sequence[Work]) -> None:
    """Where two groups hit the same moment for the same length, set off by rests, what is printed
    in one holds for the other: printed beats planned."""
    for together in struck_together(desk):
        printed = Counter(
            d.printed - SLURS
            for _, d in together
            if d.printed & ATTACKS and not d.borrowed and _tells_more(d, desk[0].view.style.density)
        )
        for _, draft in together:
            if printed and not draft.printed:
                draft.printed, draft.borrowed = printed.most_common(1)[0][0], True


def _tells_more(draft: Draft, density: float) -> bool:
    """True where the printed marks are not just what the rules would write at this note, its
    neighbours apart."""
    if not draft.printed:
        return False
    by_rule = [marks_of(draft, density, leaned=False, printed=frozenset())[0]]
    if draft.pooled > density:
        by_rule.append(marks_of(draft, density, leaned=True, printed=frozenset())[0])
    return draft.printed - SLURS - BREATHS not in by_rule


def _figure(bar: Sequence[tuple[int, Draft]]) -> tuple[object, ...]:
    first = bar[0][1].spot
    return tuple((d.spot.offset, d.spot.tone.duration, d.spot.pitch - first.pitch) for _, d in bar)
