"""Where the leans of random swing lines fall, and which reason they have.

    python tests/measure_variety.py [--lines 100] [--seed 0] [--style medium-swing] [--tempo 160]
    [--running]

Eight bars of eighths each, with triplets, quarters on and off the beat and rests (--running:
eighths with a rest here and there). The first table says of each place that a rule of phrasing
knows (facts, Lines of eighths and Unmarked music) how many there were and how many were leaned on,
the second what a listener would call square, the third on which beats the leans fell. Lines are
drawn by a seed, so that the figures can be drawn again.
"""

from __future__ import annotations

import argparse
import itertools
import random
import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from build import chart

from sectionprep.music.chart import Chart
from sectionprep.phrasing import PlannedNote, plan_line
from sectionprep.phrasing.styles import styles
from sectionprep.phrasing.view import LineView, Spot, view_line

_STEPS = [1, 2, 1, 2, 1, 2, 3, 4, 3, 5, 7, 8]  # semitones; mostly steps and thirds
_TURN = 0.32  # chance that the line changes its direction at a note
_NAMES = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"]
#: one bar each: lengths, "r" for a rest; weighted to running eighths
_BARS = [
    "8 8 8 8 8 8 8 8",
    "8 8 8 8 8 8 8 8",
    "8 8 8 8 8 8 8 8",
    "r8 8 8 8 8 8 8 8",
    "8 8 8 8 8 8 r4",
    "8 8 4 8 8 8 8",
    "8 4 8 8 8 8 8",
    "8t 8t 8t 8 8 8 8 8 8",
    "8 8 8t 8t 8t 8 8 4",
    "8 8 8 8 4 r4",
    "r8 8 8 8 4 r4",
    "8 4 8 r2",
    "8 8 r4 r8 8 8 8",
    "4 4 8 8 8 8",
    "8 8 8 8 r2",
]
_RUNNING = 5  # of these are eighths and rests only


def random_line(seed: int, kinds: Sequence[str], bars: int = 8) -> str:
    """A line in the shorthand of build.py that ends on a quarter and a rest, its bars drawn from
    these kinds."""
    draw = random.Random(seed)
    pitch, way = draw.randint(64, 74), draw.choice([-1, 1])
    tokens = []
    for _ in range(bars):
        for length in draw.choice(kinds).split():
            if length.startswith("r"):
                tokens.append(f"r/{length[1:]}")
                continue
            if draw.random() < _TURN or not 58 < pitch < 82:
                way = -1 if pitch >= 82 else 1 if pitch <= 58 else -way
            pitch += way * draw.choice(_STEPS)
            tokens.append(f"{_NAMES[pitch % 12]}{pitch // 12 - 1}/{length}")
    return " ".join([*tokens, f"{_NAMES[pitch % 12]}{pitch // 12 - 1}/4", "r/2."])


def _lands(view: LineView, spot: Spot) -> bool:
    before = view.prev(spot)
    return before is not None and before.triplet == 3


def _before_top(view: LineView, spot: Spot) -> bool:
    after = view.next(spot)
    climbs = (
        spot.rise > 0 and after is not None and after.on_beat and after.is_top and after.is_eighth
    )
    return climbs and spot.off_beat and spot.is_eighth


def _restarts(view: LineView, spot: Spot) -> bool:
    return spot.off_beat and spot.is_eighth and spot.before >= 0.5 and not spot.last


def _sets_up(view: LineView, spot: Spot) -> bool:
    after = view.next(spot)
    long_enough = len(view.phrase_of(spot)) > 6
    return (
        after is not None
        and after.last
        and after.on_beat
        and spot.off_beat
        and spot.is_eighth
        and long_enough
    )


#: place, the rule that knows it, and the notes it is
PLACES = (
    ("local top on the beat", "top-of-rise", lambda v, s: s.is_top and s.on_beat and not s.triplet),
    ("local top off the beat", "top-of-rise", lambda v, s: s.is_top and s.off_beat),
    ("off-beat in a climb to an on-beat top", "turning-note", _before_top),
    (
        "upper note of a fourth, line climbs on",
        "leap-up",
        lambda v, s: not s.first and s.rise >= 5 and s.ahead > 0,
    ),
    ("landing of a triplet", "triplet", _lands),
    ("first off-beat after a rest", "restart", _restarts),
    ("off-beat before a closing beat", "ending", _sets_up),
    ("push over the beat", "off-beat-quarter", lambda v, s: s.pushed),
    ("last off-beat eighth before a rest", "last-eighth", lambda v, s: v.closes(s)),
    ("quarter on the beat", "beat-quarter", lambda v, s: s.is_quarter and s.on_beat),
    ("bottom of the line", "low-note", lambda v, s: s.is_bottom),
)


@dataclass(slots=True)
class Table:
    """Counts over all lines. open: leans that stand in the competition (all but the last off-beat
    eighths)."""

    there: Counter[str] = field(default_factory=Counter)
    leaned: Counter[str] = field(default_factory=Counter)
    beats: Counter[str] = field(default_factory=Counter)
    square: Counter[str] = field(default_factory=Counter)
    notes: int = 0
    leans: int = 0
    open: int = 0
    tops: int = 0
    announced: int = 0
    light: int = 0
    ghosts: int = 0
    bare: float = 0.0


def count(view: LineView, notes: Sequence[PlannedNote], table: Table) -> None:
    """Add one line."""
    spots = view.spots
    leans = [spot for spot, note in zip(spots, notes, strict=True) if note.leaned]
    free = [spot for spot in leans if not view.closes(spot)]
    table.notes, table.leans, table.open = (
        table.notes + len(spots),
        table.leans + len(leans),
        table.open + len(free),
    )
    table.tops += sum(spot.is_top for spot in free)
    for name, _, there in PLACES:
        here = [spot for spot in spots if there(view, spot)]
        table.there[name] += len(here)
        table.leaned[name] += sum(notes[spot.index].leaned for spot in here)
    for spot in free:
        table.beats[
            "off the beat" if not spot.on_beat else f"on {'1 and 3' if spot.strong else '2 and 4'}"
        ] += 1
    _patterns(view, free, table)
    table.ghosts += sum("ghost" in note.marks for note in notes)
    weights = sorted(note.weight for note in notes)
    median = weights[len(weights) // 2]
    table.light += sum(notes[spot.index].weight < median for spot in free)
    table.bare = max(table.bare, *_bare(view, leans))


def _patterns(view: LineView, leans: Sequence[Spot], table: Table) -> None:
    for a, b in itertools.pairwise(leans):
        if a.phrase != b.phrase or b.before > 0:
            continue
        gap = Fraction(b.tone.onset - a.tone.onset, view.quarter)
        table.square["neighbours"] += 1
        table.square["1 and 3 in a row"] += (
            a.on_beat and b.on_beat and a.strong and b.strong and gap == 2
        )
        turns = any(spot.turns for spot in view.spots[a.index + 1 : b.index])
        table.square["turns in a row"] += a.turns and b.turns and not turns
    for a, b, c in zip(leans, leans[1:], leans[2:], strict=False):
        if a.phrase == c.phrase:
            table.square["threes"] += 1
            table.square["equal distances"] += (
                b.tone.onset - a.tone.onset == c.tone.onset - b.tone.onset
            )


def _bare(view: LineView, leans: Sequence[Spot]) -> Iterator[float]:
    """Beats of running eighths between one lean and the next."""
    since = 0
    held = {spot.index for spot in leans}
    for spot in view.spots:
        if not spot.is_eighth or spot.before > 0 or spot.index in held:
            since = spot.tone.onset
        yield (spot.tone.onset - since) / view.quarter


def _line_chart(line: str, tempo: float) -> Chart:
    return replace(chart({"Alto Sax 1": line}), tempos=((0, tempo),))


def displaced(line: str) -> str:
    """The same line a beat later."""
    beats = {"r/2.": "r/4 r/4", "r/2": "r/4 r/4"}
    return " ".join(["r/4", *(beats.get(token, token) for token in line.split())])


def measure(
    lines: Iterable[int], style: str, tempo: float, *, running: bool
) -> tuple[Table, int, int]:
    """The table over the lines of these seeds, and of its leans in the competition how many stay a
    beat later, of how many."""
    table, kept, asked = Table(), 0, 0
    for seed in lines:
        text = random_line(seed, _BARS[:_RUNNING] if running else _BARS)
        here = _line_chart(text, tempo)
        view = view_line(here, here.lines[0], styles()[style], 0)
        notes = plan_line(here, 0, style=style).passages[0].notes
        count(view, notes, table)
        later = plan_line(_line_chart(displaced(text), tempo), 0, style=style).passages[0].notes
        free = [s.index for s in view.spots if notes[s.index].leaned and not view.closes(s)]
        asked += len(free)
        kept += sum(later[n].leaned for n in free)
    return table, kept, asked


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--lines", type=int, default=100)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--style", default="medium-swing")
    parser.add_argument("--tempo", type=float, default=160.0)
    parser.add_argument("--running", action="store_true")
    said = parser.parse_args()
    seeds = range(said.seed, said.seed + said.lines)
    table, kept, asked = measure(seeds, said.style, said.tempo, running=said.running)
    print(
        f"{said.lines} lines, {table.notes} notes: {100 * table.leans / table.notes:.1f} "
        f"leans in 100 notes, "
        f"{100 * table.open / table.notes:.1f} without the last off-beat eighths; "
        f"{100 * table.tops / max(1, table.open):.0f} % of these are local tops "
        f"({100 * table.tops / max(1, table.leans):.0f} % of all); kept when displaced by a beat "
        f"{100 * kept / max(1, asked):.0f} %"
    )
    for name, rule, _ in PLACES:
        there = table.there[name]
        print(
            f"  {name:40} {rule:17} {table.leaned[name]:4} of {there:4}  "
            f"{100 * table.leaned[name] / max(1, there):3.0f} %"
        )
    print(
        f"  neighbours {table.square['neighbours']}: 1 and 3 in a row "
        f"{table.square['1 and 3 in a row']}, "
        f"turns in a row {table.square['turns in a row']}; threes {table.square['threes']}: "
        f"equal distances {table.square['equal distances']}"
    )
    print(
        "  "
        + ", ".join(
            f"{name} {100 * n / table.open:.0f} %" for name, n in sorted(table.beats.items())
        )
    )
    print(f"  ghosts: {100 * table.ghosts / table.notes:.1f} in 100 notes")
    print(
        f"  leaned on and lighter than the line's median: {table.light} of {table.open}; "
        f"longest stretch of running eighths without a lean: {table.bare:g} beats"
    )


if __name__ == "__main__":
    main()
