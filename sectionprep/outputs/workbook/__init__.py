"""The rehearsal workbook: written for a director to decide in, and read back without losing a typed
cell."""

from sectionprep.outputs.workbook.read import (
    Typed,
    copies_of,
    read_typed,
    settled_in,
    to_directives,
)
from sectionprep.outputs.workbook.write import write_workbook

__all__ = ["Typed", "copies_of", "read_typed", "settled_in", "to_directives", "write_workbook"]
