"""One running order over the charts of an evening: what to take when, with whom, and why."""

from sectionprep.evening.charts import Tonight, charts_of, gather
from sectionprep.evening.order import Block, Evening, plan_evening

__all__ = ["Block", "Evening", "Tonight", "charts_of", "gather", "plan_evening"]
