"""The sheets as tables: one description that drives writing, printing and reading back.

A row is known by its key, a column by its heading, so rows may be sorted, filtered or deleted and columns
moved; a renamed heading is reported.
"""

from __future__ import annotations

from dataclasses import dataclass

VERSION = 1
KEY = "Row key (leave as it is)"

START, PASSAGES, MARKS, AGREEMENT, REHEARSAL, PARTS, CHANGES_MADE, KEPT, ABOUT = (
    "Start here", "Passages", "Marks", "Agreement", "Rehearsal", "Parts", "Changes", "Kept from before", "about")


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


TAKE, LEAVE, CHANGE = "take it", "leave it", "change it"
DECISIONS = (TAKE, LEAVE, CHANGE)
CHANGES = ("accent", "tenuto", "rooftop accent", "accent, tenuto", "staccato", "ghost", "breath", "fall", "plain")
STATUS = ("open", "settled", "not a fault")
RATINGS = ("1", "2", "3", "4", "5")
TICK = ("x",)

TABLES: dict[str, tuple[Column, ...]] = {
    PASSAGES: (
        Column(heading="Passage", width=9), Column(heading="From", width=13), Column(heading="To", width=13),
        Column(heading="Who", width=26, wrap=True), Column(heading="Texture", width=10),
        Column(heading="Lead", width=15), Column(heading="Why this lead", width=22, wrap=True),
        Column(heading="Voicing or octaves", width=34, wrap=True), Column(heading="Sure", width=7, number=True),
        Column(heading="Comes back from", width=11), Column(heading="Marks", width=8, number=True),
        Column(heading="Findings", width=9, number=True),
    ),
    MARKS: (
        Column(heading="Passage", width=9), Column(heading="Bar", width=6), Column(heading="Beat", width=7),
        Column(heading="Written", width=8), Column(heading="Lead", width=14),
        Column(heading="Planned", width=20, wrap=True), Column(heading="Why", width=44, wrap=True),
        Column(heading="Instead", width=24, wrap=True), Column(heading="Weight", width=7.5, number=True),
        Column(heading="Decision", width=11, is_input=True, choices=DECISIONS),
        Column(heading="Change to", width=17, is_input=True, choices=CHANGES, free=True),
        Column(heading="Your note", width=24, is_input=True, wrap=True), Column(heading=KEY, width=9),
    ),
    AGREEMENT: (
        Column(heading="Severity", width=9), Column(heading="Bar", width=6), Column(heading="Beat", width=7),
        Column(heading="Part", width=16), Column(heading="What", width=52, wrap=True),
        Column(heading="Against", width=14), Column(heading="What to do", width=36, wrap=True),
        Column(heading="After marking", width=12),
        Column(heading="Status", width=11, is_input=True, choices=STATUS),
        Column(heading="Your note", width=24, is_input=True, wrap=True), Column(heading=KEY, width=9),
    ),
    REHEARSAL: (
        Column(heading="Order", width=6.5, number=True), Column(heading="What", width=24, wrap=True),
        Column(heading="Bars", width=15), Column(heading="Chairs", width=26, wrap=True),
        Column(heading="Lead", width=13), Column(heading="Listen for", width=46, wrap=True),
        Column(heading="Tempo steps", width=14), Column(heading="Minutes", width=8.5, number=True),
        Column(heading="Pass 1", width=6.5, is_input=True, choices=TICK),
        Column(heading="Pass 2", width=6.5, is_input=True, choices=TICK),
        Column(heading="Pass 3", width=6.5, is_input=True, choices=TICK),
        Column(heading="Rating 1-5", width=8, is_input=True, choices=RATINGS),
        Column(heading="Your note", width=26, is_input=True, wrap=True), Column(heading=KEY, width=9),
    ),
    CHANGES_MADE: (
        Column(heading="Part", width=16), Column(heading="Bar", width=6), Column(heading="Beat", width=7),
        Column(heading="Kind", width=9), Column(heading="Was", width=22, wrap=True), Column(heading="Is", width=24, wrap=True),
        Column(heading="Why", width=56, wrap=True), Column(heading="Passage", width=9), Column(heading="Written", width=9),
    ),
    PARTS: (
        Column(heading="Part", width=18), Column(heading="Chair", width=15), Column(heading="Pages", width=7, number=True),
        Column(heading="Turns", width=30, wrap=True), Column(heading="Lowest", width=9), Column(heading="Highest", width=9),
        Column(heading="Range", width=30, wrap=True), Column(heading="Marks added", width=9, number=True),
        Column(heading="Copies", width=8, is_input=True, number=True),
        Column(heading="Player", width=20, is_input=True), Column(heading=KEY, width=9),
    ),
}


def inputs_of(sheet: str) -> tuple[Column, ...]:
    """The columns of a sheet that a person fills in."""
    return tuple(column for column in TABLES[sheet] if column.is_input)
