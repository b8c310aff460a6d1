"""From a right but flat line to one with direction: rules propose with reasons, a chooser decides,
a plan records."""

from sectionprep.phrasing.plan import PassagePlan, Plan, PlannedNote
from sectionprep.phrasing.planner import PRINTED, plan_line, plan_passages

__all__ = ["PRINTED", "PassagePlan", "Plan", "PlannedNote", "plan_line", "plan_passages"]
