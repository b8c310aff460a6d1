"""Proves the engraver's drawing: every note of the part is on the paper, in its bar, in order, and
is read as its pitch.

What must be there comes from the chart as our own reader read it; what is there comes from the
drawing alone (drawn_heads.py). A sheet that is wrong and looks right is the worst that can be
handed to a player.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from sectionprep.drawing.proof.drawn_heads import Drawn, DrawnHead
from sectionprep.music.chart import Chart, Part
from sectionprep.music.in_force import in_force
from sectionprep.music.pitch import SEMITONES, STEPS, Transposition, name_of
from sectionprep.musicxml.copies.cues import Cue, cue_id
from sectionprep.musicxml.copies.part import note_id
from sectionprep.musicxml.copies.slash_bars import SLASH_ID

# how far heads of one moment may stand apart, in halves of a staff space: measured, 3.6 in chords
# of whole notes, 7 where voices meet
_ONE_VOICE = 4.0
_ALL_VOICES = 9.0
# onsets nearer than a quarter note over this are one moment: durations are rounded, and a 128th is
# a 32nd of a quarter
_SAME_TIME = 40


class Head(NamedTuple):
    """A note head that must be on the paper. name: id of its note; onset: ticks; pitch: number of
    the written pitch as printed (60 is C4, quarter tones .5), None where none is read; place:
    scale steps from C0 where the spelling is the file's own, else None; grace: takes no time of
    its own."""

    name: str
    bar: int
    onset: int
    staff: int
    pitch: float | None
    place: int | None
    grace: bool = False


@dataclass(frozen=True, slots=True)
class MustShow:
    """What a sheet must show. quarter: ticks of a quarter note."""

    heads: tuple[Head, ...] = ()
    quarter: int = 1

    def without(self, bars: Collection[int]) -> MustShow:
        """The same but for these bars (indices), for which another stands."""
        return MustShow(tuple(head for head in self.heads if head.bar not in bars), self.quarter)


@dataclass(frozen=True, slots=True)
class Difference:
    """A bar (by index) whose drawing is not what the part says, and what is wrong in it."""

    bar: int
    what: str


@dataclass(frozen=True, slots=True)
class Proved:
    """What came of it. heads: expected and found right; pitches: of these, how many are read as a
    pitch and right; accidentals: of these, how many an accidental alters or makes natural."""

    expected: int
    heads: int
    pitches: int
    accidentals: int
    differences: tuple[Difference, ...]


def heads_of(part: Part, reading: Sequence[tuple[int, Transposition]] = ()) -> tuple[Head, ...]:
    """The heads that a part's sheet must show: all but rests and hidden notes. reading: for a part
    of a concert-pitch score, the transposition that its player reads, from which bar (by index)
    on; the spelling is then ours."""
    found = []
    for note in part.notes:
        if note.is_rest or note.is_hidden:
            continue
        pitch = None if note.is_slash or note.is_unpitched else note.pitch
        number = place = None
        if pitch is not None:
            number = pitch_of(pitch.diatonic, pitch.alter)
            if reading:
                number -= in_force(reading, note.bar, before=reading[0][1]).chromatic
            else:
                place = pitch.diatonic
        found.append(
            Head(
                note_id(note.address),
                note.bar,
                note.onset,
                note.staff,
                number,
                place,
                note.is_grace,
            )
        )
    return tuple(found)


def cue_heads(chart: Chart, cues: Iterable[Cue]) -> list[Head]:
    """The heads of cues: what another part's first voice plays there, as this player reads it."""
    found = []
    for cue in cues:
        source = [part for part in chart.parts if part.id == cue.part_id][cue.occurrence]
        held: tuple[int, int | None] | None = None
        for note in source.notes:
            elsewhere = note.bar != cue.bar or note.voice != "1"
            if elsewhere or note.is_chord or note.is_grace or note.is_cue:
                continue
            over = note.tie_stop and held != (note.onset, note.sounding)  # it is a rest of the cue
            held = (note.end, note.sounding) if note.tie_start and not over else None
            if not over and not note.is_rest and note.sounding is not None:
                pitch = note.sounding + 12 * cue.octaves - cue.target.chromatic
                found.append(Head(cue_id(note.address), note.bar, note.onset, 1, pitch, None))
    return found


def prove(must: MustShow, drawn: Drawn) -> Proved:
    """Compare what must be there with what is there."""
    expected = must.heads
    found: dict[str, list[DrawnHead]] = defaultdict(list)
    for head in drawn.heads:
        found[head.name].append(head)
    wrong: dict[int, list[str]] = defaultdict(list)
    right: set[str] = set()
    pitches = accidentals = 0
    repeated = _repeated(expected, drawn.repeats)
    for want in expected:
        heads = found.pop(want.name, [])
        if not heads and want.bar in repeated:
            right.add(want.name)
            continue
        said = _compare(want, heads)
        if said:
            wrong[want.bar].append(said)
            continue
        right.add(want.name)
        if want.pitch is not None and heads and heads[0].place is not None:
            pitches += 1
            accidentals += heads[0].signed
    for name, heads in found.items():
        if name.startswith(SLASH_ID):
            continue
        wrong[heads[0].bar].append(f"{_says(heads[0])} is drawn that is not in the part")
    for bar, what in _out_of_order(must, drawn):
        wrong[bar].append(what)
    differences = tuple(Difference(bar, "; ".join(_counted(wrong[bar]))) for bar in sorted(wrong))
    return Proved(len(expected), len(right), pitches, accidentals, differences)


def _compare(want: Head, heads: Sequence[DrawnHead]) -> str:
    """What is wrong with one head; nothing if it is right."""
    if not heads:
        return f"{_called(want)} is missing"
    if len(heads) > 1:
        return f"{_called(want)} is drawn {len(heads)} times"
    head = heads[0]
    if head.bar != want.bar:
        return f"{_called(want)} is drawn in another bar"
    if want.pitch is None:
        return ""
    if head.alter is None:
        lacks = "no clef" if head.place is None else "an accidental that cannot be read"
        return f"{_called(want)} has {lacks}"
    if head.place is None:  # tablature and percussion: there is no pitch to be read
        return ""
    read = pitch_of(head.place, head.alter)
    if read != want.pitch or (want.place is not None and head.place != want.place):
        return f"{_called(want)} is read as {_says(head)}"
    return ""


def pitch_of(place: int, alter: float) -> float:
    """Number of a pitch (60 is C4) from its scale step, counted from C0, and alteration in
    semitones."""
    octave, step = divmod(place, 7)
    return 12 * (octave + 1) + SEMITONES[STEPS[step]] + alter


def _repeated(expected: Iterable[Head], signs: frozenset[int]) -> set[int]:
    """Bars under a sign of repetition that hold what the bar before (or the second before) holds:
    their heads need not be drawn."""
    if not signs:
        return set()
    held: dict[int, list[tuple[int, float | None]]] = defaultdict(list)
    for head in expected:
        held[head.bar].append((head.onset, head.pitch))

    def shape(bar: int) -> list[tuple[int, float | None]]:
        notes = held.get(bar, [])
        return [(onset - notes[0][0], pitch) for onset, pitch in notes]

    return {
        bar
        for bar in held
        if (bar in signs or bar - 1 in signs) and shape(bar) in (shape(bar - 1), shape(bar - 2))
    }


def _out_of_order(must: MustShow, drawn: Drawn) -> Iterable[tuple[int, str]]:
    """Bars in which a later note does not stand to the right of an earlier one, or notes that sound
    together stand apart."""
    heads = {head.name: head for head in drawn.heads}
    bars: dict[int, list[tuple[int, DrawnHead]]] = defaultdict(list)
    for want in must.heads:
        head = heads.get(want.name)
        if head is not None and not want.grace and head.bar == want.bar:
            bars[want.bar].append((want.onset, head))
    for bar, places in bars.items():
        if len(places) < 2:
            continue
        places.sort(key=_first)
        wrong = _order_of(places, must.quarter, drawn.half)
        if wrong:
            yield bar, wrong


def _order_of(places: Sequence[tuple[int, DrawnHead]], quarter: int, half: float) -> str:
    """What is wrong with the order of a bar's heads, if anything. On each staff the first head of
    each moment stands to the right of the first one before it, and so does each voice's own;
    another voice's may be pushed aside by what it meets."""
    left: dict[tuple[int, int], float] = {}
    for column in _columns(places, quarter):
        here: dict[tuple[int, int], float] = {}
        for head in column:
            for line in ((head.staff, 0), (head.staff, head.voice)):
                here[line] = min(head.x, here.get(line, head.x))
        if any(x <= left.get(line, float("-inf")) for line, x in here.items()):
            return "notes do not stand in order"
        left |= here
        xs = [head.x for head in column]
        if max(xs) - min(xs) > _ONE_VOICE * half and _apart(column, half):
            return "notes that sound together stand one after the other"
    return ""


def _first(place: tuple[int, DrawnHead]) -> int:
    return place[0]


def _columns(places: Sequence[tuple[int, DrawnHead]], quarter: int) -> list[list[DrawnHead]]:
    """The heads of each moment, in order of time."""
    columns: list[list[DrawnHead]] = []
    since: int | None = None
    for onset, head in places:
        if since is None or (onset - since) * _SAME_TIME >= quarter:
            columns.append([head])
            since = onset
        else:
            columns[-1].append(head)
    return columns


def _apart(column: Sequence[DrawnHead], half: float) -> bool:
    """Whether heads of one moment stand further apart than seconds and other voices explain."""
    voices: dict[int, list[float]] = defaultdict(list)
    for head in column:
        voices[head.voice].append(head.x)
    across = max(head.x for head in column) - min(head.x for head in column)
    return across > _ALL_VOICES * half or any(
        max(xs) - min(xs) > _ONE_VOICE * half for xs in voices.values()
    )


def _called(want: Head) -> str:
    return "a note" if want.pitch is None else f"the note {_name(want.place, want.pitch)}"


def _says(head: DrawnHead) -> str:
    if head.place is None or head.alter is None:
        return "a note"
    return _name(head.place, pitch_of(head.place, head.alter))


_ALTERED = {
    -2.0: "bb",
    -1.5: " three quarters flat",
    -1.0: "b",
    -0.5: " quarter flat",
    0.0: "",
    0.5: " quarter sharp",
    1.0: "#",
    1.5: " three quarters sharp",
    2.0: "##",
}


def _name(place: int | None, pitch: float) -> str:
    if place is None:
        return name_of(round(pitch))
    octave, step = divmod(place, 7)
    return f"{STEPS[step]}{_ALTERED.get(pitch - pitch_of(place, 0.0), '?')}{octave}"


def _counted(said: Sequence[str]) -> list[str]:
    """Each thing once, the first three, and how many more there are."""
    once = list(dict.fromkeys(said))
    return once if len(once) <= 3 else [*once[:3], f"and {len(once) - 3} more"]
