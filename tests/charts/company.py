"""What an independent line may share with others by chance before a listener hears a passage.

Two parts in eighths strike together all the time, so the bounds are on what is striking. A column
is a moment at which one of the parts compared strikes; a shared one weighs 1, but only PLAIN where
the next one follows an eighth later (running eighths say little). All bounds are judgement:

- shared columns in a row weigh at most PAIR between two parts, at most TRIO among three (so a
  stranger to a passage meets it no longer than that), at most DENSE in any WIDE columns of two;
- where two parts share FIGURE columns in a row (EVEN in running eighths), they are neither in
  unison or octaves nor in parallel: the same lengths, every step the same way and about as wide.

Inside what is declared to be played together (a passage, a pad, a joined stretch) nothing is
bounded. Beside a passage (NEAR) at most half of its members strike together, on the two nearest
columns on either side, so that its edges are where they are said to be.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations, pairwise

from charts.vocabulary import Q

PAIR, TRIO, WIDE, DENSE = 5.0, 4.0, 10, 8.0
PLAIN = 1 / 3
FIGURE, EVEN, STEP = 4, 5, 2  # columns, columns, semitones by which two steps may differ
GRID = 2  # ticks per slot: every onset of the vocabulary is even
AROUND = 12 * Q  # ticks looked at on both sides of a phrase
NEAR = 2 * Q  # ticks beside a passage in which its members go apart

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

    def line_stands_out(self, part: str, notes: Notes, pitches: Sequence[int]) -> bool:
        """Would this line be heard as somebody else's, or in parallel with it?"""
        low, high = self._window(notes)
        mine = {t: s for t, s in self.sounding[part].items() if low <= t < high}
        mine |= {t: (n, p) for (t, n), p in zip(notes, pitches, strict=True)}
        striking = self._mine(part, notes, low, high)
        for other in self.struck:
            if other == part:
                continue
            row = self._columns(striking, part, [other], low, high)
            if b"\3" * FIGURE in row.translate(None, b"\0"):
                theirs = {t: s for t, s in self.sounding[other].items() if low <= t < high}
                apart = self.declared.get(frozenset((part, other)), [])
                if any(figures(mine, theirs, apart)):
                    return True
        return False

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
        onsets = {m: self.sounding[m].keys() for m in members}
        onsets[part] = onsets[part] | {t for t, _ in notes}
        return any(blurred(onsets.values(), start, stop))


def stands_out(row: bytes, most: float) -> bool:
    """Do shared columns in a row weigh too much (or, of two parts, too many of them in WIDE)?"""
    columns = row.translate(None, b"\0")
    full = 3 if max(columns, default=0) <= 3 else 7
    if bytes((full,)) * (int(most) + 1) not in columns and columns.count(full) <= DENSE:
        return False
    run, weights = 0.0, list[float]()
    for weight in column_weights(row, full):
        run = run + weight if weight else 0.0
        weights = [*weights[1 - WIDE :], weight]
        if run > most + 1e-9 or (full == 3 and sum(weights) > DENSE):
            return True
    return False


def column_weights(row: bytes, full: int) -> Iterator[float]:
    """Each column's weight: none where somebody is missing, little before an eighth."""
    slots = [n for n, byte in enumerate(row) if byte]
    for n, after in zip(slots, [*slots[1:], -1], strict=True):
        plain = (after - n) * GRID == Q // 2
        yield 0.0 if row[n] != full else PLAIN if plain else 1.0


def figures(one: Sounding, two: Sounding, apart: Sequence[tuple[int, int]]) -> Iterator[int]:
    """Where shared columns sound as one line or as two in parallel (the last tick of each)."""
    run: list[int] = []
    for t in sorted(one.keys() | two.keys()):
        outside = not any(a <= t < b for a, b in apart)
        run = [*run, t] if outside and t in one and t in two else []
        last = run[-FIGURE:]
        if len(last) == FIGURE and all(b - a == Q // 2 for a, b in pairwise(last)):
            last = run[-EVEN:]
            if len(last) < EVEN:
                continue
        if len(last) >= FIGURE and alike([one[c] for c in last], [two[c] for c in last]):
            yield t


def alike(mine: Sequence[tuple[int, int]], theirs: Sequence[tuple[int, int]]) -> bool:
    """In unison or octaves, or in parallel with the same lengths."""
    pairs = list(zip(mine, theirs, strict=True))
    if all((m[1] - o[1]) % 12 == 0 for m, o in pairs):
        return True
    steps = [(b[0][1] - a[0][1], b[1][1] - a[1][1]) for a, b in pairwise(pairs)]
    parallel = all(m * o > 0 and abs(m - o) <= STEP for m, o in steps)
    return parallel and all(m[0] == o[0] for m, o in pairs)


def blurred(onsets: Sequence[set[int]], start: int, stop: int) -> Iterator[int]:
    """The columns, of the two nearest on each side of a passage, struck by over half its members."""
    rows = list(onsets)
    most = max(1, len(rows) // 2)
    for low, high, last in ((start - NEAR, start, True), (stop, stop + NEAR, False)):
        columns = sorted({t for row in rows for t in row if low <= t < high})
        for t in columns[-2:] if last else columns[:2]:
            if sum(t in row for row in rows) > most:
                yield t
