"""The desk on which a chart is marked: where edits and changes gather, and what may be taken out.

A printed mark is taken out of a part only if all of these hold (policy "match"):
- the finder is sure of the passage (SURE);
- the part is a full member at that note: it strikes with the lead, for the same length, and neither
  slips;
- most of the passage's parts agree with the lead that it should not be there.
Breaths and ornaments belong to their player and always stay. What the director has decided for a
note goes before all this.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field

from sectionprep.marking.changes import Change
from sectionprep.music.chart import Chart, Part
from sectionprep.music.hairpins import Pins, pins_of
from sectionprep.music.lines import second_players
from sectionprep.music.notes import Direction, Note, Tone
from sectionprep.music.section_word import SectionWord
from sectionprep.music.spans import Pair, Spans
from sectionprep.musicxml.editing.note_text import NoteEdit
from sectionprep.passages import Passage
from sectionprep.passages.model import SURE, Stretches
from sectionprep.phrasing import PassagePlan

SECTION_POLICIES = ("match", "add", "report")


@dataclass(slots=True, kw_only=True)
class Desk:
    """The work on one chart. overrules: the director has asked that marks printed in the lead give
    way to the plan; apart: where second players on a staff have passages of their own; asked: the
    hairpins that the director wants in each part; tongued: (part, tick) from which he wants no
    slur."""

    chart: Chart
    policy: str
    overrules: bool = False
    apart: Stretches = field(default_factory=dict)
    asked: dict[int, Pins] = field(default_factory=lambda: defaultdict(Pins))
    tongued: set[tuple[int, int]] = field(default_factory=set)
    edits: dict[int, NoteEdit] = field(default_factory=lambda: defaultdict(NoteEdit))
    dropped: set[int] = field(default_factory=set)
    changes: list[Change] = field(default_factory=list)
    tones: list[dict[int, Tone]] = field(default_factory=list)
    seconds: dict[int, dict[int, Tone]] = field(default_factory=dict)
    chords: dict[int, tuple[int, int]] = field(default_factory=dict)
    marks_on_last: bool = False
    spoken: dict[str, set[tuple[int, int]]] = field(default_factory=lambda: defaultdict(set))
    slurred: dict[int, list[tuple[int, int]]] = field(default_factory=lambda: defaultdict(list))
    numbered: dict[int, tuple[Spans, dict[Pair, set[int]]]] = field(default_factory=dict)
    _pins: dict[int, Pins] = field(default_factory=dict)
    _second_tones: dict[int, dict[int, Tone]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.tones = [{tone.onset: tone for tone in line} for line in self.chart.lines]
        self.seconds = second_players(self.chart)
        on_first = on_last = 0
        for part in self.chart.parts:
            for chord in chords_of(part):
                ends = chord[0].address, chord[-1].address
                self.chords.update(dict.fromkeys((note.address for note in chord), ends))
                carrying = [note.address for note in chord if note.marks]
                on_first += carrying == [ends[0]]
                on_last += carrying == [ends[1]]
        self.marks_on_last = on_last > on_first

    def tones_of(self, part: int, *, second: bool) -> dict[int, Tone]:
        """The tones of a part by onset, or those of the second player on its staff."""
        if not second:
            return self.tones[part]
        if part not in self._second_tones:
            line = self.chart.second_lines.get(part, ())
            self._second_tones[part] = {tone.onset: tone for tone in line}
        return self._second_tones[part]

    @property
    def writes(self) -> bool:
        """False under policy "report"."""
        return self.policy != "report"

    def carrier(self, tone: Tone, note: Note) -> int:
        """Where marks for a note of a tone go: of a chord, to the first or the last member, as the
        file itself does it."""
        members = [member.address for member in tone.chord if member.onset == note.onset]
        return members[-1 if self.marks_on_last else 0]

    def front(self, note: Note) -> int:
        """Before which note a sign goes that stands at this one: nothing may stand inside a
        chord."""
        return self.chords.get(note.address, (note.address, 0))[0]

    def back(self, note: Note) -> int:
        """After which note a sign goes that stands at the end of this one."""
        return self.chords.get(note.address, (0, note.address))[1]

    def pins(self, part: int) -> Pins:
        """All printed hairpins of a part."""
        if part not in self._pins:
            self._pins[part] = Pins(pins_of(self.chart.signs(part, "wedge")))
        return self._pins[part]

    def first_to_speak(self, kind: str, part: int, place: int) -> bool:
        """True for the first passage that writes this kind of thing here: a passage and a hit may
        share a note. place: a tick, or a note's address."""
        known = (part, place) in self.spoken[kind]
        self.spoken[kind].add((part, place))
        return not known

    def log(
        self,
        part: int,
        tick: int,
        kind: str,
        was: str,
        now: str,
        why: str,
        passage: str,
        *,
        address: int = -1,
        taken: str = "",
        applied: bool | None = None,
    ) -> None:
        """Add a line to the change list."""
        self.changes.append(
            Change(
                part=part,
                tick=tick,
                kind=kind,
                was=was,
                now=now,
                why=why,
                passage=passage,
                address=address,
                taken=taken,
                applied=self.writes if applied is None else applied,
            )
        )

    def drop(self, signs: Iterable[Direction]) -> None:
        """Take signs between the notes out."""
        if self.writes:
            self.dropped.update(sign.address for sign in signs)


@dataclass(slots=True, kw_only=True)
class Job:
    """One part of one passage on the desk."""

    desk: Desk
    passage: Passage
    planned: PassagePlan
    word: SectionWord
    part: int

    @property
    def is_lead(self) -> bool:
        """The part that the passage follows."""
        return self.part == self.passage.lead

    @property
    def chart(self) -> Chart:
        """The chart as the passage reads it: with the lines of second players, where they play."""
        return self.word.chart

    @property
    def lead_name(self) -> str:
        """The lead's name."""
        return self.chart.parts[self.passage.lead].label

    @property
    def tones(self) -> dict[int, Tone]:
        """All tones of the part by onset."""
        return self.desk.tones_of(self.part, second=self.part in self.passage.seconds)

    def may_go(self, *, outvoted: bool, decided: bool = False, member: bool = False) -> bool:
        """Whether something printed may be taken out. outvoted: most of the parts agree with the
        lead against it; decided: the director has said what this note shall carry; member: the part
        is a full member here."""
        if decided:
            return True
        if self.desk.policy == "add" or self.passage.confidence < SURE:
            return False
        return outvoted or (self.desk.overrules and member)

    def log(
        self,
        tick: int,
        kind: str,
        was: str,
        now: str,
        why: str,
        *,
        address: int = -1,
        taken: str = "",
        applied: bool | None = None,
    ) -> None:
        """Add a line to the change list."""
        self.desk.log(
            self.part,
            tick,
            kind,
            was,
            now,
            why,
            self.passage.id,
            address=address,
            taken=taken,
            applied=applied,
        )


def removable(signs: Iterable[Direction]) -> bool:
    """Signs that stand in elements of their own, so that nothing else goes with them."""
    return all(sign.alone and sign.address >= 0 for sign in signs)


def chords_of(part: Part) -> list[list[Note]]:
    """The chords of a part, each with its notes in the order of the document."""
    found: list[list[Note]] = []
    for note in part.notes:
        if note.is_chord and found:
            found[-1].append(note)
        else:
            found.append([note])
    return [chord for chord in found if len(chord) > 1]
