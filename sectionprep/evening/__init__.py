"""One running order over the charts of an evening: what to take when, with whom, and why."""

from sectionprep.evening.night import Night, make_evening
from sectionprep.evening.told import write_rehearsed

__all__ = ["Night", "make_evening", "write_rehearsed"]
