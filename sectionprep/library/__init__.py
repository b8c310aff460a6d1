"""The stages over a whole library of charts: spread over processes, resumable, one bad chart stops
nobody."""

from sectionprep.library.all_charts import book
from sectionprep.library.one_chart import with_what_is_there

__all__ = ["book", "with_what_is_there"]
