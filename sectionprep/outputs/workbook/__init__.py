"""The rehearsal workbook: written for a director to decide in, and read back without losing a typed
cell."""

from sectionprep.outputs.workbook.decided import (
    copies_of,
    cues_taken_out,
    settled_in,
    to_copy,
    to_decisions,
)
from sectionprep.outputs.workbook.read import Typed, read_typed
from sectionprep.outputs.workbook.write import write_workbook

__all__ = [
    "Typed",
    "copies_of",
    "cues_taken_out",
    "read_typed",
    "settled_in",
    "to_copy",
    "to_decisions",
    "write_workbook",
]
