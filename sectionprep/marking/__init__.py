"""Carries the lead's plan to every part of the passage, as edits to the director's own notes."""

from sectionprep.marking.changes import Change, Marking
from sectionprep.marking.desk import SECTION_POLICIES
from sectionprep.marking.marker import mark_chart

__all__ = ["SECTION_POLICIES", "Change", "Marking", "mark_chart"]
