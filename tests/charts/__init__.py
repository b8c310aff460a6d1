"""Big-band charts with planted passages, for measuring the finder."""

from __future__ import annotations

from charts.composer import Chart
from charts.truth import Deviation, Other, Passage, Place, Truth
from charts.writing import write_chart

__all__ = ["Deviation", "Other", "Passage", "Place", "Truth", "plant_chart"]


def plant_chart(seed: int, *, deviations: bool = True) -> tuple[bytes, Truth]:
    """A MusicXML 4.0 chart and what is planted in it; the same seed gives the same bytes."""
    chart = Chart(seed, deviations)
    chart.compose()
    return write_chart(chart), chart.truth()
