"""The plan: what every note of a lead line carries, and why."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from threading import Lock
from typing import NamedTuple, overload

from sectionprep.music.chart import Chart
from sectionprep.music.marks import SLURS
from sectionprep.music.notes import Tone


class PlannedNote(NamedTuple):
    """One note of the lead's line.

    weight: 0..1, how much it leans in its surroundings. leaned: it is brought out. length: "short"
    or "long", as it is played by who reads the marks and knows the style; empty where nothing was
    planned. marks: all marks the note shall carry (MusicXML names); added: those not printed in the
    lead already. cutoff: tick at which a held note stops, if that is to be written; release: what
    stops it, "tongue" or "breath" (empty where nobody need think of it). tongued: False where the
    note is slurred to in the usual tonguing of its style. lost: why a note with evidence was left
    plain. decided: the director has settled what this note carries; hands_off: nothing is to be
    written there, in no part. offers: other marks that the director may choose, never written
    unasked.
    """

    tone: Tone
    weight: float
    marks: frozenset[str]
    added: frozenset[str]
    why: str
    cutoff: int | None = None
    release: str = ""
    tongued: bool = True
    lost: str = ""
    decided: bool = False
    hands_off: bool = False
    leaned: bool = False
    length: str = ""
    offers: tuple[frozenset[str], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """Another way to phrase a passage, whole: its name, what it is in a musician's words, and every
    note of the line. differs: notes brought out here and not in the plan, or there and not here; 0
    where there is no such way."""

    name: str
    says: str
    notes: tuple[PlannedNote, ...]
    differs: int = 0

    @property
    def leans(self) -> tuple[tuple[int, tuple[str, ...]], ...]:
        """Marks (slurs apart) of the notes brought out, by tick of onset."""
        return tuple((n.tone.onset, tuple(sorted(n.marks - SLURS))) for n in self.notes if n.leaned)


class Later:
    """The readings of many passages, looked for when somebody first asks for those of one: who only
    marks a score never does, and who prepares one has its parts drawn meanwhile. find: gives them,
    of each passage in order."""

    def __init__(self, find: Callable[[], Sequence[tuple[Reading, ...]]]) -> None:
        self._find: Callable[[], Sequence[tuple[Reading, ...]]] | None = find
        self._found: Sequence[tuple[Reading, ...]] = ()
        self._lock = Lock()  # several people look at a review page

    def of(self, n: int) -> tuple[Reading, ...]:
        """Those of one passage."""
        with self._lock:
            if self._find is not None:
                self._found, self._find = self._find(), None
        return self._found[n]


class ReadingsLater(Sequence[Reading]):
    """The readings of one passage out of many that are looked for at once, when first asked for."""

    def __init__(self, later: Later, n: int) -> None:
        self._later, self._n = later, n

    @property
    def found(self) -> tuple[Reading, ...]:
        """The readings themselves."""
        return self._later.of(self._n)

    @overload
    def __getitem__(self, at: int) -> Reading: ...
    @overload
    def __getitem__(self, at: slice) -> tuple[Reading, ...]: ...
    def __getitem__(self, at: int | slice) -> Reading | tuple[Reading, ...]:
        return self.found[at]

    def __len__(self) -> int:
        return len(self.found)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Sequence) and self.found == tuple(other)

    def __hash__(self) -> int:
        return hash(self.found)

    def __repr__(self) -> str:
        return repr(self.found)

    def __reduce__(self) -> tuple[type, tuple[object, ...]]:
        return tuple, (self.found,)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hairpin:
    """A crescendo or diminuendo to be written, from one place to another (ticks; of a proposal,
    onsets of notes). decided: the director asks for it."""

    start: int
    stop: int
    kind: str
    why: str
    decided: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Dynamic:
    """A dynamic proposed where none holds. tick: of the passage's first note; why begins with
    "proposal". All parts of the passage are told, also those that know it. decided: the director
    asks for it, at any note."""

    tick: int
    value: str
    why: str
    decided: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PassagePlan:
    """The plan of one passage. hairpins, dynamics: those to be added to what is printed. phrases:
    (start, end) ticks. cautions: what to watch, in plain words. refused: (tick, "dynamic" or
    "hairpin"): proposals that the director does not want. second: the line is of the second player
    on the part's staff."""

    id: str
    part: int
    notes: tuple[PlannedNote, ...]
    phrases: tuple[tuple[int, int], ...]
    hairpins: tuple[Hairpin, ...] = ()
    dynamics: tuple[Dynamic, ...] = ()
    readings: Sequence[Reading] = ()
    cautions: tuple[str, ...] = ()
    refused: tuple[tuple[int, str], ...] = ()
    second: bool = False

    def line(self, chart: Chart) -> tuple[Tone, ...]:
        """The line that is planned, from end to end of the chart."""
        return self._read(chart).lines[self.part]

    def lead(self, chart: Chart) -> str:
        """The label of who plays it."""
        return self._read(chart).parts[self.part].label

    def _read(self, chart: Chart) -> Chart:
        return chart.read_by(frozenset({self.part})) if self.second else chart


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The plans of all passages (and of short hits) of a chart, in one style. printed: how marks
    printed in the leads were treated: "keep", "prefer" or "ignore". own: what the director has
    decided on notes that a part plays by itself; a plan for each such part."""

    style: str
    style_why: str
    passages: tuple[PassagePlan, ...]
    hits: tuple[PassagePlan, ...] = ()
    printed: str = "keep"
    own: tuple[PassagePlan, ...] = ()

    @property
    def marked(self) -> tuple[PassagePlan, ...]:
        """The plans of passages, of hits that get a mark, and of what parts play by themselves, in
        the order of the music."""
        hits = [
            hit
            for hit in self.hits
            if any(note.marks or note.cutoff is not None for note in hit.notes)
        ]
        return tuple(
            sorted(
                (*self.passages, *hits, *self.own),
                key=lambda plan: plan.notes[0].tone.onset if plan.notes else 0,
            )
        )

    def of(self, passage_id: str) -> PassagePlan | None:
        """The plan of one passage."""
        return next((plan for plan in self.passages + self.hits if plan.id == passage_id), None)
