"""Marking works that nobody here wrote: a sample of what `measure_marking.py` measures on all of
them.

Each is marked twice: the second run inserts nothing, no more is found after marking than before, no
mark stands twice on a chord, and `--section add` takes nothing out. What is gone is counted by lxml
alone.
"""

from __future__ import annotations

import pytest
from outside.measure_marking import CORPUS, measure

# : quartets with bowings and dots that differ, songs with piano chords, voices, a fourteenth-
# century mass: all of the music21 corpus
SAMPLE = (
    "bach/bwv337.mxl",
    "beach/prayer_of_a_tired_child.musicxml",
    "beethoven/opus18no1/movement3.mxl",
    "haydn/opus1no1/movement1.mxl",
    "liliuokalani/aloha_oe.mxl",
    "monteverdi/madrigal.3.2.mxl",
    "monteverdi/madrigal.5.2.mxl",
    "mozart/k155/movement1.mxl",
    "mozart/k458/movement3.mxl",
    "schubert/Lindenbaum.xml",
    "schumann_robert/dichterliebe_no2.xml",
    "trecento/PMFC_24_7-Gloria_Suscipe_trinitas.xml",
)


@pytest.mark.parametrize("name", SAMPLE)
def test_marking_twice_is_marking_once_and_makes_nothing_worse(name: str) -> None:
    row = measure(CORPUS / name)
    assert row.error == ""
    assert row.again == []
    assert row.second == 0
    assert row.after <= row.before
    assert row.doubled == 0


def test_adding_takes_nothing_out() -> None:
    matched, added = (
        measure(CORPUS / "beethoven/opus18no1/movement1.mxl", section=section)
        for section in ("match", "add")
    )
    assert matched.gone > 0
    assert (added.gone, added.gone_signs, added.taken) == (0, 0, [])
    assert added.second == 0
