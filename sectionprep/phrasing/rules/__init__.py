"""All rules. One rule, one file, one source; to add a rule, add its file and a line in RULES."""

from sectionprep.phrasing.candidates import Rule
from sectionprep.phrasing.rules import (
    beat_quarter,
    chord_landing,
    clipped_eighth,
    ending,
    goal,
    hairpin,
    height,
    held_note,
    leap_up,
    low_note,
    off_beat_quarter,
    opening,
    pulse,
    repeated_note,
    restart,
    top_of_rise,
    triplet,
    turning_note,
)

RULES: tuple[Rule, ...] = (
    height.RULE,
    top_of_rise.RULE,
    leap_up.RULE,
    turning_note.RULE,
    low_note.RULE,
    off_beat_quarter.RULE,
    beat_quarter.RULE,
    triplet.RULE,
    goal.RULE,
    restart.RULE,
    ending.RULE,
    opening.RULE,
    pulse.RULE,
    clipped_eighth.RULE,
    held_note.RULE,
    repeated_note.RULE,
    chord_landing.RULE,
    hairpin.RULE,
)
