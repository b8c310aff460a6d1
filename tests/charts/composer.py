"""The composer of ordinary charts: planted passages, and little else.

What makes a planting unambiguous: inside a passage no rest is longer than one beat; two passages
that share a part stand at least four beats apart (two when just one of them is soli); parts that
are not in one passage (or one pad) never share more than three onsets in a row; and members of a
passage share no onset in the four beats around it. Inside this file times are whole ticks, 24 to
the quarter note; pitches are sounding MIDI numbers.
"""

from __future__ import annotations

import random
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import NamedTuple

from charts.band import HORNS, KINDS, Instrument, choose_group, make_band
from charts.truth import Deviation, Join, Other, Passage, Place, Truth
from charts.vocabulary import CHORDS, FORMS, ONE, TWO, Event, Q, close_chord


@dataclass(slots=True)
class Planted:
    texture: str
    members: tuple[str, ...]
    start: int
    stop: int
    leads: tuple[str, ...]
    traits: tuple[str, ...]
    deviations: list[Deviation] = field(default_factory=list)
    joins: list[Joined] = field(default_factory=list)


class Joined(NamedTuple):
    """Somebody who joins a passage, in ticks; `doubles` is empty for one who joins by chance."""

    part: str
    doubles: str
    start: int
    stop: int


class Chart:
    """The composer's desk: bars, chords and the events of each part."""

    def __init__(self, seed: int, deviations: bool) -> None:
        self.seed, self.deviate = seed, deviations
        self.rng = rng = random.Random(seed)
        self.band = make_band(rng)
        self.by_name = {i.name: i for i in self.band}
        self.kind, self.staves = "ordinary", [(i, (i.name,)) for i in self.band]
        self.pitched = [i.name for i in self.band if i.family != "drums"]
        count, beats = rng.randint(40, 120), 3 if rng.random() < 0.18 else 4
        self.meters = [beats] * count
        if rng.random() < 0.2:  # one odd bar
            self.meters[rng.randrange(10, count - 10)] = 2 if beats == 3 else rng.choice((2, 3))
        self.pickup = rng.random() < 0.15
        if self.pickup:
            self.meters[0] = rng.choice((1, 2))
        self.numbers = [str(i if self.pickup else i + 1) for i in range(count)]
        self.starts = [Q * sum(self.meters[:i]) for i in range(count + 1)]
        key = rng.choice((-5, -4, -3, -2, -1, 0, 1))
        self.key_bar = 8 * rng.randint(2, count // 8 - 1) if rng.random() < 0.3 else count
        self.keys = [key, rng.choice([k for k in (-5, -4, -3, -2, -1, 0, 1) if k != key])]
        self.tempo = rng.choice((92, 116, 132, 144, 160, 176, 208, 232))
        self.chords: list[tuple[int, str]] = []
        while len(self.chords) < count:
            for word in rng.choice(FORMS).split():
                tonic = self.keys[len(self.chords) >= self.key_bar] * 7 % 12
                self.chords.append(((int(word[:-3]) + tonic) % 12, word[-3:]))
        self.events: dict[str, list[Event]] = {i.name: [] for i in self.band}
        self.onsets: dict[str, set[int]] = {i.name: set() for i in self.band}
        self.planted: list[Planted] = []
        self.others: list[tuple[str, tuple[str, ...], int, int]] = []

    # ---- time and chords
    def bar_of(self, tick: int) -> int:
        return bisect_right(self.starts, tick) - 1

    def place(self, tick: int, *, stop: bool = False) -> Place:
        bar = self.bar_of(tick - 1 if stop else tick)
        return Place(bar, (tick - self.starts[bar]) / Q + 1)

    def chord(self, tick: int) -> tuple[int, str]:
        return self.chords[self.bar_of(tick)]

    # ---- who coincides with whom
    def clashes(self, parts: Sequence[str], onsets: set[int]) -> bool:
        """Would these parts, with these onsets, move together with an outsider (or outside of a
        passage)?"""
        if not onsets:
            return False
        low, high = min(onsets) - 24 * Q, max(onsets) + 24 * Q
        for part in parts:
            mine = {t for t in self.onsets[part] if low <= t <= high} | onsets
            for other in self.pitched:
                if other in parts:
                    continue
                theirs = {t for t in self.onsets[other] if low <= t <= high}
                if theirs & onsets and self._together(part, other, mine, theirs):
                    return True
        return False

    def _together(self, one: str, two: str, mine: set[int], theirs: set[int]) -> bool:
        shared = [p for p in self.planted if one in p.members and two in p.members]
        pads = [o for o in self.others if o[0] == "pad" and one in o[1] and two in o[1]]
        inside = [(p.start, p.stop) for p in shared] + [(o[2], o[3]) for o in pads]
        run, window = 0, list[tuple[int, bool]]()
        for t in sorted(mine | theirs):
            if any(a <= t < b for a, b in inside):
                run, window = 0, []
                continue
            both = t in mine and t in theirs
            if both and any(a - 4 * Q <= t < b + 4 * Q for a, b in inside):
                return True
            run = run + 1 if both else 0
            window = [*[w for w in window if w[0] > t - 8 * Q], (t, both)]
            if run > 3 or (len(window) >= 7 and sum(b for _, b in window) > 0.65 * len(window)):
                return True
        return False

    def too_close(self, part: str, notes: Sequence[tuple[int, int]]) -> bool:
        """Would these notes be taken for a passage together with somebody else's?"""
        return self.clashes([part], {t for t, _ in notes})

    def sounds_alike(
        self,
        part: str,
        notes: Sequence[tuple[int, int]],
        pitches: Sequence[tuple[int, ...]],
    ) -> bool:
        """Would these notes be taken for somebody else's line? Too few share enough to matter."""
        return False

    def free(self, part: str, start: int, stop: int, margin: int) -> bool:
        """Nothing of this part within the margin (in ticks)."""
        return not any(
            e.start < stop + margin and e.stop > start - margin for e in self.events[part]
        )

    def add(
        self, part: str, notes: Sequence[tuple[int, int]], pitches: Sequence[tuple[int, ...]]
    ) -> None:
        self.events[part] += [Event(t, n, p) for (t, n), p in zip(notes, pitches, strict=True)]
        self.events[part].sort(key=lambda e: e.start)
        self.onsets[part] |= {t for t, _ in notes}

    # ---- rhythm and line
    def rhythm(self, start: int, body_end: int, last: int, density: str) -> list[tuple[int, int]]:
        """Onsets and lengths from start; the last note begins at body_end. Empty when none came out
        well."""
        notes, t = [], start
        if t % Q and t < body_end:
            notes, t = [(t, Q // 2)], t + Q // 2
        while t < body_end:
            bar = self.bar_of(t)
            room, offset = min(body_end, self.starts[bar + 1]) - t, t - self.starts[bar]
            two = room >= 48 and (offset % 48 == 0 or self.meters[bar] == 3)
            cell = self.rng.choice((TWO if two else ONE)[density]) if room >= Q else (room,)
            for length in cell:
                if length > 0:
                    notes.append((t, length))
                t += abs(length)
        notes.append((body_end, last))
        merged = notes[:1]
        for onset, length in notes[1:]:
            before, held = merged[-1]
            push = before % Q == 12 and held == 12 and onset % Q == 0 and before + held == onset
            if push and length in (12, 24, 36) and onset != body_end and self.rng.random() < 0.3:
                merged[-1] = (before, held + length)
            else:
                merged.append((onset, length))
        gaps = [b[0] - a[0] - a[1] for a, b in pairwise(merged)]
        good = (
            notes[0][0] == start
            and merged[-1][0] == body_end
            and len(merged) >= 6
            and max(gaps) <= Q
        )
        return merged if good and (merged[-1][0] - start) / (len(merged) - 1) <= 1.1 * Q else []

    def line(self, notes: Sequence[tuple[int, int]], low: int, high: int) -> list[int]:
        """A melody over the chords: steps mostly, chord tones on the beat, some leaps."""
        rng, out = self.rng, list[int]()
        pitch, way = rng.randint(low + (high - low) // 3, high - (high - low) // 4), 1
        for onset, length in notes:
            root, quality = self.chord(onset)
            pcs = (
                CHORDS[quality].tones if onset % Q == 0 and length >= 12 else CHORDS[quality].scale
            )
            repeat = len(out) > 1 and out[-1] != out[-2] and rng.random() < 0.08
            reach = 9 if rng.random() < 0.15 else 4
            near = [
                q
                for q in range(low, high + 1)
                if (q - root) % 12 in pcs and abs(q - pitch) <= reach
            ]
            near = [q for q in near if q != pitch or repeat] or [
                min(high, pitch + 2),
                max(low, pitch - 2),
            ]
            weights = [
                (3.0 if (q - pitch) * way > 0 else 1.0) / (1 + abs(q - pitch) / 3) for q in near
            ]
            new = rng.choices(near, weights)[0]
            way = way if new == pitch else (1 if new > pitch else -1)
            way = -way if new - low < 2 or high - new < 2 or rng.random() < 0.12 else way
            pitch = new
            out.append(pitch)
        return out

    # ---- passages
    def compose(self) -> None:
        bar = 1 + self.rng.randint(0, 3)
        while bar < len(self.meters) - 4:
            planted = self.passage(bar, self.rng.choice((2, 2, 3, 4, 4, 6, 8)))
            if planted and self.rng.random() < 0.45:
                self.passage(bar + self.rng.randint(0, 2), self.rng.choice((2, 3, 4, 4)))
            length = self.bar_of(planted.stop - 1) - bar + 1 if planted else 1
            bar += length + self.rng.randint(0, 4)
        self.settle()
        for family in HORNS:
            self.background(family)
        self.rhythm_section()

    def settle(self) -> None:
        """When all passages stand: put them in order, say which overlap, let parts deviate."""
        self.planted.sort(key=lambda p: (p.start, p.members))
        for p in self.planted:
            if any(o is not p and o.start < p.stop and p.start < o.stop for o in self.planted):
                p.traits += ("two at once",)
            if self.deviate:
                self.deviate_in(p)

    def passage(self, bar: int, bars: int) -> Planted | None:
        rng = self.rng
        bars = min(bars, len(self.meters) - 2 - bar)
        if bars < 2:
            return None
        texture = rng.choice(("unison", "octaves", "soli", "soli"))
        for _ in range(60):
            members, mixed = self.group()
            whole = Q * self.meters[bar]
            lead_in = rng.choice((0, 0, 0, -12, -24, -36, 12, 24, 36, 48))
            start = self.starts[bar] + min(lead_in, whole - Q)
            body_end, last, tail = self._ending(bar + bars - 1)
            density = rng.choice(("sparse", "medium", "medium", "dense"))
            stop = body_end + last
            if (
                start < 0
                or body_end <= start
                or not all(self._apart(texture, members, start, stop))
                or not all(self.free(m, start, stop, 0) for m in members)  # a pad, perhaps
            ):
                continue
            notes = self.rhythm(start, body_end, last, density)
            where = "pick-up" if lead_in < 0 else "mid-bar start" if lead_in else "on beat 1"
            traits = (where, tail, "mixed" if mixed else "section", f"{density} rhythm")
            if planted := self.plant(texture, members, notes, traits):
                return planted
        return None

    def group(self) -> tuple[tuple[str, ...], bool]:
        """Who moves together, and whether they come from several sections."""
        return choose_group(self.rng, self.band)

    def plant(
        self,
        texture: str,
        members: tuple[str, ...],
        notes: list[tuple[int, int]],
        traits: tuple[str, ...],
    ) -> Planted | None:
        """Voice these notes for the members and write them down; None where that cannot be."""
        if not notes or self.clashes(members, {t for t, _ in notes}):
            return None
        voiced = self.voices(texture, [self.by_name[m] for m in members], notes)
        return self.write_down(texture, members, notes, traits, voiced) if voiced else None

    def write_down(
        self,
        texture: str,
        members: tuple[str, ...],
        notes: list[tuple[int, int]],
        traits: tuple[str, ...],
        voiced: tuple[dict[str, list[int]], tuple[str, ...]],
    ) -> Planted:
        lines, more = voiced
        for part, pitches in lines.items():
            self.add(part, notes, [(p,) for p in pitches])
        top = [max(line[i] for line in lines.values()) for i in range(len(notes))]
        leads = [m for m in members if lines[m] == top]
        leads.sort(key=lambda m: self.by_name[m].family != "trumpet")
        start, stop = notes[0][0], sum(notes[-1])
        planted = Planted(texture, members, start, stop, tuple(leads), (*traits, *more))
        self.planted.append(planted)
        return planted

    def _apart(self, texture: str, members: Sequence[str], start: int, stop: int) -> Iterator[bool]:
        for p in self.planted:
            if set(p.members) & set(members):
                near = (texture == "soli") != (p.texture == "soli") and self.rng.random() < 0.5
                margin = Q * (2 if near else 4)
                yield stop + margin <= p.start or p.stop + margin <= start

    def _ending(self, bar: int) -> tuple[int, int, str]:
        """Onset and length of the last note, and the trait."""
        rng, stop, whole = self.rng, self.starts[bar + 1], Q * self.meters[bar]
        kind = rng.choice(("bar end", "mid-bar end", "tied end"))
        if kind == "bar end":
            last = rng.choice((12, 24, 48))
            return stop - last, last, kind
        if kind == "mid-bar end":
            at = rng.randrange(Q, whole - Q + 1, Q) if whole > Q else 0
            return (
                self.starts[bar] + at,
                rng.choice([n for n in (12, 24, 36) if n + at < whole]),
                kind,
            )
        more = rng.choice([n for n in (12, 24, 36, 48) if n <= Q * self.meters[bar + 1]])
        early = rng.choice((12, 12, 24))
        return stop - early, early + more, kind

    def voices(
        self, texture: str, group: list[Instrument], notes: list[tuple[int, int]]
    ) -> tuple[dict[str, list[int]], tuple[str, ...]] | None:
        for _ in range(30):
            octaves = texture == "octaves"
            found = (
                self._soli(group, notes)
                if texture == "soli"
                else self._same_line(group, notes, octaves)
            )
            if found is not None:
                return found
        return None

    def _same_line(
        self, group: list[Instrument], notes: list[tuple[int, int]], octaves: bool
    ) -> tuple[dict[str, list[int]], tuple[str, ...]] | None:
        rng, top = self.rng, max(group, key=lambda i: i.high)
        low = rng.randint(top.low, max(top.low, top.high - 12))
        high = min(top.high, low + rng.randint(9, 14))
        shifts: dict[str, int] = {}
        single = rng.choice(group).name if rng.random() < 0.4 else None
        for inst in group:
            fits = [k for k in (0, -12, -24) if inst.low <= low + k and high + k <= inst.high]
            if not octaves or (single and inst.name != single):
                fits = [k for k in fits if k == 0]
            elif single:
                fits = [k for k in fits if k]
            if not fits:
                return None
            shifts[inst.name] = rng.choice(fits)
        if high - low < 8 or (len(set(shifts.values())) > 1) != octaves or max(shifts.values()) < 0:
            return None
        line = self.line(notes, low, high)
        if len(set(line)) < 5:
            return None
        traits = ("one part an octave away",) if octaves and single else ()
        return {name: [p + k for p in line] for name, k in shifts.items()}, traits

    def _soli(
        self, group: list[Instrument], notes: list[tuple[int, int]]
    ) -> tuple[dict[str, list[int]], tuple[str, ...]] | None:
        """Voicings by definition: close (within an octave), drop 2, the last of five doubling the
        lead."""
        if len(group) < 3 or any(i.family == "rhythm" for i in group):
            return None
        rng = self.rng
        order = sorted(group, key=lambda i: -i.high)
        size = min(len(order), 4 if len(order) != 5 or rng.random() < 0.6 else 5)
        low = rng.randint(order[0].low + 4, order[0].high - 10)
        lead = self.line(notes, low, min(order[0].high, low + rng.randint(9, 13)))
        if len(set(lead)) < 5:
            return None
        drop = size >= 4 and rng.random() < 0.6
        chords = [
            close_chord(p, *self.chord(t), size) for p, (t, _) in zip(lead, notes, strict=True)
        ]
        if drop:
            chords = [sorted([c[0], c[1] - 12, *c[2:]], reverse=True) for c in chords]
        out: dict[str, list[int]] = {}
        for n, inst in enumerate(order):
            voice = [c[n % size] for c in chords]
            shifts = (0,) if n < size else (-12, -24) if len(order) == 5 else (0, -12, -24)
            fits = [k for k in shifts if inst.low <= min(voice) + k and max(voice) + k <= inst.high]
            if not fits:
                return None
            out[inst.name] = [p + fits[0] for p in voice]
        doubled = ("last part doubles the lead",) if len(order) == 5 and size == 4 else ()
        return {i.name: out[i.name] for i in group}, ("drop 2" if drop else "close", *doubled)

    # ---- deviations
    def deviate_in(self, p: Planted) -> None:
        rng, lead = self.rng, p.leads[0]
        onsets = sorted(e.start for e in self.events[lead] if p.start <= e.start < p.stop)
        used: list[int] = []
        heavy = 1 if len(onsets) >= 14 else 0
        for _ in range(rng.choice((0, 1, 2, 3)) if len(onsets) >= 12 else rng.choice((0, 0, 1))):
            kind = rng.choice(
                ("grace", "gap", "tied release", "tie spelling", "drop-out", "wrong note")
            )
            part = rng.choice([m for m in p.members if m not in p.leads[:1]])
            spots = [i for i in range(2, len(onsets) - 2) if all(abs(i - u) >= 4 for u in used)]
            rng.shuffle(spots)
            for i in spots:
                event = next(e for e in self.events[part] if e.start == onsets[i])
                gap = onsets[i + 1] - event.stop
                if kind == "grace":
                    event.grace = event.pitches[0] - rng.choice((1, 2))
                elif kind == "gap" and gap == 0 and event.length >= Q and event.stop % 12 == 0:
                    event.length -= 12
                elif kind == "tied release" and gap >= 12 and event.stop % Q == 0:
                    event.length += 12
                elif kind == "tie spelling" and event.length in (36, 48) and event.start % Q == 0:
                    event.cut = Q
                elif kind == "drop-out" and heavy:
                    self.events[part].remove(event)
                    self.onsets[part].discard(event.start)
                    heavy -= 1
                elif kind == "wrong note" and heavy and p.texture != "soli":
                    event.pitches = (event.pitches[0] + rng.choice((-1, 1)),)
                    heavy -= 1
                else:
                    continue
                used.append(i)
                p.deviations.append(Deviation(kind=kind, part=part, at=self.place(onsets[i])))
                break
        if used:
            p.traits += ("deviations",)

    # ---- everything else
    def background(self, family: str) -> None:
        rng, names = self.rng, [i.name for i in self.band if i.family == family]
        bar = 0
        while bar < len(self.meters) - 1:
            size = min(rng.randint(2, 6), len(self.meters) - bar)
            kind = rng.choice(("rest", "rest", "rest", "pad", "solo", "line", "line"))
            start, stop = self.starts[bar], self.starts[bar + size]
            quiet = [n for n in names if self.free(n, start, stop, 4 * Q)]
            if kind == "pad" and len(quiet) >= 2:
                self.pad(quiet[:4], bar, size)
            elif kind in ("solo", "line"):
                for name in rng.sample(names, 1 if kind == "solo" else 2):
                    self.solo(kind, name, start, stop)
            bar += size + rng.randint(0, 2)

    def solo(self, kind: str, name: str, start: int, stop: int) -> None:
        inst, rng = self.by_name[name], self.rng
        begin = start + rng.choice((0, 12, 24, 36))
        if not self.free(name, begin, stop, rng.choice((12, 24, 48))):
            return
        for _ in range(12):
            density = rng.choice(("medium", "dense", "sparse"))
            notes = self.rhythm(begin, stop - rng.choice((24, 48)), 24, density)
            if notes and not self.clashes([name], {t for t, _ in notes}):
                pitches = self.line(notes, inst.low + 3, inst.high - 3)
                self.add(name, notes, [(p,) for p in pitches])
                self.others.append((kind, (name,), notes[0][0], sum(notes[-1])))
                return

    def pad(self, names: Sequence[str], bar: int, size: int) -> None:
        """Held chords: every note one and a half beats or longer, no two parts with the same pitch
        class."""
        rng, cuts = self.rng, [self.starts[bar]]
        for b in range(bar, bar + size):
            whole, at = Q * self.meters[b], self.starts[b]
            if at > cuts[-1]:
                cuts.append(at - 12 if rng.random() < 0.3 and at - 12 - cuts[-1] >= 48 else at)
            if whole == 96 and rng.random() < 0.4:
                cuts.append(at + 48)
        cuts.append(self.starts[bar + size])
        stop, kept = cuts.pop(), cuts[:1]
        kept += [c for i, c in enumerate(cuts) if i and c - cuts[i - 1] >= 36 and stop - c >= 36]
        cuts = [*kept, stop]
        notes = [(a, b - a) for a, b in pairwise(cuts)]
        if len(notes) < 2 or self.clashes(names, {t for t, _ in notes}):
            return
        insts = [self.by_name[n] for n in names]
        for n, inst in enumerate(insts):
            middle, pitches = (inst.low + inst.high) // 2, []
            for t, _ in notes:
                root, quality = self.chord(t + 12)
                pc = (root + CHORDS[quality].tones[(3 - n) % 4]) % 12
                pitches.append(
                    (
                        min(
                            (q for q in range(inst.low, inst.high) if q % 12 == pc),
                            key=lambda q: abs(q - middle),
                        ),
                    )
                )
            self.add(inst.name, notes, pitches)
        self.others.append(("pad", tuple(names), cuts[0], cuts[-1]))

    def rhythm_section(self) -> None:
        rng = self.rng
        walks = (
            (24,) * 4,
            (24, 24, 24, 12, 12),
            (24, 12, 12, 24, 24),
            (36, 12, 24, 24),
            (48, 24, 24),
            (48, 48),
            (16, 8, 24, 24, 24),
            (12, 12, 24, 24, 24),
            (96,),
            (72, 24),
        )
        comps = (
            (-12, 24),
            (-24, -12, 36),
            (24, -12, 24),
            (-36, 12, 24),
            (-12, 12, -24, -12, 24),
            (-48, -12, 12),
            (36, 24),
            (-24, 12, -24, 12),
            (-12, 36),
            (-16, 8, -24, 24),
            (-48, 24),
        )
        for role, table, odds in (
            ("bass", walks, 1.0),
            ("piano", comps, 0.9),
            ("guitar", comps, 0.6),
        ):
            for inst in [i for i in self.band if i.sound == KINDS[role].sound]:
                for bar in range(len(self.meters)):
                    if rng.random() < odds:
                        mixed = rng.random() < 0.5
                        self.comp(
                            inst, role, bar, rng.sample(table, len(table)) if mixed else table
                        )
        drums = next(i.name for i in self.band if i.family == "drums")
        for at in range(0, self.starts[-1], Q):
            beat = (at - self.starts[self.bar_of(at)]) // Q
            swing = [(at, 16, (1,)), (at + 16, 8, (1,))] if beat % 2 else [(at, 24, (1,))]
            for t, length, kind in swing:
                self.events[drums].append(
                    Event(t, length, (*kind, 2) if beat % 2 and t == at else kind)
                )

    def comp(self, inst: Instrument, role: str, bar: int, table: Sequence[tuple[int, ...]]) -> None:
        start, stop = self.starts[bar], self.starts[bar + 1]
        mine = [p for p in self.planted if inst.name in p.members]
        if any(p.start < stop + 2 * Q and p.stop > start - 2 * Q for p in mine):
            return
        for cell in table:
            notes, t = [], start
            for length in cell:
                if length > 0 and t + length <= stop:
                    notes.append((t, length))
                t += abs(length)
            if notes and self.free(inst.name, notes[0][0], sum(notes[-1]), 0):
                if self.too_close(inst.name, notes):
                    continue
                if role == "bass":
                    pitches: list[tuple[int, ...]] = [
                        (p,) for p in self.line(notes, inst.low + 2, inst.high - 6)
                    ]
                else:
                    pitches = [self._comp(role, t) for t, _ in notes]
                if self.sounds_alike(inst.name, notes, pitches):
                    continue
                self.add(inst.name, notes, pitches)
                return

    def _comp(self, role: str, tick: int) -> tuple[int, ...]:
        root, quality = self.chord(tick)
        tones = CHORDS[quality].tones
        right = sorted(58 + (root + t - 58) % 12 for t in tones[1:])
        return (*((36 + root, 36 + root + tones[3]) if role == "piano" else ()), *right)

    def staff(self, part: str) -> str:
        """The name over the staff on which this player's notes stand."""
        return next(i.name for i, players in self.staves if part in players)

    def on_staves(self, parts: Sequence[str]) -> tuple[str, ...]:
        return tuple(dict.fromkeys(self.staff(p) for p in parts))

    def truth(self) -> Truth:
        return Truth(
            seed=self.seed,
            kind=self.kind,
            parts=tuple(i.name for i, _ in self.staves),
            bar_numbers=tuple(self.numbers),
            bar_beats=tuple(self.meters),
            passages=tuple(self._told(p) for p in self.planted),
            others=tuple(
                Other(
                    kind=kind,
                    parts=self.on_staves(names),
                    start=self.place(start),
                    end=self.place(stop, stop=True),
                )
                for kind, names, start, stop in self.others
            ),
        )

    def _told(self, p: Planted) -> Passage:
        leads = self.on_staves(p.leads)
        return Passage(
            texture=p.texture,
            parts=self.on_staves(p.members),
            start=self.place(p.start),
            end=self.place(p.stop, stop=True),
            lead=leads[0],
            leads=leads,
            deviations=tuple(replace(d, part=self.staff(d.part)) for d in p.deviations),
            traits=tuple(dict.fromkeys(p.traits)),
            joins=tuple(
                Join(
                    part=self.staff(j.part),
                    doubles=self.staff(j.doubles) if j.doubles else "",
                    start=self.place(j.start),
                    end=self.place(j.stop, stop=True),
                )
                for j in p.joins
            ),
        )
