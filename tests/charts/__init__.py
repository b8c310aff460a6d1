"""Big-band charts with planted passages, for measuring the finder.

ordinary  passages, and next to nothing beside them: what is unambiguous by far (`composer`)
dense     everybody else plays lines of their own all the time (`dense`)
shared    the same, with two players on every staff that two can share (`shared`)
"""

from __future__ import annotations

from typing import Literal, get_args

from charts.composer import Chart
from charts.dense import DenseChart
from charts.shared import SharedChart
from charts.truth import Deviation, Join, Other, Passage, Place, Truth
from charts.vocabulary import Rate
from charts.writing import write_chart

__all__ = [
    "KINDS",
    "RATES",
    "Deviation",
    "Join",
    "Other",
    "Passage",
    "Place",
    "Truth",
    "compose",
    "plant_chart",
]

Kind = Literal["ordinary", "dense", "shared"]
KINDS: tuple[Kind, ...] = get_args(Kind)
RATES: tuple[Rate, ...] = get_args(Rate)


def plant_chart(
    seed: int, *, kind: Kind = "ordinary", deviations: bool = True, rate: Rate | None = None
) -> tuple[bytes, Truth]:
    """A MusicXML 4.0 chart and what is planted in it; the same arguments give the same bytes.

    rate: how busy the independent lines of a dense chart are; None lets the seed decide.
    """
    chart = compose(seed, kind=kind, deviations=deviations, rate=rate)
    return write_chart(chart), chart.truth()


def compose(
    seed: int, *, kind: Kind = "ordinary", deviations: bool = True, rate: Rate | None = None
) -> Chart:
    """The composer's desk, all notes of each player on it."""
    chart: Chart
    if kind == "ordinary":
        chart = Chart(seed, deviations)
    else:
        chart = (DenseChart if kind == "dense" else SharedChart)(seed, deviations, rate)
    chart.compose()
    return chart
