"""Which findings a person has settled on the review page, and how: kept beside the plan file,
which has no words for them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

from sectionprep.checks import Finding
from sectionprep.music.chart import Chart
from sectionprep.music.timing import say_beat
from sectionprep.outputs.files import write_file
from sectionprep.settings import read_edited
from sectionprep.version import __version__

NO_FAULT, TELL, REHEARSE = "not a fault", "tell the arranger", "rehearse it"
WAYS = (NO_FAULT, TELL, REHEARSE)


class Settled(NamedTuple):
    """How a finding is settled, and the finding in words."""

    way: str
    says: str


def settled_beside(plan: Path) -> Path:
    """Where the findings stand that were settled with a plan file."""
    return plan.with_name(f"{plan.stem}.findings.json")


def finding_name(chart: Chart, finding: Finding) -> str:
    """By which a finding is known from day to day: what, who and where."""
    place = chart.place(finding.tick)
    part = chart.parts[finding.part].label
    return f"{finding.check} | {part} | {place.bar} {say_beat(place.beat)}"


def finding_words(chart: Chart, finding: Finding) -> str:
    """A finding as it is told to somebody else."""
    place = chart.place(finding.tick)
    part = chart.parts[finding.part].label
    return f"bar {place.bar}, beat {say_beat(place.beat)}, {part}: {finding.message}. {finding.fix}"


def read_settled(path: Path) -> dict[str, Settled]:
    """Settled findings by their names; none where there is no such file or nobody can read it."""
    if not path.exists():
        return {}
    try:
        rows = json.loads(read_edited(path))["settled"]
        found = {str(name): Settled(str(way), str(says)) for name, way, says in rows}
    except (ValueError, KeyError, TypeError, RecursionError):
        return {}
    return {name: settled for name, settled in found.items() if settled.way in WAYS}


def write_settled(path: Path, settled: Mapping[str, Settled]) -> None:
    """Write them, beside and then renamed. Raises DestinationError."""
    rows = [[name, *one] for name, one in settled.items()]
    text = json.dumps({"sectionprep": __version__, "settled": rows}, ensure_ascii=False, indent=1)
    write_file(path, text.encode("utf-8"))


def letter(title: str, settled: Mapping[str, Settled]) -> str:
    """The note to the arranger, to be sent by whatever means; "" where there is nothing to
    tell."""
    said = [one.says for one in settled.values() if one.way == TELL]
    if not said:
        return ""
    lines = [f"- {words}" for words in said]
    return "\n".join([f"{title}: would you look at these places?", "", *lines, ""])
