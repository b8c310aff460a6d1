"""The finder: chart in, passages and bar groups out.

lines -> grid -> chance, odds -> groups of bars -> runs of groups -> stretches -> textures ->
passages
"""

from __future__ import annotations

import itertools
import math
from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from operator import attrgetter

import numpy as np

from sectionprep.music.chart import Chart
from sectionprep.music.instruments import HORNS
from sectionprep.music.roster import EMPTY, Roster
from sectionprep.passages.bars import bar_groups, line_texture
from sectionprep.passages.chance import measure_chance
from sectionprep.passages.everybody import find_tutti
from sectionprep.passages.followed import LEAST_NOTES
from sectionprep.passages.grid import Grid, build_grid, plays_in
from sectionprep.passages.groups import Stretch, close_ends, cut, inner_groups, join_figures
from sectionprep.passages.guests import with_guests
from sectionprep.passages.lead import choose_lead, scope_of
from sectionprep.passages.model import HIT_PARTS, Deviation, Passage, Together
from sectionprep.passages.odds import gather_evidence
from sectionprep.passages.players import players_of, told_by_staff
from sectionprep.passages.runs import candidates, find_runs
from sectionprep.passages.texture import HELD, summary, texture_runs, voicing_of

_LEAST_CONFIDENCE = 0.25  # what is likelier chance than not is no news to a director; judgement
_NOT_INDEPENDENT = 2.2  # notes of one figure are no independent witnesses; from planted charts
_REACH_BARS = 4  # short figures of one group within four bars belong together; judgement


def find_passages(chart: Chart, roster: Roster = EMPTY) -> Together:
    """Find who moves with whom. roster: whose line a group follows, where the director has
    decided. Two players on one staff are two to the finder."""
    players = players_of(chart)
    return told_by_staff(_find(players, roster), players, len(chart.parts))


def _find(chart: Chart, roster: Roster) -> Together:
    grid = build_grid(chart)
    if not len(grid.ticks):
        return Together(passages=(), bars=tuple(() for _ in chart.bars))
    bar_length = _usual_bar(chart)
    tutti = find_tutti(chart, grid)
    grid = replace(grid, passing=tutti.passing)
    evidence = gather_evidence(grid, measure_chance(chart, grid), tutti)
    bars = bar_groups(chart, grid, evidence, plays_in(chart))
    runs = find_runs(grid, evidence, candidates(chart, bars), _seams(chart, grid))
    pieces = [
        piece
        for run in runs
        for piece in cut(grid, run.parts, run.first, run.last, bar_length, run.odds)
    ]
    sure = _sure_odds(grid)
    joined = join_figures(grid, pieces, LEAST_NOTES, _REACH_BARS * bar_length)
    found = [p for p in joined if len(p.attacks) >= LEAST_NOTES and p.odds >= sure]
    passages = _passages(chart, grid, close_ends(grid, found, pieces, bar_length), roster)
    hits = _hits(chart, grid, pieces, passages, roster)
    return Together(passages=with_guests(chart, grid, passages), bars=bars, hits=hits)


def _sure_odds(grid: Grid) -> float:
    """Odds (nats) from which a group's stretch is a passage: every pair is tried at every column,
    so the more there are, the more must be seen. 25 for 17 parts and 100 bars."""
    parts, columns = grid.struck.shape
    return _NOT_INDEPENDENT * math.log(max(2, parts * (parts - 1) // 2 * columns))


def _seams(chart: Chart, grid: Grid) -> frozenset[int]:
    """Columns at which a section of the chart begins: a letter, a double bar, a repeat."""
    ticks = [bar.start for bar in chart.bars if bar.rehearsal or bar.repeat_start]
    ticks += [bar.end for bar in chart.bars if bar.double_bar or bar.repeat_end]
    return frozenset(c for c in np.searchsorted(grid.ticks, ticks).tolist() if c < len(grid.ticks))


def _usual_bar(chart: Chart) -> int:
    return Counter(bar.length for bar in chart.bars).most_common(1)[0][0]


# -- passages
# -----------------------------------------------------------------------------------------


def _passages(
    chart: Chart, grid: Grid, found: list[Stretch], roster: Roster
) -> tuple[Passage, ...]:
    drafts: list[tuple[str, tuple[int, ...], tuple[int, ...], float]] = []
    for stretch in found:
        parts = tuple(sorted(stretch.parts))
        for texture, first, last in texture_runs(grid, parts, stretch.attacks, chart.resolution):
            attacks = stretch.attacks[first : last + 1]
            if (
                texture != "rhythm"
                and len(attacks) >= LEAST_NOTES
                and not (
                    _is_padding(chart, grid, parts, attacks, texture)
                    or _is_accompanied(chart, parts, texture)
                )
            ):
                drafts.append(
                    (texture, parts, attacks, stretch.odds * len(attacks) / len(stretch.attacks))
                )
    drafts.sort(key=lambda d: (d[2][0], d[2][-1], d[1]))
    made: list[Passage] = []
    figures: dict[tuple[object, ...], str] = {}
    for texture, parts, attacks, odds in drafts:
        passage = _passage(chart, grid, f"P{len(made) + 1}", texture, parts, attacks, roster, odds)
        if passage.confidence < _LEAST_CONFIDENCE:
            continue
        key = _figure(grid, passage.lead, attacks)
        earlier = figures.setdefault(key, passage.id)
        if earlier != passage.id:
            passage = replace(passage, returns=earlier)
        made.append(passage)
    return tuple(made)


def _hits(
    chart: Chart, grid: Grid, found: list[Stretch], passages: Sequence[Passage], roster: Roster
) -> tuple[Passage, ...]:
    """What is left of stretches of three parts or more outside the passages of their members."""
    made: list[Passage] = []
    for stretch in found:
        parts = tuple(sorted(stretch.parts))
        near = [p for p in passages if stretch.parts & set(p.parts)]
        if len(parts) < HIT_PARTS:
            continue
        for attacks in _outside(grid, stretch.attacks, near):
            for texture, first, last in texture_runs(grid, parts, attacks, chart.resolution):
                made.append(
                    _passage(
                        chart,
                        grid,
                        f"H{len(made) + 1}",
                        texture,
                        parts,
                        attacks[first : last + 1],
                        roster,
                        stretch.odds,
                    )
                )
    return tuple(made)


def _outside(
    grid: Grid, attacks: Sequence[int], passages: Sequence[Passage]
) -> list[tuple[int, ...]]:
    """Runs of attacks (columns) outside the passages; a passage between two of them parts them."""
    starts, ends = sorted(p.start for p in passages), sorted(p.end for p in passages)
    runs: dict[int, list[int]] = {}
    for column in attacks:
        tick = int(grid.ticks[column])
        begun, ended = bisect_right(starts, tick), bisect_right(ends, tick)
        if begun == ended:  # none goes on
            runs.setdefault(ended, []).append(column)
    return [tuple(run) for run in runs.values()]


def _is_accompanied(chart: Chart, parts: Sequence[int], texture: str) -> bool:
    """One horn over one part of the rhythm section in the same rhythm: a tune and its bass, no
    soli."""
    horns = [chart.parts[part].chair.section in HORNS for part in parts]
    return (
        texture == "soli"
        and len(parts) == 2
        and sum(horns) == 1
        and all(chart.parts[part].chair.sure for part in parts)
    )


def _is_padding(
    chart: Chart, grid: Grid, parts: Sequence[int], attacks: Sequence[int], texture: str
) -> bool:
    lengths = grid.length[list(parts)][:, list(attacks)]
    struck = grid.struck[list(parts)][:, list(attacks)]
    mean = lengths[struck].mean() / chart.resolution
    return bool(mean >= (HELD if texture == "soli" else 2 * HELD))


def _passage(
    chart: Chart,
    grid: Grid,
    name: str,
    texture: str,
    parts: tuple[int, ...],
    attacks: tuple[int, ...],
    roster: Roster,
    odds: float,
) -> Passage:
    rows, columns = list(parts), list(attacks)
    struck = grid.struck[rows][:, columns]
    pitch = grid.pitch[rows][:, columns]
    heights = {
        p: float(pitch[n][struck[n]].mean()) if struck[n].any() else 0.0
        for n, p in enumerate(parts)
    }
    scope = scope_of(chart, parts, _without_second(grid, parts, columns[0], columns[-1]))
    bar = chart.bars[int(grid.bar[columns[0]])].number
    wish = next((w.part for w in roster.leads if w.of in (name, scope, f"bar {bar}")), "")
    lead, why = choose_lead(chart, parts, heights, wish)
    deviations = tuple(
        d for d in _deviations(grid, texture, parts, attacks) if not _is_shared_staff(chart, d)
    )
    off = {d.tick for d in deviations if d.kind in ("pitch", "missing", "extra")}
    chords = tuple(
        (int(grid.ticks[c]), voicing_of(pitch[struck[:, n], n].tolist()))
        for n, c in enumerate(columns)
        if texture == "soli" and struck[:, n].sum() > 1
    )
    doubles = tuple(
        (line_texture(grid, group, attacks), tuple(sorted(group)))
        for group in inner_groups(grid, parts, attacks)
        if texture == "soli" and len(group) < len(parts)
    )
    return Passage(
        id=name,
        texture=texture,
        start=int(grid.ticks[columns[0]]),
        end=_release(grid, parts, columns[-1]),
        parts=parts,
        lead=lead,
        lead_why=why,
        attacks=tuple(int(t) for t in grid.ticks[columns]),
        confidence=confidence_of(odds, 1 - len(off) / (len(columns) + 1)),
        scope=scope,
        odds=odds,
        deviations=deviations,
        doubles=doubles,
        octaves=_octaves(grid, lead, parts, columns, texture),
        voicing=summary([v for _, v in chords]),
        voicings=chords,
    )


def _without_second(grid: Grid, parts: Sequence[int], first: int, last: int) -> frozenset[int]:
    """Parts whose second player, followed as another row, plays something else meanwhile."""
    plays = np.flatnonzero(grid.struck[:, first : last + 1].any(axis=1)).tolist()
    others = {grid.staff[row] for row in plays if grid.staff[row] != row and row not in parts}
    return frozenset(others & set(parts))


#: Logistic fit to 800 passages of planted charts (right or not): evidence in nats, and the share of
#: attacks on which all members agree. `tests/measure_passages.py` prints how often it is right.
_PER_LOG_ODDS, _PER_AGREEMENT, _NOUGHT = 1.5, 12.0, -16.0


def confidence_of(odds: float, agreement: float) -> float:
    """0..1: the chance that a passage is one, with these members from this note to that."""
    score = _PER_LOG_ODDS * math.log(max(odds, 1.0)) + _PER_AGREEMENT * agreement + _NOUGHT
    return round(1 / (1 + math.exp(-score)), 3)


def _release(grid: Grid, parts: Sequence[int], column: int) -> int:
    ends = Counter(
        int(grid.ticks[column] + grid.length[p, column]) for p in parts if grid.struck[p, column]
    )
    most = max(ends.values())
    return max(end for end, n in ends.items() if n == most)


def _octaves(
    grid: Grid, lead: int, parts: Sequence[int], columns: Sequence[int], texture: str
) -> tuple[tuple[int, int], ...]:
    """For unison and octaves: (part, octaves above or below the lead)."""
    if texture == "soli":
        return ()
    found: list[tuple[int, int]] = []
    for part in parts:
        both = [c for c in columns if grid.struck[part, c] and grid.struck[lead, c]]
        gaps = Counter(
            round((int(grid.pitch[part, c]) - int(grid.pitch[lead, c])) / 12) for c in both
        )
        found.append((part, gaps.most_common(1)[0][0] if gaps else 0))
    return tuple(found)


def _deviations(
    grid: Grid, texture: str, parts: tuple[int, ...], attacks: tuple[int, ...]
) -> list[Deviation]:
    found: list[Deviation] = []
    inside = set(attacks)
    first, last = attacks[0], attacks[-1] + 1
    rows = list(parts)
    columns = zip(
        range(first, last),
        grid.ticks[first:last].tolist(),
        *(table[rows, first:last].T.tolist() for table in (grid.struck, grid.pitch, grid.length)),
        strict=True,
    )
    for column, tick, struck, pitches, lengths in columns:
        if column not in inside:
            found.extend(
                Deviation(kind="extra", part=p, tick=tick)
                for p, on in zip(parts, struck, strict=True)
                if on and not grid.passing[p, column]
            )
            continue
        found.extend(
            Deviation(kind="missing", part=p, tick=tick)
            for p, on in zip(parts, struck, strict=True)
            if not on
        )
        playing = [
            (p, pitch, length)
            for p, on, pitch, length in zip(parts, struck, pitches, lengths, strict=True)
            if on
        ]
        found.extend(_odd_notes(texture, playing, tick))
    return found


def _is_shared_staff(chart: Chart, deviation: Deviation) -> bool:
    """Several notes at once on one staff: two players in harmony, and the other note is no wrong
    one."""
    if deviation.kind != "pitch":
        return False
    notes = chart.parts[deviation.part].notes
    start = bisect_left(notes, chart.bar_at(deviation.tick).index, key=attrgetter("bar"))
    pitches: set[int] = set()
    for note in itertools.islice(notes, start, None):
        if note.bar > notes[start].bar:
            break
        if note.sounding is not None and note.onset <= deviation.tick < note.end:
            pitches.add(note.sounding)
    return len(pitches) > 1


def _odd_notes(texture: str, playing: list[tuple[int, int, int]], tick: int) -> list[Deviation]:
    """playing: part, pitch and length in ticks of every note struck at a tick."""
    found: list[Deviation] = []
    if texture != "soli" and len(playing) > 1:
        classes = Counter(pitch % 12 for _, pitch, _ in playing)
        (common, most), *others = classes.most_common()
        odd = len(playing) - most
        if odd > max(1, len(playing) // 5):
            pass  # too many to be slips: harmony for a moment
        elif others and most > others[0][1]:
            found += [
                Deviation(kind="pitch", part=p, tick=tick, expected=common, found=pitch)
                for p, pitch, _ in playing
                if pitch % 12 != common
            ]
        elif others:  # two against each other: nobody can say which is wrong
            found += [
                Deviation(kind="pitch", part=p, tick=tick, expected=-1, found=pitch)
                for p, pitch, _ in playing
            ]
    lengths = Counter(length for _, _, length in playing)
    if len(lengths) > 1:
        common = lengths.most_common(1)[0][0]
        found += [
            Deviation(kind="release", part=p, tick=tick, expected=common, found=length)
            for p, _, length in playing
            if length != common
        ]
    return found


def _figure(grid: Grid, lead: int, attacks: Sequence[int]) -> tuple[object, ...]:
    """Rhythm and intervals of the lead: equal for literal, transposed and re-scored returns."""
    columns = [c for c in attacks if grid.struck[lead, c]]
    first = columns[0]
    return tuple(
        (
            int(grid.ticks[c] - grid.ticks[first]),
            int(grid.length[lead, c]),
            int(grid.pitch[lead, c] - grid.pitch[lead, first]),
        )
        for c in columns
    )
