"""Do lead and section agree? Checks read a chart (the re-read, marked one as well as the
original)."""

from sectionprep.checks.finding import Finding
from sectionprep.checks.runner import all_checks, run_checks

__all__ = ["Finding", "all_checks", "run_checks"]
