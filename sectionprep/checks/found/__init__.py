"""All checks. One check, one file; to add a check, add its file and a line in CHECKS."""

from sectionprep.checks.finding import Check
from sectionprep.checks.found import (
    bar_sums,
    dynamics,
    hairpins,
    mutes,
    note_marks,
    ranges,
    releases,
    signs_missing,
    slurs,
    transpositions,
    wrong_notes,
)

CHECKS: tuple[Check, ...] = (
    wrong_notes.CHECK,
    transpositions.CHECK,
    releases.CHECK,
    note_marks.CHECK,
    slurs.CHECK,
    dynamics.CHECK,
    hairpins.CHECK,
    bar_sums.CHECK,
    signs_missing.CHECK,
    ranges.CHECK,
    mutes.CHECK,
)
