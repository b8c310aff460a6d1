"""Big-band charts with planted passages, for measuring the finder.

`plant_chart(seed)` composes a chart and says where its passages are. What makes a planting unambiguous:
inside a passage no rest is longer than one beat; two passages that share a part stand at least four beats
apart (two when just one of them is soli); parts that are not in one passage (or one pad) never share more
than three onsets in a row; and members of a passage share no onset in the four beats around it.
Inside this file times are whole ticks, 24 to the quarter note; pitches are sounding MIDI numbers.
"""

from __future__ import annotations

import random
from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import NamedTuple

Q = 24
HORNS = ("sax", "trumpet", "trombone")


class Place(NamedTuple):
    """Index of the bar from 0, and the beat counted from 1 inside that bar."""

    bar: int
    beat: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviation:
    kind: str
    part: str
    at: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Passage:
    """A planted passage; `leads` are all parts that share the top line, `lead` the one to follow."""

    texture: str
    parts: tuple[str, ...]
    start: Place
    end: Place
    lead: str
    leads: tuple[str, ...]
    deviations: tuple[Deviation, ...]
    traits: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Other:
    """Material that is no passage: 'pad' (held chords), 'solo', 'line' (independent counter-line)."""

    kind: str
    parts: tuple[str, ...]
    start: Place
    end: Place


@dataclass(frozen=True, slots=True, kw_only=True)
class Truth:
    """What was planted; iterating gives the passages."""

    seed: int
    parts: tuple[str, ...]
    bar_numbers: tuple[str, ...]
    bar_beats: tuple[int, ...]
    passages: tuple[Passage, ...]
    others: tuple[Other, ...]

    def __iter__(self) -> Iterator[Passage]:
        return iter(self.passages)

    def __len__(self) -> int:
        return len(self.passages)

    def beats(self, place: Sequence[float]) -> float:
        """Quarter notes from the start of the chart."""
        return sum(self.bar_beats[: int(place[0])]) + place[1] - 1.0


@dataclass(frozen=True, slots=True)
class Instrument:
    name: str
    short: str
    family: str
    transpose: tuple[int, int, int]  # diatonic, chromatic, octave change
    clef: str
    low: int
    high: int
    sound: str

    @property
    def shift(self) -> int:
        return self.transpose[1] + 12 * self.transpose[2]


@dataclass(slots=True)
class Event:
    start: int
    length: int
    pitches: tuple[int, ...]
    grace: int | None = None
    cut: int | None = None  # an extra tie, so many ticks after the start

    @property
    def stop(self) -> int:
        return self.start + self.length


class Kind(NamedTuple):
    """Names in two styles, abbreviation, family, transposition, clef, sounding range, sound id."""

    name: str
    short_name: str
    short: str
    family: str
    transpose: tuple[int, int, int]
    clef: str
    low: int
    high: int
    sound: str


class Quality(NamedTuple):
    """Chord tones, scale, colour tone for a fifth voice, the kind as MusicXML says it."""

    tones: tuple[int, ...]
    scale: tuple[int, ...]
    colour: int
    kind: str


E_FLAT, B_FLAT = (-5, -9, 0), (-1, -2, 0)
KINDS = {
    "flute": Kind("Flute", "Flute", "Fl.", "sax", (0, 0, 0), "G", 62, 91, "wind.flutes.flute"),
    "clarinet": Kind("Clarinet", "Bb Clarinet", "Cl.", "sax", B_FLAT, "G", 52, 84, "wind.reed.clarinet.bflat"),
    "soprano": Kind("Soprano Sax", "Soprano", "S.", "sax", B_FLAT, "G", 58, 84, "wind.reed.saxophone.soprano"),
    "alto": Kind("Alto Sax", "Alto", "A.", "sax", E_FLAT, "G", 50, 78, "wind.reed.saxophone.alto"),
    "tenor": Kind("Tenor Sax", "Tenor", "T.", "sax", (-1, -2, -1), "G", 45, 73, "wind.reed.saxophone.tenor"),
    "bari": Kind("Baritone Sax", "Bari", "B.", "sax", (-5, -9, -1), "G", 37, 64, "wind.reed.saxophone.baritone"),
    "trumpet": Kind("Trumpet", "Trumpet in Bb", "Tpt.", "trumpet", B_FLAT, "G", 54, 81, "brass.trumpet.bflat"),
    "horn": Kind("Horn in F", "F Horn", "Hn.", "trombone", (-4, -7, 0), "G", 45, 72, "brass.french-horn"),
    "bone": Kind("Trombone", "Bone", "Tbn.", "trombone", (0, 0, 0), "F", 41, 69, "brass.trombone"),
    "bassbone": Kind(
        "Bass Trombone",
        "Bass Bone",
        "B.Tbn.",
        "trombone",
        (0, 0, 0),
        "F",
        37,
        64,
        "brass.trombone.bass",
    ),
    "tuba": Kind("Tuba", "Tuba", "Tba.", "trombone", (0, 0, 0), "F", 30, 60, "brass.tuba"),
    "guitar": Kind("Guitar", "Guitar", "Gtr.", "rhythm", (0, 0, -1), "G", 42, 76, "pluck.guitar.electric"),
    "piano": Kind("Piano", "Piano", "Pno.", "rhythm", (0, 0, 0), "G", 36, 84, "keyboard.piano"),
    "bass": Kind("Bass", "Bass", "Bs.", "rhythm", (0, 0, -1), "F", 28, 55, "pluck.bass.acoustic"),
    "drums": Kind("Drum Set", "Drums", "Dr.", "drums", (0, 0, 0), "percussion", 0, 0, "drum.group.set"),
}
CHORDS = {
    "maj": Quality((0, 4, 7, 9), (0, 2, 4, 5, 7, 9, 11), 2, "major-sixth"),
    "min": Quality((0, 3, 7, 10), (0, 2, 3, 5, 7, 9, 10), 5, "minor-seventh"),
    "dom": Quality((0, 4, 7, 10), (0, 2, 4, 5, 7, 9, 10), 2, "dominant"),
    "dim": Quality((0, 3, 6, 9), (0, 2, 3, 5, 6, 8, 9, 11), 2, "diminished-seventh"),
}
FORMS = (
    "0dom 5dom 0dom 0dom 5dom 6dim 0dom 9dom 2min 7dom 0dom 7dom",
    "0maj 9dom 2min 7dom 4min 9dom 2min 7dom",
    "2min 7dom 0maj 0maj 0min 5dom 10maj 10maj",
    "0min 0min 5min 5min 8dom 7dom 0min 7dom",
    "0maj 1dim 2min 3dim 4min 9dom 2min 7dom",
)
TWO = {  # two-beat cells: lengths in ticks, rests negative
    "sparse": ((24, 24), (36, 12), (12, 36), (24, -12, 12), (-12, 24, 12), (48,), (24, -24), (12, 24, -12)),
    "medium": (
        (24, 12, 12),
        (12, 24, 12),
        (12, 12, 24),
        (36, 12),
        (24, 24),
        (8, 8, 8, 24),
        (-12, 12, 12, 12),
        (12, 12, 12, -12),
        (24, -12, 12),
        (16, 8, 24),
    ),
    "dense": ((12, 12, 12, 12),) * 3
    + ((8, 8, 8, 12, 12), (12, 12, 8, 8, 8), (24, 12, 12), (-12, 12, 12, 12), (12, 24, 12), (18, 6, 12, 12)),
}
ONE = {
    "sparse": ((24,), (-12, 12), (12, -12)),
    "medium": ((24,), (12, 12), (12, 12), (8, 8, 8), (-12, 12)),
    "dense": ((12, 12), (12, 12), (8, 8, 8), (18, 6)),
}


def plant_chart(seed: int, *, deviations: bool = True) -> tuple[bytes, Truth]:
    """A MusicXML 4.0 chart and what is planted in it; the same seed gives the same bytes."""
    chart = Chart(seed, deviations)
    chart.compose()
    return write_chart(chart), chart.truth()


@dataclass(slots=True)
class Planted:
    texture: str
    members: tuple[str, ...]
    start: int
    stop: int
    leads: tuple[str, ...]
    traits: tuple[str, ...]
    deviations: list[Deviation] = field(default_factory=list)


class Chart:
    """The composer's desk: bars, chords and the events of each part."""

    def __init__(self, seed: int, deviations: bool) -> None:
        self.seed, self.deviate = seed, deviations
        self.rng = rng = random.Random(seed)
        self.band = _band(rng)
        self.by_name = {i.name: i for i in self.band}
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
        """Would these parts, with these onsets, move together with an outsider (or outside of a passage)?"""
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

    def free(self, part: str, start: int, stop: int, margin: int) -> bool:
        """Nothing of this part within the margin (in ticks)."""
        return not any(e.start < stop + margin and e.stop > start - margin for e in self.events[part])

    def add(self, part: str, notes: Sequence[tuple[int, int]], pitches: Sequence[tuple[int, ...]]) -> None:
        self.events[part] += [Event(t, n, p) for (t, n), p in zip(notes, pitches, strict=True)]
        self.events[part].sort(key=lambda e: e.start)
        self.onsets[part] |= {t for t, _ in notes}

    # ---- rhythm and line
    def rhythm(self, start: int, body_end: int, last: int, density: str) -> list[tuple[int, int]]:
        """Onsets and lengths from start; the last note begins at body_end. Empty when none came out well."""
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
        good = notes[0][0] == start and merged[-1][0] == body_end and len(merged) >= 6 and max(gaps) <= Q
        return merged if good and (merged[-1][0] - start) / (len(merged) - 1) <= 1.1 * Q else []

    def line(self, notes: Sequence[tuple[int, int]], low: int, high: int) -> list[int]:
        """A melody over the chords: steps mostly, chord tones on the beat, some leaps."""
        rng, out = self.rng, list[int]()
        pitch, way = rng.randint(low + (high - low) // 3, high - (high - low) // 4), 1
        for onset, length in notes:
            root, quality = self.chord(onset)
            pcs = CHORDS[quality].tones if onset % Q == 0 and length >= 12 else CHORDS[quality].scale
            repeat = len(out) > 1 and out[-1] != out[-2] and rng.random() < 0.08
            reach = 9 if rng.random() < 0.15 else 4
            near = [q for q in range(low, high + 1) if (q - root) % 12 in pcs and abs(q - pitch) <= reach]
            near = [q for q in near if q != pitch or repeat] or [min(high, pitch + 2), max(low, pitch - 2)]
            weights = [(3.0 if (q - pitch) * way > 0 else 1.0) / (1 + abs(q - pitch) / 3) for q in near]
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
        self.planted.sort(key=lambda p: (p.start, p.members))
        for p in self.planted:
            if any(o is not p and o.start < p.stop and p.start < o.stop for o in self.planted):
                p.traits += ("two at once",)
            if self.deviate:
                self.deviate_in(p)
        for family in HORNS:
            self.background(family)
        self.rhythm_section()

    def passage(self, bar: int, bars: int) -> Planted | None:
        rng = self.rng
        bars = min(bars, len(self.meters) - 2 - bar)
        if bars < 2:
            return None
        texture = rng.choice(("unison", "octaves", "soli", "soli"))
        for _ in range(60):
            members, mixed = _group(rng, self.band)
            whole = Q * self.meters[bar]
            lead_in = rng.choice((0, 0, 0, -12, -24, -36, 12, 24, 36, 48))
            start = self.starts[bar] + min(lead_in, whole - Q)
            body_end, last, tail = self._ending(bar + bars - 1)
            density = rng.choice(("sparse", "medium", "medium", "dense"))
            stop = body_end + last
            if start < 0 or body_end <= start or not all(self._apart(texture, members, start, stop)):
                continue
            notes = self.rhythm(start, body_end, last, density)
            onsets = {t for t, _ in notes}
            if not notes or self.clashes(members, onsets):
                continue
            voiced = self.voices(texture, [self.by_name[m] for m in members], notes)
            if voiced is None:
                continue
            lines, traits = voiced
            for part, pitches in lines.items():
                self.add(part, notes, [(p,) for p in pitches])
            top = [max(line[i] for line in lines.values()) for i in range(len(notes))]
            leads = [m for m in members if lines[m] == top]
            leads.sort(key=lambda m: self.by_name[m].family != "trumpet")
            where = "pick-up" if lead_in < 0 else "mid-bar start" if lead_in else "on beat 1"
            planted = Planted(
                texture,
                members,
                start,
                stop,
                tuple(leads),
                (where, tail, "mixed" if mixed else "section", density, *traits),
            )
            self.planted.append(planted)
            return planted
        return None

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
            return self.starts[bar] + at, rng.choice([n for n in (12, 24, 36) if n + at < whole]), kind
        more = rng.choice([n for n in (12, 24, 36, 48) if n <= Q * self.meters[bar + 1]])
        early = rng.choice((12, 12, 24))
        return stop - early, early + more, kind

    def voices(
        self, texture: str, group: list[Instrument], notes: list[tuple[int, int]]
    ) -> tuple[dict[str, list[int]], tuple[str, ...]] | None:
        for _ in range(30):
            octaves = texture == "octaves"
            found = self._soli(group, notes) if texture == "soli" else self._same_line(group, notes, octaves)
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

    def _soli(self, group: list[Instrument], notes: list[tuple[int, int]]) -> tuple[dict[str, list[int]], tuple[str, ...]] | None:
        """Voicings by definition: close (within an octave), drop 2, the last of five doubling the lead."""
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
        chords = [_close(p, *self.chord(t), size) for p, (t, _) in zip(lead, notes, strict=True)]
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
            kind = rng.choice(("grace", "gap", "tied release", "tie spelling", "drop-out", "wrong note"))
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
        """Held chords: every note one and a half beats or longer, no two parts with the same pitch class."""
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
        for role, table, odds in (("bass", walks, 1.0), ("piano", comps, 0.9), ("guitar", comps, 0.6)):
            for inst in [i for i in self.band if i.sound == KINDS[role].sound]:
                for bar in range(len(self.meters)):
                    if rng.random() < odds:
                        mixed = rng.random() < 0.5
                        self.comp(inst, role, bar, rng.sample(table, len(table)) if mixed else table)
        drums = next(i.name for i in self.band if i.family == "drums")
        for at in range(0, self.starts[-1], Q):
            beat = (at - self.starts[self.bar_of(at)]) // Q
            swing = [(at, 16, (1,)), (at + 16, 8, (1,))] if beat % 2 else [(at, 24, (1,))]
            for t, length, kind in swing:
                self.events[drums].append(Event(t, length, (*kind, 2) if beat % 2 and t == at else kind))

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
                if self.clashes([inst.name], {t for t, _ in notes}):
                    continue
                if role == "bass":
                    pitches: list[tuple[int, ...]] = [(p,) for p in self.line(notes, inst.low + 2, inst.high - 6)]
                else:
                    pitches = [self._comp(role, t) for t, _ in notes]
                self.add(inst.name, notes, pitches)
                return

    def _comp(self, role: str, tick: int) -> tuple[int, ...]:
        root, quality = self.chord(tick)
        tones = CHORDS[quality].tones
        right = sorted(58 + (root + t - 58) % 12 for t in tones[1:])
        return (*((36 + root, 36 + root + tones[3]) if role == "piano" else ()), *right)

    def truth(self) -> Truth:
        return Truth(
            seed=self.seed,
            parts=tuple(i.name for i in self.band),
            bar_numbers=tuple(self.numbers),
            bar_beats=tuple(self.meters),
            passages=tuple(
                Passage(
                    texture=p.texture,
                    parts=p.members,
                    start=self.place(p.start),
                    end=self.place(p.stop, stop=True),
                    lead=p.leads[0],
                    leads=p.leads,
                    deviations=tuple(p.deviations),
                    traits=p.traits,
                )
                for p in self.planted
            ),
            others=tuple(Other(kind=k, parts=n, start=self.place(a), end=self.place(b, stop=True)) for k, n, a, b in self.others),
        )


def _close(top: int, root: int, quality: str, size: int) -> list[int]:
    """Lead and the next chord tones below it; a lead outside the chord gets a diminished passing chord."""
    tones, _, colour, _ = CHORDS[quality]
    pcs = {(root + t) % 12 for t in (*tones, colour)[: max(size, 4)]}
    if top % 12 not in pcs:
        return [top, top - 3, top - 6, top - 9, top - 12][:size]
    return [top, *[q for q in range(top - 2, top - 13, -1) if q % 12 in pcs][: size - 1]]


def _band(rng: random.Random) -> list[Instrument]:
    """14 to 20 parts in score order."""
    saxes = ["alto", "alto", "tenor", "tenor", "bari"]
    if rng.random() < 0.2:
        saxes[0] = "soprano"
    saxes = [*([rng.choice(("flute", "clarinet"))] if rng.random() < 0.2 else []), *saxes]
    bones = [*["bone"] * rng.choice((2, 3, 3)), "bassbone"]
    bones = [*(["horn"] if rng.random() < 0.15 else []), *bones, *(["tuba"] if rng.random() < 0.15 else [])]
    rhythm = [*(["guitar"] if rng.random() < 0.8 else []), "piano", "bass", "drums"]
    kinds = [*saxes, *["trumpet"] * rng.choice((3, 4, 4, 5)), *bones, *rhythm]
    style, count, out = rng.choice((0, 1)), dict[str, int](), list[Instrument]()
    for kind in kinds[-20:] if len(kinds) > 20 else kinds:
        row = KINDS[kind]
        count[kind] = count.get(kind, 0) + 1
        number = f" {count[kind]}" if kinds.count(kind) > 1 else ""
        high = row.high - (2 * (count[kind] - 1) if row.family != "rhythm" else 0)
        name, short = (row.name, row.short_name)[style] + number, row.short + number.strip()
        out.append(Instrument(name, short, row.family, row.transpose, row.clef, row.low, high, row.sound))
    return out


def _group(rng: random.Random, band: list[Instrument]) -> tuple[tuple[str, ...], bool]:
    """Names of a section, of a part of it, or of a mixed group, in score order."""
    sax, tpt, tbn = ([i.name for i in band if i.family == f] for f in HORNS)
    of = {k: [i.name for i in band if i.sound == KINDS[k].sound] for k in KINDS}
    if rng.random() < 0.6:
        section = rng.choice((sax, sax, sax[-5:], tpt, tbn, [n for n in tbn if n not in of["tuba"]]))
        parts = section if rng.random() < 0.8 else section[:3]
        if rng.random() < 0.25:
            parts = rng.choice((sax[-5:-3], of["tenor"], [*of["tenor"], *of["bari"]], tpt[:2], tbn[:2], of["alto"]))
        return tuple(parts if len(parts) > 1 else sax), False
    pairs = (
        [sax[-5], tpt[0]],
        [sax[-5], of["tenor"][0], tpt[0]],
        [sax[-5], of["tenor"][0], tpt[0], tbn[0]],
        [*of["alto"], *tpt],
        [*of["tenor"], *of["bone"]],
        [*sax, *tbn],
        [*tpt, *tbn],
        [*sax, *tpt, *tbn],
        [*sax, *tpt],
        [*of["bari"], *of["bassbone"], *of["bass"]],
        [of["tenor"][0], tpt[1], *of["guitar"]],
        [of["tenor"][0], *of["bari"], tbn[-1]],
        [*tpt[:2], *tbn[:2], sax[-5]],
    )
    chosen = set(rng.choice(pairs))
    return tuple(i.name for i in band if i.name in chosen), True


# ---- writing MusicXML
TYPES = {
    96: ("whole", 0),
    72: ("half", 1),
    48: ("half", 0),
    36: ("quarter", 1),
    24: ("quarter", 0),
    18: ("eighth", 1),
    12: ("eighth", 0),
    6: ("16th", 0),
}
SIGNS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}


class Piece(NamedTuple):
    """A written note, chord or rest: one symbol, inside one bar (start in ticks from the bar line)."""

    start: int
    length: int
    event: Event | None
    tie_from: bool
    tie_to: bool
    triplet: bool


def write_chart(chart: Chart) -> bytes:
    out = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
        '"http://www.musicxml.org/dtds/partwise.dtd">',
        '<score-partwise version="4.0">',
        f"  <work><work-title>Planted chart {chart.seed}</work-title></work>",
        "  <part-list>",
    ]
    grouped, family = chart.seed % 2 == 0, ""
    for n, inst in enumerate(chart.band, 1):
        if grouped and inst.family != family and inst.family != "drums":
            out += ['    <part-group number="1" type="stop"/>'] if family else []
            out += ['    <part-group number="1" type="start"><group-symbol>bracket</group-symbol></part-group>']
            family = inst.family
        out += [
            f'    <score-part id="P{n}"><part-name>{inst.name}</part-name><part-abbreviation>{inst.short}</part-abbreviation>',
            f'      <score-instrument id="P{n}-I1"><instrument-name>{inst.name}</instrument-name>'
            f"<instrument-sound>{inst.sound}</instrument-sound></score-instrument></score-part>",
        ]
    out += ['    <part-group number="1" type="stop"/>'] if grouped else []
    out += ["  </part-list>"]
    for n, inst in enumerate(chart.band, 1):
        out.append(f'  <part id="P{n}">')
        for bar in range(len(chart.meters)):
            hidden = ' implicit="yes"' if bar == 0 and chart.pickup else ""
            out.append(f'    <measure number="{chart.numbers[bar]}"{hidden}>')
            out += [f"      {line}" for line in _bar(chart, inst, bar, first=n == 1)]
            out.append("    </measure>")
        out.append("  </part>")
    return "\n".join([*out, "</score-partwise>", ""]).encode()


def _bar(chart: Chart, inst: Instrument, bar: int, *, first: bool) -> list[str]:
    low, high, meter = chart.starts[bar], chart.starts[bar + 1], chart.meters[bar]
    fifths = chart.keys[bar >= chart.key_bar] + (-inst.shift * 7) % 12
    piano, drums = inst.sound.startswith("keyboard"), inst.family == "drums"
    out = _attributes(chart, inst, bar, 0 if drums else fifths, piano=piano)
    if first and bar == 0:
        out.append(
            '<direction placement="above"><direction-type><words>Swing</words></direction-type>'
            "<direction-type><metronome><beat-unit>quarter</beat-unit>"
            f"<per-minute>{chart.tempo}</per-minute></metronome></direction-type>"
            f'<sound tempo="{chart.tempo}"/></direction>'
        )
    if first and bar and bar % 8 == 0:
        out.append(
            f'<direction placement="above"><direction-type><rehearsal>{chr(64 + bar // 8)}'
            "</rehearsal></direction-type></direction>"
        )
    if inst.family == "rhythm":
        root, quality = chart.chords[bar]
        step, alter, _ = _spell(60 + root - inst.shift % 12, fifths)
        out.append(
            f"<harmony><root><root-step>{step}</root-step><root-alter>{alter}</root-alter></root>"
            f"<kind>{CHORDS[quality].kind}</kind></harmony>"
        )
    here = [e for e in chart.events[inst.name] if e.start < high and e.stop > low]
    out += _voice(here, low, meter, inst, fifths, staff=1 if piano else 0)
    if piano:
        out.append(f"<backup><duration>{high - low}</duration></backup>")
        out += _voice(here, low, meter, inst, fifths, staff=2)
    if bar == len(chart.meters) - 1:
        out.append('<barline location="right"><bar-style>light-heavy</bar-style></barline>')
    return out


def _attributes(chart: Chart, inst: Instrument, bar: int, fifths: int, *, piano: bool) -> list[str]:
    out = [f"<divisions>{Q}</divisions>"] if bar == 0 else []
    if bar in (0, chart.key_bar):
        out.append(f"<key><fifths>{fifths}</fifths></key>")
    shown = [chart.meters[1 if b == 0 and chart.pickup else b] for b in (bar - 1, bar)]
    if bar == 0 or shown[0] != shown[1]:
        out.append(f"<time><beats>{shown[1]}</beats><beat-type>4</beat-type></time>")
    if bar == 0:
        line = {"G": 2, "F": 4}.get(inst.clef)
        sign = f"<sign>{inst.clef}</sign>" + (f"<line>{line}</line>" if line else "")
        both = "".join(f'<clef number="{n}"><sign>{c}</sign><line>{n * 2}</line></clef>' for n, c in ((1, "G"), (2, "F")))
        out += ["<staves>2</staves>", both] if piano else [f"<clef>{sign}</clef>"]
        diatonic, chromatic, octave = inst.transpose
        if any(inst.transpose):
            change = f"<octave-change>{octave}</octave-change>" if octave else ""
            out.append(f"<transpose><diatonic>{diatonic}</diatonic><chromatic>{chromatic}</chromatic>{change}</transpose>")
    return [f"<attributes>{''.join(out)}</attributes>"] if out else []


def _voice(events: list[Event], low: int, meter: int, inst: Instrument, fifths: int, *, staff: int) -> list[str]:
    if staff:  # a piano: the left hand below B flat 3
        hands = [tuple(p for p in e.pitches if (p >= 58) == (staff == 1)) for e in events]
        events = [Event(e.start, e.length, p) for e, p in zip(events, hands, strict=True) if p]
    tail = f"<staff>{staff}</staff>" if staff else ""
    voice = f"<voice>{max(staff, 1)}</voice>"
    if not events and meter > 2:  # shorter bars may be pick-ups, whose rests are written out
        return [f'<note><rest measure="yes"/><duration>{meter * Q}</duration>{voice}{tail}</note>']
    pieces = _pieces(events, low, meter)
    beams, shown, out = _beams(pieces), dict[tuple[str, int], int](), list[str]()
    for piece, beam in zip(pieces, beams, strict=True):
        event = piece.event
        name, dots = TYPES[piece.length * 3 // 2 if piece.triplet else piece.length]
        kind = f"<type>{name}</type>" + "<dot/>" * dots
        ratio = "<actual-notes>3</actual-notes><normal-notes>2</normal-notes>"
        ratio = f"<time-modification>{ratio}</time-modification>" if piece.triplet else ""
        ties = [t for t, yes in (("stop", piece.tie_from), ("start", piece.tie_to)) if yes]
        tie = "".join(f'<tie type="{t}"/>' for t in ties)
        edges = (("start", piece.start % Q == 0), ("stop", (piece.start + piece.length) % Q == 0))
        ends = [t for t, yes in edges if yes and piece.triplet]
        tied = "".join(f'<tied type="{t}"/>' for t in ties)
        tuplet = "".join(f'<tuplet type="{t}" number="1"/>' for t in ends)
        if event and event.grace and not piece.tie_from:
            pitch, sign = _pitch(event.grace, inst, fifths, shown, tied=False)
            out.append(f'<note><grace slash="yes"/>{pitch}{voice}<type>eighth</type>{sign}{tail}</note>')
        for n, midi in enumerate(event.pitches if event else (None,)):
            if midi is None:
                pitch, sign = "<rest/>", ""
            elif inst.family == "drums":
                step, octave = ("G", 5) if midi == 1 else ("D", 4)
                pitch = f"<display-step>{step}</display-step><display-octave>{octave}</display-octave>"
                pitch = f"<unpitched>{pitch}</unpitched>"
                sign = "<notehead>x</notehead>"
            else:
                pitch, sign = _pitch(midi, inst, fifths, shown, tied=piece.tie_from)
            sign, head = ("", sign) if "notehead" in sign else (sign, "")
            marks = tied + (tuplet if n == 0 else "")
            out.append(
                f"<note>{'<chord/>' if n else ''}{pitch}<duration>{piece.length}</duration>{tie}"
                f"{voice}{kind}{sign}{ratio}{head}{tail}{'' if n else beam}"
                + (f"<notations>{marks}</notations>" if marks else "")
                + "</note>"
            )
    return out


def _pieces(events: list[Event], low: int, meter: int) -> list[Piece]:
    """Notes and rests that fill the bar, cut where notation needs it."""
    spans: list[tuple[int, int, Event | None]] = []
    at, whole = 0, meter * Q
    for e in events:
        start, stop = max(e.start - low, 0), min(e.stop - low, whole)
        spans += [(at, start, None)] if start > at else []
        spans.append((start, stop, e))
        at = stop
    spans += [(at, whole, None)] if at < whole else []
    triplets = {edge // Q for a, b, _ in spans for edge in (a, b) if edge % Q in (8, 16)}
    out = []
    for start, stop, event in spans:
        cut = event.start + event.cut - low if event and event.cut else -1
        t = start
        while t < stop:
            end = min([stop, *[c for c in (cut, *(b * Q for b in triplets)) if t < c]])
            end = t + _fit(t, end - t, meter, rest=event is None, triplet=t // Q in triplets)
            later = event is not None and event.stop - low > end
            earlier = event is not None and event.start - low < t
            out.append(Piece(t, end - t, event, earlier, later, t // Q in triplets))
            t = end
    return out


def _fit(t: int, room: int, meter: int, *, rest: bool, triplet: bool) -> int:
    """The longest single symbol that may stand at t."""
    if triplet:
        return min(room, Q - t % Q)
    for length in TYPES:
        off = t % Q
        push = off == 12 and length in (24, 36) and not (meter == 4 and t == 36)
        fits = off == 0 or length <= Q - off or push
        if rest:
            fits = length <= Q - off or (length == 48 and t % 48 == 0 and meter != 3)
        if length <= room and fits:
            return length
    raise ValueError(f"no symbol fits {room} ticks at {t}")


def _beams(pieces: list[Piece]) -> list[str]:
    """Eighths and shorter notes of one beat under one beam."""
    out = [""] * len(pieces)
    for beat in {p.start // Q for p in pieces}:
        group = [i for i, p in enumerate(pieces) if p.start // Q == beat]
        flags = [(8,) if pieces[i].triplet else (6, 12, 18) for i in group]
        short = [pieces[i].event is not None and pieces[i].length in f for i, f in zip(group, flags, strict=True)]
        if len(group) > 1 and all(short):
            for i in group:
                word = "begin" if i == group[0] else "end" if i == group[-1] else "continue"
                hook = '<beam number="2">backward hook</beam>' if pieces[i].length == 6 else ""
                out[i] = f'<beam number="1">{word}</beam>{hook}'
    return out


def _spell(midi: int, fifths: int) -> tuple[str, int, int]:
    """Step, alteration and octave, near the key on the line of fifths."""
    place = next(k for k in range(fifths - 4, fifths + 8) if (7 * k - midi) % 12 == 0) + 1
    alter = place // 7
    return "FCGDAEB"[place % 7], alter, (midi - alter) // 12 - 1


def _pitch(midi: int, inst: Instrument, fifths: int, shown: dict[tuple[str, int], int], *, tied: bool) -> tuple[str, str]:
    step, alter, octave = _spell(midi - inst.shift, fifths)
    key = (fifths - "FCGDAEB".index(step) + 6) // 7
    sign = ""
    if not tied and shown.get((step, octave), key) != alter:
        shown[step, octave] = alter
        sign = f"<accidental>{SIGNS[alter]}</accidental>"
    change = f"<alter>{alter}</alter>" if alter else ""
    return f"<pitch><step>{step}</step>{change}<octave>{octave}</octave></pitch>", sign
