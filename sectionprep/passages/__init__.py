"""Which parts move together, how, from where to where, and whose line the section follows."""

from sectionprep.passages.finder import find_passages
from sectionprep.passages.model import BarGroup, Deviation, Passage, Together

__all__ = ["BarGroup", "Deviation", "Passage", "Together", "find_passages"]
