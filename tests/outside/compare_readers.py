"""Compare our reader with two independent ones, note by note.

Over a suite of small test scores and a list of whole works (both come with music21), the notes of
every part are compared as multisets of (onset, length, sounding pitch): exact fractions of a
quarter note, tied notes kept apart, grace and unpitched notes left out. Each difference was settled
by reading the XML; KNOWN and OURS keep the verdicts. The run ends with 1 when a difference lacks a
verdict or a verdict a difference.
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

from music21 import chord, converter, harmony, note, stream
from partitura import load_musicxml
from partitura import score as other

from sectionprep.music.chart import Chart
from sectionprep.music.notes import Note
from sectionprep.musicxml.document import open_document
from sectionprep.musicxml.reading.reader import read_chart

HOME = Path(converter.__file__).parents[1]
LIBRARIES = ("music21", "partitura")
#: Works below the corpus; of the patterns in EVERY only each n-th file.
WORKS = (
    "beach/*",
    "beethoven/opus18no1/*",
    "beethoven/opus59no[13]/*",
    "bach/*.mxl",
    "ciconia/*",
    "corelli/*/*",
    "cpebach/*",
    "handel/*/*",
    "demos/[!n]*",
    "haydn/*/*",
    "johnson_j_r/*",
    "joplin/*",
    "leadSheet/*",
    "liliuokalani/*",
    "luca/*",
    "lusitano/*",
    "monteverdi/*.mxl",
    "mozart/*/*",
    "schoenberg/*/*",
    "schubert/*",
    "schumann_*/**/*",
    "trecento/*",
    "verdi/*",
    "weber/*",
    "webern/*",
)
EVERY = {"bach/*.mxl": 20, "monteverdi/*.mxl": 8, "trecento/*": 10}
# : What each kind of difference means. In the first three the notes are the same bar by bar (this
# is checked).
KINDS = {
    "drift": "theirs: a bar with too little or too much in one part moves that part "
    "away from the others",
    "sign": "theirs: a sign placed behind the bar line by its <offset> makes the bar longer",
    "gap": "theirs: a <forward> of no length becomes a rest of a quarter",
    "length": "theirs: a chord member's own <duration> is replaced by that of the first member",
    "split": "theirs: a sign between two members of a chord takes the chord apart",
    "alter": "theirs: the drawn accidental is played although <alter> is missing",
    "twice": "theirs: a note without <staff> is put on both staves",
    "parts": "theirs: parts that the part list does not name are left out",
    "quarter": "theirs: an <alter> with a fraction is read as none",
    "octave": "theirs: the <octave-change> of a transposition is left out",
    "crash": "theirs: the file cannot be read at all",
}
SAME_IN_BAR = ("drift", "sign", "gap")
B18, B59, S41 = (
    "beethoven/opus18no1/movement",
    "beethoven/opus59no",
    "schumann_robert/opus41no1/movement",
)
H1, H74, V4, M = (
    "haydn/opus1no1/movement",
    "haydn/opus74no1/movement",
    "monteverdi/madrigal.4.",
    "mozart/k",
)
#: file -> kinds with music21, kinds with partitura, what the XML says
KNOWN: dict[str, tuple[str, str, str]] = {
    "01d": ("", "quarter", "alters of -1.5 to 1.5, all lost"),
    "01f": ("", "crash", "a drawn quarter-flat is not in its table"),
    "02e": ("twice", "", "bar 1: the E3 of voice 2 names no staff, so it stands on staff 1 only"),
    "21f": ("split", "", "segno and dynamic stand between A, F# and D, one chord on beat 1"),
    "32ab": ("", "crash", "a fingering that is a word stops it"),
    "32c": (
        "alter",
        "alter",
        "A4 with a drawn sharp but no <alter>: the pitch element counts, so A4 sounds",
    ),
    "41c": (
        "",
        "octave",
        "piccolo, bass clarinet, contrabassoon and double bass move by an octave",
    ),
    "41h": (
        "parts",
        "parts",
        "P3 and P4 (rests only) are in the score, though not in the part list",
    ),
    "72b": ("", "octave", "part 10 transposes by 6 semitones and 3 octaves"),
    B18 + "1": (
        "drift",
        "drift",
        "7 bars lack a beat (152 of violin 2 ...); 169 has a 16th too much",
    ),
    B18 + "2": (
        "drift",
        "drift",
        "10 bars short in one part or more (19 in three); 96 and 101 too full",
    ),
    B18 + "3": ("drift", "drift", "bars 21 and 39 of violin 1 and 142 of the cello lack a beat"),
    B18 + "4": (
        "drift",
        "drift",
        "22 bars too full in one part (15 of viola ...); 67 and 341 short",
    ),
    B59 + "1/movement2": (
        "drift sign",
        "drift",
        "15 short bars (93 of violin 2); signs behind 469, 470",
    ),
    B59 + "1/movement3": (
        "drift",
        "drift",
        "6 short bars (14 of violin 1 holds 13/8 of 2 quarters ...)",
    ),
    B59 + "1/movement4": ("sign", "", "words behind bar 303 of violin 1"),
    B59 + "3/movement1": ("sign", "", "dynamics behind bar 10 in all four parts"),
    B59 + "3/movement2": ("drift sign", "drift", "dynamics behind 135; 143 holds 7 eighths of 6"),
    "demos/drum_sample": ("", "crash", "a chord of unpitched notes stops it"),
    H1 + "2": ("drift", "drift", "bar 52 of viola: a half rest where one beat is left"),
    H1 + "3": (
        "drift gap",
        "drift",
        "hidden trills end in an empty forward; 37 of violin 1 is short",
    ),
    H1 + "4": (
        "drift gap",
        "drift",
        "empty forwards in 35 and 43; 33, 40 and 42 short in one part",
    ),
    H1 + "5": ("gap", "", "empty forwards in bars 16, 25 and 66"),
    H74 + "2": ("drift", "drift", "7 bars lack an eighth in some part (14 and 15 of violin 2 ...)"),
    H74 + "3": ("drift", "drift", "bar 58 of violin 1: a 16th rest behind a full bar"),
    H74 + "4": ("drift", "drift", "10 bars lack an eighth in some part (42 to 45 of violin 2 ...)"),
    V4 + "2": ("drift", "drift", "44 bars hold two whole rests in a part that is silent"),
    V4 + "9": ("drift", "drift", "27 bars hold two whole rests in a part that is silent"),
    M + "155/movement3": ("sign", "", "dynamics behind the pickup in violin 1 and viola"),
    M + "156/movement3": ("drift", "drift", "bars 40 and 56 of viola hold one beat of three"),
    M + "458/movement4": ("sign", "", "words behind bar 99 in all four parts"),
    M + "80/movement4": (
        "drift",
        "drift",
        "whole rest in a pickup of two beats; 4 of violin 1 is short",
    ),
    "schubert/Lindenbaum": (
        "length",
        "length",
        "132 chord members of the piano differ from the first",
    ),
    S41 + "1": (
        "drift gap",
        "drift",
        "viola: 17 divisions, 16ths of 4: short bars; empty forward in 32",
    ),
    S41 + "4": (
        "drift",
        "crash",
        "9 bars of violin 1 hold 3062 of 3072 divisions; a note has 93 dots",
    ),
    S41 + "5": ("drift gap", "drift", "bar 209 of violin 1 lacks an eighth; empty forward in 312"),
    "trecento/PMFC_13_07-Gloria Laus Honor": ("", "crash", "an empty accidental element stops it"),
    "trecento/PMFC_23_22-Kyrie Summe Clementissime": (
        "",
        "octave",
        "three parts sound an octave lower",
    ),
    "trecento/PMFC_24_17-Doctorum principem-Melodia suavissima-Vir mitis": (
        "drift",
        "drift",
        "two parts in 6/8 count a dotted quarter as 2, for want of finer divisions",
    ),
    "weber/concertino_clarinet": (
        "drift sign",
        "drift",
        "237 to 239 of piano 6 beats of 3; tempo behind 1",
    ),
}
#: Where our own reading is wrong: bars longer or shorter than the XML says.
OURS: dict[str, str] = {}
#: One note: onset, length, sounding pitch; then its bar, from 0, and the onset inside it.
Heard = tuple[Fraction, Fraction, Fraction, int, Fraction]


@dataclass
class Result:
    """found: notes a library has; agree: those it shares with us; in_bar: the same, onsets within
    the bar."""

    found: int = 0
    agree: int = 0
    in_bar: int = 0
    same: bool = False
    error: str = ""


@dataclass
class Row:
    """One file. misfits: numbers of our bars that are longer or shorter than the XML says."""

    file: str
    ours: int = 0
    misfits: list[str] = field(default_factory=list)
    results: dict[str, Result] = field(default_factory=dict)
    difference: str = ""


def files() -> list[tuple[str, Path]]:
    """(label, path) of everything compared: suite files by their code, works by their place in the
    corpus."""
    kinds = (".xml", ".mxl", ".musicxml")
    suite = sorted(HOME.glob("musicxml/*TestSuite/*"))
    found = [(p.name.split("-")[0], p) for p in suite if p.suffix in kinds]
    for pattern in WORKS:
        paths = sorted(p for p in HOME.joinpath("corpus").glob(pattern) if p.suffix in kinds)
        for p in paths[:: EVERY.get(pattern, 1)]:
            found += [(str(p.relative_to(HOME / "corpus").with_suffix("")), p)]
    return found


def our_notes(chart: Chart) -> list[list[Heard]]:
    """Our reading. A quarter tone keeps its half here, though `Note.sounding` rounds it."""
    return [
        [
            (
                chart.quarters(n.onset),
                chart.quarters(n.duration),
                n.sounding + Fraction(n.pitch.alter) - round(n.pitch.alter),
                n.bar,
                chart.quarters(n.onset - chart.bars[n.bar].start),
            )
            for n in part.notes
            if n.sounding is not None and n.pitch and not n.is_grace
        ]
        for part in chart.parts
    ]


def misfit_bars(chart: Chart) -> list[str]:
    """Numbers of bars (not the last) that rests in some parts lengthen past the meter or the
    opening pickup, and of bars shorter than the meter though a part that rests fills it."""
    found: list[str] = []
    notes: dict[tuple[int, int], list[Note]] = {}
    for n in (n for part in chart.parts for n in part.notes):
        notes.setdefault((n.bar, n.part), []).append(n)
    for bar in chart.bars[:-1]:
        here = [
            notes[bar.index, part.index] for part in chart.parts if (bar.index, part.index) in notes
        ]
        ends: list[int] = [max(n.end for n in part) - bar.start for part in here] or [0]
        sounding = max(
            (n.end - bar.start for part in here for n in part if not n.is_rest), default=0
        )
        full = bar.meter.quarters * chart.resolution
        if bar.index == 0:
            wrong = sounding == Counter(ends).most_common(1)[0][0] and sounding < bar.length
        else:
            short, long = bar.length < full, bar.length > full >= min(ends)
            wrong = (short and bar.length < max(ends)) or (long and bar.length > sounding)
        found += [bar.number] * wrong
    return found


def music21_notes(path: Path) -> list[list[Heard]]:
    """The same through music21; the staves of one part are joined."""
    score: Any = converter.parse(path, format="musicxml", forceSource=True)
    score.toSoundingPitch(inPlace=True)
    parts: list[list[Heard]] = []
    for part in score.parts:
        if not isinstance(part, stream.PartStaff) or str(part.id).endswith("-Staff1"):
            parts.append([])
        for index, measure in enumerate(part.getElementsByClass(stream.Measure)):
            start = Fraction(measure.getOffsetInHierarchy(part))
            for element in measure.recurse().notes:
                if isinstance(element, harmony.ChordSymbol) or element.duration.isGrace:
                    continue
                inside = Fraction(element.getOffsetInHierarchy(measure))
                for one in element.notes if isinstance(element, chord.Chord) else (element,):
                    if isinstance(one, note.Note):
                        parts[-1].append(
                            (
                                start + inside,
                                Fraction(element.quarterLength),
                                Fraction(one.pitch.ps),
                                index,
                                inside,
                            )
                        )
    return parts


def partitura_notes(path: Path) -> list[list[Heard]]:
    """The same through partitura: written pitch plus the transposition it keeps; a pickup starts at
    zero."""
    parts: list[list[Heard]] = []
    for part in load_musicxml(str(path), quiet=True).parts:
        moves = sorted((t.start.t, t.chromatic or 0) for t in part.iter_all(other.Transposition))
        starts = sorted(m.start.t for m in part.iter_all(other.Measure))
        notes: list[Any] = list(part.iter_all(other.Note, include_subclasses=False))
        ticks = sorted({0, *starts, *(n.start.t for n in notes), *(n.end.t for n in notes)})
        floats = part.quarter_map(ticks)
        at = {
            tick: Fraction(float(value - floats[0])).limit_denominator(100_000)
            for tick, value in zip(ticks, floats, strict=True)
        }
        parts.append([])
        for n in notes:
            move = next((by for tick, by in reversed(moves) if tick <= n.start.t), 0)
            bar = bisect_right(starts, n.start.t) - 1
            a, b = at[n.start.t], at[n.end.t]
            parts[-1].append((a, b - a, Fraction(n.midi_pitch + move), bar, a - at[starts[bar]]))
    return parts


def compare(task: tuple[str, Path]) -> Row:
    """Read one file three times, count, and hold the outcome against KNOWN and OURS."""
    label, path = task
    warnings.simplefilter("ignore")
    row = Row(file=label)
    chart = read_chart(open_document(path))
    ours, row.misfits = our_notes(chart), misfit_bars(chart)
    row.ours = sum(map(len, ours))
    nothing: list[Heard] = []
    for library, read in zip(LIBRARIES, (music21_notes, partitura_notes), strict=True):
        result = row.results[library] = Result()
        try:
            theirs = read(path)
        except Exception as error:
            result.error = repr(error)[:200]
            continue
        result.found, result.same = sum(map(len, theirs)), len(ours) == len(theirs)
        for mine, yours in zip_longest(ours, theirs, fillvalue=nothing):
            a, b = Counter(n[:3] for n in mine), Counter(n[:3] for n in yours)
            result.same &= a == b
            result.agree += (a & b).total()
            result.in_bar += (Counter(n[1:] for n in mine) & Counter(n[1:] for n in yours)).total()
    judge(row)
    return row


def judge(row: Row) -> None:
    """Name the difference of a row; what has no verdict, or no longer fits it, gets capitals."""
    said: list[str] = []
    for library, kinds in zip(LIBRARIES, KNOWN.get(row.file, ("", "", "")), strict=False):
        result = row.results[library]
        moved = bool(kinds) and all(kind in SAME_IN_BAR for kind in kinds.split())
        if result.same == bool(kinds) or (moved and not result.in_bar == result.found == row.ours):
            said.append(
                f"{library} {'AGREES NOW' if result.same else 'NEW DIFFERENCE'} {result.error}"
            )
        elif kinds:
            said.append(f"{library} {kinds.replace(' ', '+')}")
    if bool(row.misfits) != (row.file in OURS):
        said.append(f"OURS MISFITS {' '.join(row.misfits) or 'GONE'}")
    elif row.misfits:
        said.append(f"ours misfits {len(row.misfits)}")
    row.difference = "; ".join(said)


def show(rows: list[Row]) -> None:
    """The table with its total, the reasons, and how often each kind occurs."""
    line = "{:<40.40} {:>7} {:>8} {:>9}  {}"
    print(line.format("file", "notes", *LIBRARIES, "difference"))
    for row in rows:
        print(
            line.format(
                row.file, row.ours, *(row.results[n].agree for n in LIBRARIES), row.difference
            )
        )
    ours = sum(row.ours for row in rows)
    titles = (f"total of {len(rows)} files", "within the bar", "files without a difference")
    for title, total, what in zip(
        titles, (ours, ours, len(rows)), ("agree", "in_bar", "same"), strict=True
    ):
        sums = [sum(getattr(row.results[n], what) for row in rows) for n in LIBRARIES]
        print(line.format(title, total, *sums, ""))
    print("\nreasons")
    print(*(f"  {row.file}: {KNOWN[row.file][2]}" for row in rows if row.file in KNOWN), sep="\n")
    print(*(f"  {row.file}: OURS: {OURS[row.file]}" for row in rows if row.file in OURS), sep="\n")
    print("\nkinds of difference: files with music21, files with partitura")
    for kind, meaning in KINDS.items():
        counts = [
            sum(kind in KNOWN.get(row.file, ("", ""))[n].split() for row in rows) for n in (0, 1)
        ]
        print(f"  {kind:<8} {counts[0]:>3} {counts[1]:>3}  {meaning}")


def main() -> int:
    """Compare everything; 0 when every difference has its verdict."""
    parser = argparse.ArgumentParser(
        description="Compare our reader with two others, note by note."
    )
    parser.add_argument("--only", default="", help="only files whose label contains this text")
    parser.add_argument("--json", type=Path, help="write the rows here, too")
    arguments = parser.parse_args()
    started = time.monotonic()
    with multiprocessing.Pool(2) as pool:
        rows = pool.map(
            compare, [task for task in files() if arguments.only in task[0]], chunksize=1
        )
    show(rows)
    if arguments.json:
        arguments.json.write_text(
            json.dumps([asdict(row) for row in rows], indent=1), encoding="utf-8"
        )
    unsettled = [row.file for row in rows if row.difference != row.difference.lower()]
    print(f"\n{time.monotonic() - started:.0f} s; files without a fitting verdict: {unsettled}")
    return bool(unsettled)


if __name__ == "__main__":
    sys.exit(main())
