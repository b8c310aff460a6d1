"""What a check says, and what it is given."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from sectionprep.music.chart import Chart
from sectionprep.music.notes import Tone
from sectionprep.music.section_word import SectionWord
from sectionprep.passages import Passage, Together
from sectionprep.passages.model import Stretches

SEVERITIES = ("error", "warning", "note")
#: what a finding is about, in the order in which it matters to a rehearsal (judgement: what sounds
#: wrong, what stops a player, what a player must be told, how notes end, how they are marked)
MATTERS = {
    "notes": "Notes and rhythms",
    "playing": "Hard or impossible to play",
    "instructions": "Instructions and mutes",
    "releases": "Releases and lengths",
    "marks": "Marks",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One disagreement. severity: error (will sound wrong), warning (will cost rehearsal time),
    note.

    tick: where; part: who; lead: the part it is held against, or -1. places: all ticks a grouped
    finding stands for. fix: what to do, as an order to the person with the pencil. matter: one of
    MATTERS, put in by the runner.
    """

    check: str
    severity: str
    tick: int
    part: int
    message: str
    fix: str
    lead: int = -1
    passage: str = ""
    places: tuple[int, ...] = ()
    matter: str = "marks"


@dataclass(frozen=True, slots=True, kw_only=True)
class Context:
    """What every check may look at. tones: for each part, its tones by onset; words: for each
    passage, by its id, what its parts have printed; apart: where second players on a staff have
    passages of their own."""

    chart: Chart
    together: Together
    tones: tuple[dict[int, Tone], ...]
    words: Mapping[str, SectionWord]
    level: str = "pro"
    apart: Stretches = field(default_factory=dict)

    def name(self, part: int) -> str:
        """A part's name."""
        return self.chart.parts[part].label

    def members(self, passage: Passage) -> Iterator[int]:
        """The parts of a passage other than its lead."""
        return (part for part in passage.parts if part != passage.lead)


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """A check. finds: what each of its findings is called (`Finding.check`) and says; matter: which
    of MATTERS they are about; find: how it looks; guests: it also looks at each guest of a passage,
    with the lead, as at a passage; seconds: it also looks at passages of second players on a staff,
    given the chart as they read it."""

    matter: str
    finds: Mapping[str, str]
    find: Callable[[Context], Iterable[Finding]]
    guests: bool = False
    seconds: bool = False
