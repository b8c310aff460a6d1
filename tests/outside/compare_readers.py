"""Compare our reader with two independent ones, note by note.

Over a suite of small test scores and a fixed list of whole works (both come with music21), the notes of
every part are compared as multisets of (onset, length, sounding pitch): exact fractions of a quarter note,
tied notes kept apart, grace and unpitched notes left out. Each difference was settled once by reading the
XML; KNOWN keeps the verdicts. The run ends with 1 when a difference has no verdict, or a verdict has no
difference any more.

    python tests/outside/compare_readers.py [--only TEXT] [--json FILE] [--jobs N]
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import sys
import time
import warnings
from bisect import bisect_right
from collections import Counter
from dataclasses import asdict, dataclass, field
from fractions import Fraction
from itertools import zip_longest
from pathlib import Path
from typing import Any

import music21
import partitura
from music21 import chord, converter, harmony, note, stream
from partitura import score as other

from sectionprep.music.chart import Chart
from sectionprep.musicxml.document import open_document
from sectionprep.musicxml.reader import read_chart

HOME = Path(music21.__file__).parent
#: (pattern below the corpus, take every n-th file of it)
WORKS = (
    ("beach/*", 1), ("beethoven/opus18no1/*", 1), ("beethoven/opus59no1/*", 1), ("beethoven/opus59no3/*", 1),
    ("bach/*.mxl", 20), ("ciconia/*", 1), ("corelli/opus3no1/*", 1), ("cpebach/*", 1), ("handel/*/*", 1),
    ("demos/[!n]*", 1), ("haydn/*/*", 1), ("johnson_j_r/*", 1), ("joplin/*", 1), ("leadSheet/*", 1),
    ("liliuokalani/*", 1), ("luca/*", 1), ("lusitano/*", 1), ("monteverdi/*.mxl", 8), ("mozart/*/*", 1),
    ("schoenberg/*/*", 1), ("schubert/*", 1), ("schumann_clara/**/*", 1), ("schumann_robert/**/*", 1),
    ("trecento/*", 10), ("verdi/*", 1), ("weber/*", 1), ("webern/*", 1),
)
LIBRARIES = ("music21", "partitura")

KNOWN: dict[str, Any] = {}

#: onset, length and sounding pitch; then bar (counted from 0) and onset within that bar
Heard = tuple[Fraction, Fraction, Fraction, int, Fraction]
Parts = list[list[Heard]]


@dataclass(kw_only=True)
class Result:
    """How one library fared on one file. found: its notes; in_bar: agreement counted from each bar line."""

    found: int = 0
    agree: int = 0
    in_bar: int = 0
    same: bool = False
    error: str = ""


@dataclass(kw_only=True)
class Row:
    """One file. stretched: our bars that only silence makes longer than they should be."""

    file: str
    ours: int = 0
    error: str = ""
    stretched: list[str] = field(default_factory=list)
    results: dict[str, Result] = field(default_factory=dict)
    verdict: str = ""


def files() -> list[tuple[str, Path]]:
    """(label, path) of everything compared: suite files by their code, works by their place in the corpus."""
    suite = next(HOME.glob("musicxml/*TestSuite"))
    found = [(path.name.split("-")[0], path) for path in sorted(suite.iterdir()) if _is_score(path)]
    for pattern, step in WORKS:
        matching = sorted(path for path in HOME.joinpath("corpus").glob(pattern) if _is_score(path))
        for path in matching[::step]:
            found.append((str(path.relative_to(HOME / "corpus").with_suffix("")), path))
    return found


def _is_score(path: Path) -> bool:
    return path.suffix in (".xml", ".mxl", ".musicxml")


def our_notes(chart: Chart) -> Parts:
    """Our reading. A quarter tone keeps its half here, though `Note.sounding` rounds it."""
    ticks = chart.resolution
    parts: Parts = []
    for part in chart.parts:
        heard: list[Heard] = []
        for n in part.notes:
            if n.sounding is None or n.pitch is None or n.is_grace or n.is_rest:
                continue
            pitch = n.sounding + Fraction(n.pitch.alter) - round(n.pitch.alter)
            inside = Fraction(n.onset - chart.bars[n.bar].start, ticks)
            heard.append((Fraction(n.onset, ticks), Fraction(n.duration, ticks), pitch, n.bar, inside))
        parts.append(heard)
    return parts


def stretched_bars(chart: Chart) -> list[str]:
    """Numbers of bars that reach past the meter, or past the others' pickup, through rests alone."""
    sounding: Counter[int] = Counter()
    ends: dict[int, list[int]] = {}
    for part in chart.parts:
        reach: Counter[int] = Counter()
        silent: Counter[int] = Counter()
        for n in part.notes:
            kind = silent if n.is_rest else reach
            kind[n.bar] = max(kind[n.bar], n.end - chart.bars[n.bar].start)
        for bar in reach | silent:
            ends.setdefault(bar, []).append(max(reach[bar], silent[bar]))
            sounding[bar] = max(sounding[bar], reach[bar])
    found: list[str] = []
    for bar in chart.bars:
        full = bar.meter.quarters * chart.resolution
        fits = [end for end in ends.get(bar.index, []) if end <= full]
        past = bar.length > full and fits and sounding[bar.index] < bar.length
        counts = Counter(ends.get(bar.index, [])).most_common(1)
        pickup = bar.index == 0 and counts and sounding[0] == counts[0][0] < bar.length
        if past or pickup:
            found.append(bar.number)
    return found


def music21_notes(path: Path) -> Parts:
    """The same through music21; the staves of one part are joined."""
    score: Any = converter.parse(path, format="musicxml", forceSource=True)
    score.toSoundingPitch(inPlace=True)
    parts: Parts = []
    last = ""
    for part in score.parts:
        key = str(part.id).rsplit("-Staff", 1)[0] if isinstance(part, stream.PartStaff) else ""
        if not key or key != last:
            parts.append([])
        last = key
        for index, measure in enumerate(part.getElementsByClass(stream.Measure)):
            start = Fraction(measure.getOffsetInHierarchy(part))
            for element in measure.recurse().notes:
                if isinstance(element, harmony.ChordSymbol) or element.duration.isGrace:
                    continue
                inside = Fraction(element.getOffsetInHierarchy(measure))
                for one in element.notes if isinstance(element, chord.Chord) else (element,):
                    if isinstance(one, note.Note):
                        parts[-1].append((start + inside, Fraction(element.quarterLength),
                                          Fraction(one.pitch.ps), index, inside))
    return parts


def partitura_notes(path: Path) -> Parts:
    """The same through partitura: its written pitch plus the transposition it keeps; time from the first bar
    (it counts a pickup below zero, which is a convention and no difference)."""
    parts: Parts = []
    for part in partitura.load_musicxml(str(path), quiet=True).parts:
        moves = sorted((t.start.t, t.chromatic or 0) for t in part.iter_all(other.Transposition))
        starts = sorted(m.start.t for m in part.iter_all(other.Measure))
        heard: list[Heard] = []
        notes = list(part.iter_all(other.Note, include_subclasses=False))
        ticks = sorted({0, *starts, *(n.start.t for n in notes), *(n.end.t for n in notes)})
        floats = part.quarter_map(ticks)
        at = {tick: Fraction(float(value - floats[0])).limit_denominator(100_000)
              for tick, value in zip(ticks, floats, strict=True)}
        for n in notes:
            move = next((by for tick, by in reversed(moves) if tick <= n.start.t), 0)
            bar = bisect_right(starts, n.start.t) - 1
            onset = at[n.start.t]
            heard.append((onset, at[n.end.t] - onset, Fraction(n.midi_pitch + move), bar,
                          onset - at[starts[bar]]))
        parts.append(heard)
    return parts


def compare(task: tuple[str, Path]) -> Row:
    """Read one file three times and count."""
    label, path = task
    warnings.simplefilter("ignore")
    row = Row(file=label)
    try:
        chart = read_chart(open_document(path))
        ours = our_notes(chart)
        row.stretched = stretched_bars(chart)
    except Exception as error:
        row.error, ours = repr(error)[:200], []
    row.ours = sum(map(len, ours))
    for library, read in zip(LIBRARIES, (music21_notes, partitura_notes), strict=True):
        result = row.results[library] = Result()
        try:
            theirs = read(path)
        except Exception as error:
            result.error = repr(error)[:200]
            continue
        result.found = sum(map(len, theirs))
        result.same = len(ours) == len(theirs)
        for mine, yours in zip_longest(ours, theirs, fillvalue=[]):
            a, b = (Counter(n[:3] for n in notes) for notes in (mine, yours))
            result.agree += (a & b).total()
            result.same = result.same and a == b
            a_bar, b_bar = (Counter(n[1:] for n in notes) for notes in (mine, yours))
            result.in_bar += (a_bar & b_bar).total()
    return row
