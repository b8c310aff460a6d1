"""All checks. One check, one file; to add a check, add its file and a line in CHECKS."""

from sectionprep.checks.finding import Check
from sectionprep.checks.found import (
    bar_sums,
    dynamics,
    endurance,
    fermatas,
    hairpins,
    instrument_changes,
    mutes,
    note_marks,
    ranges,
    releases,
    repeated_under_slur,
    signs_missing,
    slurs,
    spellings,
    ties,
    transpositions,
    voice_crossings,
    wrong_notes,
)

CHECKS: tuple[Check, ...] = (
    wrong_notes.CHECK,
    transpositions.CHECK,
    voice_crossings.CHECK,
    releases.CHECK,
    ties.CHECK,
    fermatas.CHECK,
    note_marks.CHECK,
    slurs.CHECK,
    repeated_under_slur.CHECK,
    dynamics.CHECK,
    hairpins.CHECK,
    bar_sums.CHECK,
    signs_missing.CHECK,
    ranges.CHECK,
    mutes.CHECK,
    instrument_changes.CHECK,
    spellings.CHECK,
    endurance.CHECK,
)
