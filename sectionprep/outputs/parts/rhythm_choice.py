"""What the rhythm section is shown of the horns: hits, punches, held syncopations, entries and the
peak of a build; not every note of a soli.

Each note of a large group has points for what makes it worth catching; what has enough of them is
shown, and of a bar that would be too full the strongest. Common practice, no source: a drummer
needs the figures that the band plays together off the beat or loud, and the note before them free.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from operator import attrgetter

from sectionprep.drawing.proof.as_written import Head
from sectionprep.music.chart import Chart, Part
from sectionprep.music.in_force import index_in_force
from sectionprep.music.instruments import BRASS, HORNS, SECTIONS
from sectionprep.music.marks import ATTACKS
from sectionprep.music.notes import Tone
from sectionprep.musicxml.copies.cues import cue_id
from sectionprep.musicxml.copies.rhythm_cues import RhythmCue
from sectionprep.passages import Passage, Together

_LARGE = 4  # horns that make a figure one of the band; judgement
_ENOUGH = 4  # points from which a note is shown; judgement
_STRONG = 6  # and to a player of chords; judgement
_READABLE = 0.28  # seconds between two notes that can still be read in passing; judgement
_ASIDE = 4  # bars without a cue after which it is said again who plays; judgement
_LOUD = frozenset({"f", "ff", "fff", "sfz", "sf", "fp"})
_PRINTED = ("accent", "strong-accent", "staccato", "tenuto")


@dataclass(frozen=True, slots=True, kw_only=True)
class Caught:
    """A note that is shown. tone: of the part whose rhythm is shown; who: plays it, in band terms;
    points: how much speaks for it; why: in a musician's words."""

    part: int
    tone: Tone
    who: str
    points: int
    why: str


def worth_catching(
    chart: Chart, together: Together, without: Collection[str] = ()
) -> tuple[Caught, ...]:
    """All notes that the rhythm section is shown, in order of time. without: printed numbers of
    bars for which the director wants none."""
    best: dict[int, Caught] = {}
    for passage in together.marked:
        horns = [p for p in passage.parts if chart.parts[p].chair.section in HORNS]
        if len(horns) < _LARGE or chart.parts[passage.lead].chair.section not in HORNS:
            continue
        for caught in _of_passage(chart, passage, horns):
            known = best.get(caught.tone.onset)
            if chart.bars[caught.tone.bar].number in without:
                continue
            if known is None or caught.points > known.points:
                best[caught.tone.onset] = caught
    by_bar: dict[int, list[Caught]] = defaultdict(list)
    for tick in sorted(best):
        by_bar[best[tick].tone.bar].append(best[tick])
    return tuple(caught for bar in sorted(by_bar) for caught in _readable(chart, by_bar[bar]))


def _of_passage(chart: Chart, passage: Passage, horns: Sequence[int]) -> Iterable[Caught]:
    line = list(chart.read_by(passage.seconds).between(passage.lead, passage.start, passage.end))
    dynamics = chart.signs(passage.lead, "dynamic")
    ends = [d.onset for d in chart.signs(passage.lead, "wedge") if d.value == "stop"]
    who = _who(chart, horns)
    struck = set(passage.attacks)
    for n, tone in enumerate(line):
        if tone.onset not in struck:
            continue
        before = line[n - 1].end if n else None
        after = line[n + 1].onset if n + 1 < len(line) else None
        at = index_in_force(dynamics, tone.onset, attrgetter("onset"))
        loud = at >= 0 and bool(_LOUD & set(dynamics[at].value.split()))
        points, said = _points(chart, tone, before, after, loud=loud, tutti=who == "tutti")
        if tone.onset in ends:
            points, said = points + 2, [*said, "the peak of a build"]
        if points >= _ENOUGH:
            why = ", ".join(said)
            yield Caught(part=passage.lead, tone=tone, who=who, points=points, why=why)


def _who(chart: Chart, horns: Sequence[int]) -> str:
    """The section, "brass", or "tutti" where every section of horns takes part."""
    sections = {chart.parts[p].chair.section for p in horns}
    everyone = {part.chair.section for part in chart.parts} & HORNS
    if len(sections) == 1:
        return next(iter(sections))
    if sections == everyone:
        return "tutti"
    return "brass" if sections <= BRASS else " + ".join(s for s in SECTIONS if s in sections)


def _points(
    chart: Chart, tone: Tone, before: int | None, after: int | None, *, loud: bool, tutti: bool
) -> tuple[int, list[str]]:
    """What speaks for a note, and in words. before, after: end of the note before, onset of the
    next; None at the ends of the passage."""
    quarter = chart.resolution
    off_beat = (tone.onset - chart.bars[tone.bar].start) % quarter != 0
    accented = bool(tone.marks & ATTACKS - {"ghost", "tenuto"})
    alone = before is None or tone.onset - before >= quarter // 2
    ends = after is None or after - tone.end >= quarter // 2
    reasons = [
        (2, alone and ends, "a punch by itself"),
        (1, accented, "accented"),
        (1, off_beat and (accented or tone.duration >= quarter), "off the beat"),
        (1, off_beat and tone.duration > quarter, "held over the beat"),
        (1, before is None or tone.onset - before >= 2 * quarter, "an entry after a rest"),
        (1, ends and not alone, "the end of a figure"),
        (1, loud, "loud"),
        (1, tutti, "the whole band"),
    ]
    return sum(p for p, holds, _ in reasons if holds), [w for _, holds, w in reasons if holds]


def _readable(chart: Chart, notes: Sequence[Caught]) -> list[Caught]:
    """Of a bar's notes those that can be read in passing, the strongest first."""
    bar = chart.bars[notes[0].tone.bar]
    most = max(2, int(chart.seconds(bar.start, bar.end) / _READABLE) // 2)
    kept = sorted(notes, key=lambda c: -c.points)[:most]
    return sorted(kept, key=lambda c: c.tone.onset)


def rhythm_cues(chart: Chart, part: Part, caught: Sequence[Caught]) -> tuple[RhythmCue, ...]:
    """What one part of the rhythm section is shown: over its bars of slashes alone. A part with
    chord symbols has less room, and its player less need, than a drummer: it gets the strongest
    figures, and is not told who plays them."""
    if part.chair.section != "rhythm":
        return ()
    slashes = slash_bars(part)
    has_chords = any(sign.kind == "chord" for sign in part.directions)
    by_bar: dict[int, list[Caught]] = defaultdict(list)
    for one in caught:
        if one.tone.bar in slashes and one.points >= (_STRONG if has_chords else _ENOUGH):
            by_bar[one.tone.bar].append(one)
    cues: list[RhythmCue] = []
    said = ""
    last = -_ASIDE - 1
    for bar in sorted(by_bar):
        shown = _of_one(by_bar[bar])
        who, source = shown[0].who, chart.parts[shown[0].part]
        new = who != said or bar - last > _ASIDE or bool(chart.bars[bar].rehearsal)
        cues.append(
            RhythmCue(
                bar=bar,
                part_id=source.id,
                occurrence=sum(p.id == source.id for p in chart.parts[: source.index]),
                notes={c.tone.head.address: _marks(c.tone) for c in shown},
                clef=_clef(chart, part, bar),
                words=who if new and not has_chords else "",
                staves=part.staves,
            )
        )
        said, last = who, bar
    return tuple(cues)


@dataclass(frozen=True, slots=True, kw_only=True)
class ShownBar:
    """What is shown of one bar, and to whom: names of parts. notes: in order of time."""

    bar: int
    notes: tuple[Caught, ...]
    to: tuple[str, ...]


def shown_bars(chart: Chart, together: Together) -> tuple[ShownBar, ...]:
    """All bars of which some part of the rhythm section would be shown what the horns hit."""
    caught = worth_catching(chart, together)
    to: dict[int, list[str]] = defaultdict(list)
    for part in chart.parts:
        for cue in rhythm_cues(chart, part, caught):
            to[cue.bar].append(part.label)
    by_bar: dict[int, list[Caught]] = defaultdict(list)
    for one in caught:
        by_bar[one.tone.bar].append(one)
    return tuple(
        ShownBar(bar=bar, notes=tuple(_of_one(by_bar[bar])), to=tuple(to[bar]))
        for bar in sorted(to)
    )


def _of_one(notes: Sequence[Caught]) -> list[Caught]:
    """One part's notes where two groups hit in one bar: of the one with more to say there."""
    points: dict[int, int] = defaultdict(int)
    for note in notes:
        points[note.part] += note.points
    most = max(points, key=lambda part: (points[part], -part))
    return [note for note in notes if note.part == most]


def slash_bars(part: Part) -> frozenset[int]:
    """Bars that hold slashes and nothing else."""
    slashes: Mapping[int, list[bool]] = defaultdict(list)
    for note in part.notes:
        slashes[note.bar].append(note.is_slash)
    return frozenset(bar for bar, kinds in slashes.items() if all(kinds))


def is_mostly_slashes(part: Part) -> bool:
    """True where two bars of three with anything in them hold slashes alone; judgement."""
    filled = {note.bar for note in part.notes if not note.is_rest}
    return bool(filled) and 3 * len(slash_bars(part) & filled) >= 2 * len(filled)


def _marks(tone: Tone) -> tuple[str, ...]:
    return tuple(mark for mark in _PRINTED if mark in tone.marks)


def _clef(chart: Chart, part: Part, bar: int) -> str:
    return part.clef_at(chart.bars[bar].start)


def rhythm_heads(chart: Chart, cues: Sequence[RhythmCue]) -> list[Head]:
    """The heads that such cues put on the paper; they are read as no pitch."""
    found = []
    for cue in cues:
        source = [part for part in chart.parts if part.id == cue.part_id][cue.occurrence]
        for tone in chart.lines[source.index]:
            if tone.head.address in cue.notes:
                found += [
                    Head(cue_id(note.address), note.bar, note.onset, 1, None, None)
                    for note in tone.notes
                    if note.bar == cue.bar
                ]
    return found
