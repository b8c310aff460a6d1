"""What an independent line may share with others by chance before a listener hears a passage.

Two parts in eighths strike together all the time, so the bounds are on what is striking. A column
is a moment at which one of the parts compared strikes; a shared one weighs 1, but only PLAIN where
the next one follows an eighth later (running eighths say little). All bounds are judgement:

- shared columns in a row weigh at most PAIR between two parts, at most TRIO among three (so a
  stranger to a passage meets it no longer than that); two such rows of two parts with a single
  column between them weigh at most DENSE together;
- where two parts share FIGURE columns in a row (EVEN in running eighths), they are neither in
  unison or octaves nor in parallel: the same lengths, every step the same way and about as wide.

Inside what is declared to be played together (a passage, a pad, a joined stretch) nothing is
bounded. Beside a passage (NEAR) at most half of its members strike together, on the two nearest
columns on either side, so that its edges are where they are said to be.
"""

from __future__ import annotations

import re
from collections.abc import Container, Iterable, Iterator, Sequence
from itertools import combinations, pairwise

from charts.vocabulary import Q

PAIR, TRIO, DENSE = 5.0, 4.0, 8.0
PLAIN = 1 / 3
FIGURE, EVEN, STEP = 4, 5, 2  # columns, columns, semitones by which two steps may differ
GRID = 2  # ticks per slot: every onset of the vocabulary is even
AROUND = 8 * Q  # ticks looked at on both sides of a phrase
NEAR = 2 * Q  # ticks beside a passage in which its members go apart

EIGHTH = bytes(Q // 2 // GRID - 1)  # the empty slots between two eighths
TWO_RUNS, THREE_RUNS = (
    re.compile(b"(?:%c\0*)+|[^\0]\0*" % full, re.DOTALL) for full in (b"\3", b"\7")
)
Figure = tuple[str, list[int]]  # the other part, the ticks shared with it

Notes = Sequence[tuple[int, int]]  # onset and length, in ticks
Sounding = dict[int, tuple[int, int]]  # onset -> length, highest pitch


class Company:
    """Who strikes when, and who has been declared to be together from where to where."""

    def __init__(self, parts: Sequence[str], total: int) -> None:
        self.slots = total // GRID + 1
        self.struck = {p: bytearray(self.slots) for p in parts}
        self.sounding: dict[str, Sounding] = {p: {} for p in parts}
        self.declared: dict[frozenset[str], list[tuple[int, int]]] = {}
        self.edges: list[tuple[tuple[str, ...], int, int]] = []

    def declare(self, parts: Sequence[str], start: int, stop: int) -> None:
        """These parts are together from start to stop, and go apart on both sides of it."""
        for pair in combinations(parts, 2):
            self.declared.setdefault(frozenset(pair), []).append((start, stop))
        self.edges.append((tuple(parts), start, stop))

    def join(self, part: str, members: Sequence[str], lead: str, span: tuple[int, int]) -> None:
        """This part goes along with a passage for a while, and leaves its lead on both sides."""
        for member in members:
            self.declared.setdefault(frozenset((part, member)), []).append(span)
        self.edges.append(((part, lead), *span))

    def enter(self, part: str, notes: Notes, pitches: Sequence[int]) -> None:
        for (onset, length), pitch in zip(notes, pitches, strict=True):
            self.struck[part][onset // GRID] = 1
            self.sounding[part][onset] = (length, pitch)

    def rhythm_stands_out(self, part: str, notes: Notes) -> bool:
        """Would this rhythm be heard as together with somebody else's?"""
        low, high = self._window(notes)
        mine = self._mine(part, notes, low, high)
        close = []
        for other in self.struck:
            if other == part:
                continue
            row = self._columns(mine, part, [other], low, high)
            if stands_out(row, PAIR):
                return True
            if b"\3" * (int(TRIO) + 1) in row.translate(None, b"\0"):
                close.append(other)
        for pair in combinations(close, 2):
            if stands_out(self._columns(mine, part, pair, low, high), TRIO):
                return True
        return any(self._blurs(part, notes, edge) for edge in self.edges if part in edge[0])

    def figures(self, part: str, notes: Notes) -> list[Figure]:
        """What these notes share with others in a row, FIGURE (or EVEN) columns at a time."""
        low, high = self._window(notes)
        mine = self._mine(part, notes, low, high)
        new, out = {t for t, _ in notes}, list[Figure]()
        for other in self.struck:
            if other != part:
                row = self._columns(mine, part, [other], low, high)
                out += [(other, f) for f in figures(row, low) if not new.isdisjoint(f)]
        return out

    def line_stands_out(
        self, part: str, notes: Notes, pitches: Sequence[int], shared: Sequence[Figure]
    ) -> bool:
        """Would this line be heard as somebody else's, or in parallel with it?"""
        new = {t: (n, p) for (t, n), p in zip(notes, pitches, strict=True)}
        mine, before = new.get, self.sounding[part]
        return any(
            alike([mine(t) or before[t] for t in ticks], [self.sounding[other][t] for t in ticks])
            for other, ticks in shared
        )

    def _window(self, notes: Notes) -> tuple[int, int]:
        return max(0, notes[0][0] - AROUND), min(GRID * self.slots, sum(notes[-1]) + AROUND)

    def _mine(self, part: str, notes: Notes, low: int, high: int) -> bytearray:
        mine = self.struck[part][low // GRID : high // GRID]
        for onset, _ in notes:
            mine[(onset - low) // GRID] = 1
        return mine

    def _columns(
        self, mine: bytearray, part: str, others: Sequence[str], low: int, high: int
    ) -> bytes:
        """One byte a slot: bit 0 is this part, bit n the n-th of the others."""
        rows = [mine, *(self.struck[o][low // GRID : high // GRID] for o in others)]
        spans = [s for o in others for s in self.declared.get(frozenset((part, o)), ())]
        for start, stop in [s for s in spans if s[0] < high and s[1] > low]:
            rows = [bytearray(row) for row in rows] if rows[0] is mine else rows
            first, last = (max(start, low) - low) // GRID, (min(stop, high) - low) // GRID
            for row in rows:
                row[first:last] = bytes(last - first)
            rows[0][first] = 1  # so that what stands on both sides is no run
        total = sum(int.from_bytes(row, "little") << n for n, row in enumerate(rows))
        return total.to_bytes(len(mine) + 1, "little")

    def _blurs(self, part: str, notes: Notes, edge: tuple[tuple[str, ...], int, int]) -> bool:
        """Do most members strike together right beside their passage, with these notes?"""
        members, start, stop = edge
        beside = [t for t, _ in notes if start - NEAR <= t < start or stop <= t < stop + NEAR]
        if not beside:
            return False
        onsets: dict[str, Container[int]] = {m: self.sounding[m] for m in members}
        onsets[part] = self.sounding[part].keys() | {t for t, _ in notes}
        return any(blurred(onsets.values(), start, stop))


def stands_out(row: bytes, most: float) -> bool:
    """Do shared columns in a row weigh too much (or, of two parts, two such rows together)?"""
    columns = row.translate(None, b"\0")
    two = max(columns, default=0) <= 3
    full = b"\3" if two else b"\7"
    if full * (int(most) + 1) not in columns and columns.count(full) <= DENSE:
        return False
    before = last = 0.0
    for run in (TWO_RUNS if two else THREE_RUNS).findall(row):
        now = weight(run, full) if run[:1] == full else 0.0
        if now > most + 1e-9 or (two and now and not last and now + before > DENSE):
            return True
        before, last = last, now
    return False


def weight(run: bytes, full: bytes) -> float:
    """Of shared columns in a row: less for those with another column an eighth later."""
    gaps = run.split(full)[1:]
    return len(gaps) - (1 - PLAIN) * gaps.count(EIGHTH)


def figures(row: bytes, low: int) -> Iterator[list[int]]:
    """The ticks of every FIGURE shared columns in a row (EVEN in running eighths)."""
    for match in TWO_RUNS.finditer(row):
        run = match.group()
        if run.count(b"\3") < FIGURE:
            continue
        ticks = [low + GRID * (match.start() + n) for n, byte in enumerate(run) if byte]
        for end in range(FIGURE, len(ticks) + 1):
            last = ticks[end - FIGURE : end]
            if all(b - a == Q // 2 for a, b in pairwise(last)):
                last = ticks[end - EVEN : end] if end >= EVEN else []
            if last:
                yield last


def alike(mine: Sequence[tuple[int, int]], theirs: Sequence[tuple[int, int]]) -> bool:
    """In unison or octaves, or in parallel with the same lengths."""
    pairs = list(zip(mine, theirs, strict=True))
    if all((m[1] - o[1]) % 12 == 0 for m, o in pairs):
        return True
    steps = [(b[0][1] - a[0][1], b[1][1] - a[1][1]) for a, b in pairwise(pairs)]
    parallel = all(m * o > 0 and abs(m - o) <= STEP for m, o in steps)
    return parallel and all(m[0] == o[0] for m, o in pairs)


def blurred(onsets: Iterable[Container[int]], start: int, stop: int) -> Iterator[int]:
    """The columns, of the two nearest on each side of a passage, struck by over half its
    members."""
    rows = list(onsets)
    most = max(1, len(rows) // 2)
    for low, high, last in ((start - NEAR, start, True), (stop, stop + NEAR, False)):
        columns = [t for t in range(low, high, GRID) if any(t in row for row in rows)]
        for t in columns[-2:] if last else columns[:2]:
            if sum(t in row for row in rows) > most:
                yield t
