"""The sheets as tables: one description that drives writing, printing and reading back.

A row is known by its key, a column by its heading, so rows may be sorted, filtered or deleted and
columns moved; a renamed heading is reported.
"""

from __future__ import annotations

from dataclasses import dataclass

from sectionprep.outputs.settled import WAYS
from sectionprep.phrasing.readings import OFFERED

VERSION = 1
KEY = "Row key (leave as it is)"

START, PASSAGES, MARKS, OWN, CUES, AGREEMENT, REHEARSAL, HOME, PARTS, CHANGES_MADE, KEPT, ABOUT = (
    "Start here",
    "Passages",
    "Marks",
    "Your own decisions",
    "Rhythm cues",
    "Agreement",
    "Rehearsal",
    "At home",
    "Parts",
    "Changes",
    "Kept from before",
    "about",
)
LINE = "Line from home"
PIN_UP = "Pin-up "  # how sheets to pin up begin
#: rows of the last: copies, and the status of findings, that nobody typed
FILLED, STATUS_FILLED = "filled in", "status filled in"


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column. choices: what the drop-down offers, for input columns. number: holds a number."""

    heading: str
    width: float
    is_input: bool = False
    choices: tuple[str, ...] = ()
    number: bool = False
    wrap: bool = False
    free: bool = False  # a drop-down that also takes other text
    printed: bool = True  # columns that are not stand last, small and clipped


TAKE, LEAVE, CHANGE = "take it", "leave it", "change it"
DECISIONS = (TAKE, LEAVE, CHANGE)
CHANGES = (
    "accent",
    "tenuto",
    "rooftop accent",
    "accent, tenuto",
    "staccato",
    "ghost",
    "breath",
    "fall",
    "plain",
)
#: what can be asked for at any place, as the plan file says it; other words are taken too
ASKED = (
    "accent",
    "tenuto",
    "rooftop accent",
    "staccato",
    "breath",
    "plain",
    "off",
    "mf",
    "f",
    "crescendo",
    "diminuendo",
    "no hairpin",
    "no dynamic",
    "as bar 12",
)
AS_PLANNED = "as planned"
READINGS = tuple(way.name for way in OFFERED)
SHOW, TAKE_OUT = "show", "take out"  # a rhythm cue
COPY = "copy it"  # for instructions that concern parts in which they do not stand
SETTLED = ("settled", *WAYS)
STATUS = ("open", *SETTLED, COPY)
RATINGS = ("1", "2", "3", "4", "5")
TICK = ("x",)

TABLES: dict[str, tuple[Column, ...]] = {
    PASSAGES: (
        Column(heading="Passage", width=8),
        Column(heading="From", width=11),
        Column(heading="To", width=11),
        Column(heading="Who", width=20, wrap=True),
        Column(heading="Texture", width=8),
        Column(heading="Lead", width=12, wrap=True),
        Column(heading="Why this lead", width=19, wrap=True),
        Column(heading="Voicing or octaves", width=27, wrap=True),
        Column(heading="Sure", width=9),
        Column(heading="Comes back from", width=9),
        Column(heading="Marks", width=6.5, number=True),
        Column(heading="Findings", width=8, number=True),
        Column(heading="Reading", width=11, is_input=True, choices=(AS_PLANNED, *READINGS)),
        Column(heading=KEY, width=9, printed=False),
    ),
    OWN: (
        Column(heading="Part", width=18, is_input=True, wrap=True),
        Column(heading="Bar", width=6, is_input=True),
        Column(heading="Beat", width=7, is_input=True),
        Column(heading="To bar", width=7, is_input=True),
        Column(heading="To beat", width=7, is_input=True),
        Column(heading="What", width=20, is_input=True, choices=ASKED, free=True),
        Column(heading="What came of it", width=48, wrap=True),
        Column(heading="Your note", width=24, is_input=True, wrap=True),
        Column(heading=KEY, width=9, printed=False),
    ),
    CUES: (
        Column(heading="Bar", width=6),
        Column(heading="Beats", width=14, wrap=True),
        Column(heading="Who hits", width=14, wrap=True),
        Column(heading="Why shown", width=52, wrap=True),
        Column(heading="Shown to", width=24, wrap=True),
        Column(heading="Decision", width=10, is_input=True, choices=(SHOW, TAKE_OUT)),
        Column(heading="Your note", width=20, is_input=True, wrap=True),
        Column(heading=KEY, width=9, printed=False),
    ),
    MARKS: (
        Column(heading="Passage", width=7.5),
        Column(heading="Bar", width=5),
        Column(heading="Beat", width=6),
        Column(heading="Note", width=6),
        Column(heading="Lead", width=12, wrap=True),
        Column(heading="Planned", width=16, wrap=True),
        Column(heading="Why", width=35, wrap=True),
        Column(heading="Instead", width=17, wrap=True),
        Column(heading="Weight", width=7, number=True),
        Column(heading="Decision", width=9.5, is_input=True, choices=DECISIONS),
        Column(heading="Change to", width=14, is_input=True, choices=CHANGES, free=True),
        Column(heading="Your note", width=17, is_input=True, wrap=True),
        Column(heading=KEY, width=9, printed=False),
    ),
    AGREEMENT: (
        Column(heading="Severity", width=8),
        Column(heading="Bar", width=5),
        Column(heading="Beat", width=6),
        Column(heading="Part", width=18, wrap=True),
        Column(heading="What", width=38, wrap=True),
        Column(heading="Against", width=12, wrap=True),
        Column(heading="What to do", width=28, wrap=True),
        Column(heading="After marking", width=10),
        Column(heading="Status", width=10, is_input=True, choices=STATUS),
        Column(heading="Your note", width=18, is_input=True, wrap=True),
        Column(heading=KEY, width=9, printed=False),
    ),
    REHEARSAL: (
        Column(heading="Order", width=5.5, number=True),
        Column(heading="What", width=18, wrap=True),
        Column(heading="Bars", width=11, wrap=True),
        Column(heading="Chairs", width=18, wrap=True),
        Column(heading="Lead", width=11, wrap=True),
        Column(heading="Why here", width=18, wrap=True),
        Column(heading="Listen for", width=36, wrap=True),
        Column(heading="Tempo steps", width=8, wrap=True),
        Column(heading="Minutes", width=7.5, number=True),
        Column(heading="Pass 1", width=5.5, is_input=True, choices=TICK),
        Column(heading="Pass 2", width=5.5, is_input=True, choices=TICK),
        Column(heading="Pass 3", width=5.5, is_input=True, choices=TICK),
        Column(heading="Rating 1-5", width=6.5, is_input=True, choices=RATINGS),
        Column(heading="Your note", width=18, is_input=True, wrap=True),
        Column(heading=KEY, width=9, printed=False),
    ),
    HOME: (
        Column(heading="Part", width=18, wrap=True),
        Column(heading=LINE, width=44, is_input=True, wrap=True),
        Column(heading="What it says", width=44, wrap=True),
        Column(heading="Your note", width=24, is_input=True, wrap=True),
        Column(heading=KEY, width=9, printed=False),
    ),
    CHANGES_MADE: (
        Column(heading="Bar", width=5),
        Column(heading="Beat", width=6),
        Column(heading="Parts", width=26, wrap=True),
        Column(heading="Kind", width=8),
        Column(heading="Was", width=17, wrap=True),
        Column(heading="Is", width=19, wrap=True),
        Column(heading="Why", width=50, wrap=True),
        Column(heading="Passage", width=8),
        Column(heading="Written", width=8),
        Column(heading="Each part", width=14, printed=False),
    ),
    PARTS: (
        Column(heading="Part", width=16, wrap=True),
        Column(heading="Chair", width=13, wrap=True),
        Column(heading="Pages", width=6.5, number=True),
        Column(heading="Turns", width=26, wrap=True),
        Column(heading="Lowest", width=8),
        Column(heading="Highest", width=8),
        Column(heading="Range", width=26, wrap=True),
        Column(heading="Marks added", width=8, number=True),
        Column(heading="Copies", width=7.5, is_input=True, number=True),
        Column(heading="Player", width=18, is_input=True),
        Column(heading=KEY, width=9, printed=False),
    ),
}


#: sheets that are there only if they have rows
IF_ANY = (CUES,)


def inputs_of(sheet: str) -> tuple[Column, ...]:
    """The columns of a sheet that a person fills in."""
    return tuple(column for column in TABLES[sheet] if column.is_input)
