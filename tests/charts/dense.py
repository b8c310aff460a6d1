"""Dense charts: whoever is not in a passage plays something of their own, right up to its edges.

Passages come with what makes them hard to see: riffs and pads under them, parts that join for a
bar by chance or for four in earnest, calls and answers that overlap, trades in mid-bar, a tutti
that starts inside a section's octave line, two players on one staff. The lines around them come
from a random generator of their own, and `company` bounds what they share with anybody by chance.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise

from charts.band import HORNS, Instrument
from charts.company import Company
from charts.composer import Chart, Joined, Planted
from charts.vocabulary import HELD, LINES, Q, Rate, Style

PLANS = {"plain": 6, "two": 3, "riff": 3, "pad": 3, "exchange": 4, "tutti": 2}
CHANCE_JOINER, REAL_JOINER, SHARED_STAFF = 0.35, 0.7, 0.3
RATES: tuple[Rate, ...] = ("sparse", "medium", "busy", "running", "mixed", "mixed")
TRIES = 12  # of a phrase, before the part rests instead


class DenseChart(Chart):
    """A chart in which everybody plays; `rate` says how busily ('mixed': each phrase its own)."""

    def __init__(self, seed: int, deviations: bool, rate: Rate | None) -> None:
        super().__init__(seed, deviations)
        self.lines = random.Random(f"independent lines of {seed}")
        self.rate = rate or self.lines.choice(RATES)
        self.company: Company | None = None  # opened when all passages stand
        self.kind = "dense"

    def compose(self) -> None:
        bar = 1 + self.rng.randint(0, 2)
        while bar < len(self.meters) - 4:
            plan = self.rng.choices(list(PLANS), list(PLANS.values()))[0]
            before = len(self.planted)
            getattr(self, f"plan_{plan}")(bar)
            new = self.planted[before:]
            end = self.bar_of(max(p.stop for p in new) - 1) + 1 if new else bar
            bar = end + self.rng.choice((0, 0, 1, 1, 2, 3, 4))
        for p in self.planted:
            self.join_in_earnest(p)
            self.join_by_chance(p)
            p.traits += (f"{self.rate} lines around",)
        self.settle()
        self.share_staves()
        self.rng = self.lines  # from here on: what the others play
        self.surround()

    # ---- passages and what goes with them
    def plan_plain(self, bar: int) -> None:
        self.passage(bar, self.rng.choice((2, 3, 4, 4, 6, 6, 8, 8)))

    def plan_two(self, bar: int) -> None:
        if self.passage(bar, self.rng.choice((2, 3, 4, 6))):
            self.passage(bar + self.rng.randint(0, 2), self.rng.choice((2, 3, 4, 4)))

    def plan_riff(self, bar: int) -> None:
        """A two-bar figure of one section, played two or three times, under a passage of others."""
        over = self.passage(bar, self.rng.choice((4, 6)))
        if over is None:
            return
        for _ in range(20):
            members = self.section(exclude=over.members)
            times = self.rng.randint(2, 3)
            if members and self.riff(members, bar, times):
                return

    def riff(self, members: tuple[str, ...], bar: int, times: int) -> Planted | None:
        length = 2 * self.meters[bar] * Q
        bars = range(bar, bar + 2 * times)
        if bars.stop >= len(self.meters) or len({self.meters[b] for b in bars}) > 1:
            return None
        start, rest = self.starts[bar], self.rng.choice((0, 12, 24))
        if not self.clear("riff", members, start, start + times * length):
            return None
        once = self.rhythm(start, start + length - rest - 12, 12, "medium")
        texture = self.rng.choice(("unison", "octaves", "soli"))
        voiced = self.voices(texture, [self.by_name[m] for m in members], once) if once else None
        if voiced is None:
            return None
        notes = [(t + n * length, size) for n in range(times) for t, size in once]
        if self.clashes(members, {t for t, _ in notes}):
            return None
        repeated = {name: line * times for name, line in voiced[0].items()}
        return self.write_down(texture, members, notes, ("riff",), (repeated, voiced[1]))

    def plan_pad(self, bar: int) -> None:
        over = self.passage(bar, self.rng.choice((4, 6, 8)))
        if over is None:
            return
        names = list(self.section(exclude=over.members))
        size = min(self.bar_of(over.stop - 1) + 1 - bar, len(self.meters) - 1 - bar)
        if len(names) >= 2 and all(
            self.free(n, self.starts[bar], self.starts[bar + size], 0) for n in names
        ):
            before = len(self.others)
            self.pad(names[:4], bar, size)
            if len(self.others) > before:
                over.traits += ("pad under it",)

    def plan_exchange(self, bar: int) -> None:
        """Call and answer of two sections, the answer one or two beats early, or in mid-bar."""
        rng = self.rng
        overlap = rng.choice((0, Q, 2 * Q))
        name = "overlapping answer" if overlap else "trade in mid-bar"
        call = self.section()
        sides = (call, self.section(exclude=call))
        if not all(sides):
            return
        start = self.starts[bar] + (0 if overlap else rng.choice((0, Q, 2 * Q)))
        for turn in range(rng.choice((2, 3, 4))):
            least = 4 * Q + 2 * overlap  # what leaves the other side four beats of rest
            stop = start + max(least, Q * rng.choice((6, 7, 8, 10)))
            texture = rng.choice(("unison", "octaves", "soli", "soli"))
            if self.bar_of(stop) >= len(self.meters) - 1:
                return
            members = sides[turn % 2]
            if not self.clear(texture, members, start, stop):
                return
            planted = self.phrase(texture, members, start, stop, name)
            if planted is None:
                return
            start = planted.stop - overlap

    def plan_tutti(self, bar: int) -> None:
        """A section in octaves; the whole band comes in before its line would have ended."""
        rng = self.rng
        section = self.section()
        start = self.starts[bar]
        change = start + Q * rng.choice((6, 8, 10, 12))
        stop = change + Q * rng.choice((8, 12, 16))
        if self.bar_of(stop) >= len(self.meters) - 1:
            return
        band = tuple(i.name for i in self.band if i.family in HORNS)
        if not self.clear("soli", band, start, stop):
            return
        line = self.phrase("octaves", section, start, change)
        if line and self.phrase("soli", band, change, stop, "tutti out of a line"):
            line.traits += ("a tutti ends it",)

    def clear(self, texture: str, members: tuple[str, ...], start: int, stop: int) -> bool:
        return all(self._apart(texture, members, start, stop))

    def section(self, exclude: tuple[str, ...] = ()) -> tuple[str, ...]:
        """The horns of one family that has nobody among the excluded."""
        families = [[i.name for i in self.band if i.family == f] for f in HORNS]
        open_ = [f for f in families if not set(f) & set(exclude)]
        return tuple(self.rng.choice(open_)) if open_ else ()

    def phrase(
        self, texture: str, members: tuple[str, ...], start: int, stop: int, *traits: str
    ) -> Planted | None:
        """A passage from start to stop exactly."""
        for _ in range(30):
            last = self.rng.choice((12, 24))
            density = self.rng.choice(("sparse", "medium", "medium", "dense"))
            notes = self.rhythm(start, stop - last, last, density)
            if planted := self.plant(texture, members, notes, (*traits, f"{density} rhythm")):
                return planted
        return None

    # ---- parts that join
    def join_by_chance(self, p: Planted) -> None:
        """A foreign part meets the rhythm for one to two bars, with a line of its own."""
        beats = max(self.meters) * self.rng.choice((1, 1, 1.5, 2))
        if self.rng.random() < CHANCE_JOINER:
            self.join(p, int(beats * Q), at_most=0.5, real=False)

    def join_in_earnest(self, p: Planted) -> None:
        """A foreign part doubles the lead for four bars or more."""
        beats = max(self.meters) * self.rng.choice((4, 4, 5, 6))
        if self.rng.random() < REAL_JOINER:
            self.join(p, beats * Q, at_most=0.8, real=True)

    def join(self, p: Planted, length: int, *, at_most: float, real: bool) -> None:
        lead = [e for e in self.events[p.leads[0]] if p.start <= e.start < p.stop]
        if length > at_most * (p.stop - p.start):
            return
        starts = [e.start for e in lead if e.start + length <= p.stop and e.start % 12 == 0]
        for _ in range(8):
            start = self.rng.choice((starts[0], self.rng.choice(starts)))
            here = [e for e in lead if start <= e.start < start + length]
            while here and (here[-1].stop % 12 or (not real and here[-1].stop > start + length)):
                here.pop()  # not in the middle of a triplet, by chance no longer than said
            part = self.rng.choice(self.pitched[:-3])
            if len(here) < 4 or part in p.members:
                continue
            if real and here[-1].stop < start + length:
                continue
            if not self.free(part, here[0].start, here[-1].stop, 4 * Q):
                continue
            if any(j.start < here[-1].stop + Q and here[0].start - Q < j.stop for j in p.joins):
                continue  # one at a time
            inst, notes = self.by_name[part], [(e.start, e.length) for e in here]
            pitches = [e.pitches[0] for e in here]
            if real:
                shifts = (0, -12, 12)
                fits = [k for k in shifts if inst.low <= min(pitches) + k]
                fits = [k for k in fits if max(pitches) + k <= inst.high]
                if not fits:
                    continue
                pitches = [q + fits[0] for q in pitches]
            else:
                pitches = self.line(notes, inst.low + 3, inst.high - 3)
            self.add(part, notes, [(q,) for q in pitches])
            doubles = p.leads[0] if real else ""
            p.joins.append(Joined(part, doubles, notes[0][0], sum(notes[-1])))
            p.traits += ("real joiner" if real else "chance joiner",)
            return

    # ---- everybody else
    def surround(self) -> None:
        """The rhythm section first, then a line for every horn in everything that is left."""
        self.open_company()
        self.rhythm_section()
        horns = [i.name for i in self.band if i.family in HORNS]
        self.rng.shuffle(horns)
        for name in horns:
            for start, stop in self.gaps(name):
                self.lines_between(name, start, stop)

    def open_company(self) -> None:
        company = Company(self.pitched, self.starts[-1])
        for name in self.pitched:
            events = self.events[name]
            notes = [(e.start, e.length) for e in events]
            company.enter(name, notes, [max(e.pitches) for e in events])
        for p in self.planted:
            company.declare(p.members, p.start, p.stop)
            for j in p.joins:
                company.join(j.part, p.members, p.leads[0], (j.start, j.stop))
        for _, names, start, stop in self.others:
            company.declare(names, start, stop)
        self.company = company

    def add(
        self, part: str, notes: Sequence[tuple[int, int]], pitches: Sequence[tuple[int, ...]]
    ) -> None:
        super().add(part, notes, pitches)
        if self.company:
            self.company.enter(part, notes, [max(p) for p in pitches])

    def too_close(self, part: str, notes: Sequence[tuple[int, int]]) -> bool:
        assert self.company is not None
        return self.company.rhythm_stands_out(part, notes)

    def sounds_alike(
        self,
        part: str,
        notes: Sequence[tuple[int, int]],
        pitches: Sequence[tuple[int, ...]],
    ) -> bool:
        assert self.company is not None
        shared = self.company.figures(part, notes)
        return self.company.line_stands_out(part, notes, [max(p) for p in pitches], shared)

    def comp(self, inst: Instrument, role: str, bar: int, table: Sequence[tuple[int, ...]]) -> None:
        """Always in a changing order: no two players keep one figure up for bars."""
        super().comp(inst, role, bar, self.rng.sample(table, len(table)))

    def taken(self, part: str) -> list[tuple[int, int]]:
        """From where to where this part is in a passage, a pad or a joined stretch."""
        spans = [(p.start, p.stop) for p in self.planted if part in p.members]
        spans += [(j.start, j.stop) for p in self.planted for j in p.joins if j.part == part]
        return sorted(spans + [(a, b) for _, names, a, b in self.others if part in names])

    def gaps(self, part: str) -> Iterator[tuple[int, int]]:
        at = 0
        for start, stop in [*self.taken(part), (self.starts[-1], self.starts[-1])]:
            if start > at:
                yield at, start
            at = max(at, stop)

    def lines_between(self, part: str, start: int, stop: int) -> None:
        """Phrases with breaths between them, up to the very edges more often than not."""
        rng = self.rng
        at = start + rng.choice((0, 0, 12, Q, 2 * Q))
        stop -= rng.choice((0, 0, 0, 12, Q))
        while at < stop:
            rate = rng.choice(list(LINES)) if self.rate == "mixed" else self.rate
            style = LINES[rate]
            end = min(stop, at + 12 * rng.randint(*style.phrase))
            if not self.independent(part, at, end, style):  # half of it, or a rest
                end = at + 12 * ((end - at) // 24)
                self.independent(part, at, end, style)
            at = end + 12 * rng.randint(*style.rest)

    def independent(self, part: str, start: int, stop: int, style: Style) -> bool:
        """A phrase that nobody would take for part of a passage; False if none came out."""
        inst = self.by_name[part]
        assert self.company is not None
        for _ in range(TRIES):
            notes = self.free_rhythm(start, stop, style)
            if not notes or self.too_close(part, notes):
                continue
            shared = self.company.figures(part, notes)
            for _ in range(TRIES):
                pitches = self.line(notes, inst.low + 2, inst.high - 2)
                if not self.company.line_stands_out(part, notes, pitches, shared):
                    self.add(part, notes, [(p,) for p in pitches])
                    return True
        return False

    def free_rhythm(self, start: int, stop: int, style: Style) -> list[tuple[int, int]]:
        """Cells of the style one after the other, some tied over the beat; may be empty."""
        rng, notes, t = self.rng, list[tuple[int, int]](), start
        while t < stop:
            bar = self.bar_of(t)
            room = min(stop, self.starts[bar + 1]) - t
            if t % Q or room < Q:
                cell: tuple[int, ...] = rng.choice(((12,), (-12,)))
            else:
                two = room >= 2 * Q and (t - self.starts[bar]) % (2 * Q) == 0
                whole = two and room >= 4 * Q and rng.random() < style.long
                cell = rng.choice(HELD if whole else style.two if two else style.one)
            for length in cell:
                if length > 0:
                    notes.append((t, length))
                t += abs(length)
        return [n for n in tied_over(notes, rng, 0.25) if sum(n) <= stop]

    # ---- two players, one staff
    def share_staves(self) -> None:
        """Two neighbours of one kind may stand on one staff, if no passage is theirs alone."""
        if self.rng.random() >= SHARED_STAFF:
            return
        pairs = [
            (a, b)
            for a, b in pairwise(self.band)
            if a.sound == b.sound and a.family in HORNS and self.may_share(a.name, b.name)
        ]
        if not pairs:
            return
        one, two = self.rng.choice(pairs)
        joint = self.rng.choice((" & ", ", ", "/"))
        number = two.name.rsplit(" ", 1)[1]
        shared = replace(one, name=f"{one.name}{joint}{number}", low=two.low)
        self.staves = [(i, (i.name,)) for i in self.band if i not in (one, two)]
        self.staves.insert(self.band.index(one), (shared, (one.name, two.name)))

    def may_share(self, one: str, two: str) -> bool:
        """No passage of these two alone; nobody joins the neighbour's passage; never two at
        once."""
        both = {one, two}
        for p in self.planted:
            if set(p.members) <= both:
                return False
            if any(j.part in both and both & {*p.members, j.doubles} for j in p.joins):
                return False
        single = [p for p in self.planted if len(both & set(p.members)) == 1]
        return not any(
            o.start < p.stop and p.start < o.stop and both & {*o.members}
            for p in single
            for o in self.planted
            if o is not p
        )


def tied_over(
    notes: list[tuple[int, int]], rng: random.Random, odds: float
) -> list[tuple[int, int]]:
    """Some off-beat eighths are held through the note on the next beat."""
    out = notes[:1]
    for onset, length in notes[1:]:
        before, held = out[-1]
        push = before % Q == 12 and held == 12 and before + held == onset
        if push and length in (12, 24, 36) and rng.random() < odds:
            out[-1] = (before, held + length)
        else:
            out.append((onset, length))
    return out
