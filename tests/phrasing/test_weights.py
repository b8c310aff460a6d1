"""Two reasons that concern the line as a whole: its height, and its breath.

Their sizes come from a count over recorded solos (data outside the repository); here the sizes and
the signs of the fact table are held.
"""

from __future__ import annotations

import math
from collections import defaultdict
from statistics import mean

import pytest
from build import chart
from measure_variety import _BARS, random_line

from sectionprep.phrasing.candidates import Candidate
from sectionprep.phrasing.rules import RULES
from sectionprep.phrasing.styles import styles
from sectionprep.phrasing.view import LineView, view_line
from sectionprep.phrasing.weights import weights


def _view(line: str) -> LineView:
    c = chart({"Alto Sax 1": line})
    return view_line(c, c.lines[0], styles()["medium-swing"], 0)


def _felt(weight: float) -> float:
    """The weight on the scale of its reasons, before it was put between 0 and 1."""
    return math.log(weight / (1 - weight)) / 4 + 0.5


def test_a_phrase_that_lies_an_octave_higher_weighs_more() -> None:
    """The same figure low and high, and the rules say nothing: half a unit of the scale apart."""
    view = _view("C4/8 D4/8 E4/8 D4/8 C4/4 r/4 r/1 C5/8 D5/8 E5/8 D5/8 C5/4 r/4 r/1")
    found = weights(view, [0.0] * len(view.spots), ())
    for low, high in zip(found[:5], found[5:], strict=True):
        assert _felt(high) - _felt(low) == pytest.approx(0.5)


def test_the_line_spends_its_breath() -> None:
    """One pitch from first to last, and the rules say nothing: each note is lighter than the one
    before."""
    view = _view("C5/8 C5/8 C5/8 C5/8 C5/8 C5/8 C5/4 r/1")
    found = weights(view, [0.0] * len(view.spots), ())
    assert found == sorted(found, reverse=True)
    assert _felt(found[0]) - _felt(found[-1]) == pytest.approx(0.2)


def test_a_breath_is_spent_over_short_rests_and_taken_in_long_ones() -> None:
    """A rest of a beat is no time to fill up; two beats are."""
    one = _view("C5/8 C5/8 C5/8 C5/8 C5/4 r/4 C5/8 C5/8 C5/4 r/2")
    found = weights(one, [0.0] * len(one.spots), ())
    assert found == sorted(found, reverse=True)
    two = _view("C5/8 C5/8 C5/8 C5/8 r/2 C5/8 C5/8 C5/4 r/2")
    found = weights(two, [0.0] * len(two.spots), ())
    assert found[4] == found[0] > found[3] == found[6]


def test_the_signs_of_the_fact_table_are_kept() -> None:
    """Weimar Jazz Database, own count (facts, Loudness; height taken out): what the rules add up to
    over random lines has the signs, and the order, that recorded players show."""
    said: dict[str, list[float]] = defaultdict(list)
    for seed in range(500, 540):
        view = _view(random_line(seed, _BARS))
        level = [0.0] * len(view.spots)
        for rule in (rule for rule in RULES if rule.name != "height"):
            for c in rule.propose(view):
                if isinstance(c, Candidate):
                    level[c.spot] += c.weight
        for spot in view.spots:
            if spot.first:
                said["first"].append(level[spot.index])
            elif spot.last:
                said["last"].append(level[spot.index])
            elif spot.triplet:
                said[f"triplet {spot.triplet}"].append(level[spot.index])
            elif spot.is_eighth:
                turn = "top" if spot.is_top else "bottom" if spot.is_bottom else ""
                said[f"{turn} {'on' if spot.on_beat else 'off'}"].append(level[spot.index])
    found = {name: mean(values) for name, values in said.items()}
    assert found["top on"] > found["top off"] > 0
    assert max(found["bottom on"], found["bottom off"]) < 0
    assert found[" on"] > found[" off"]
    assert found["first"] > 0 > found["last"]
    assert found["triplet 1"] > abs(found["triplet 3"])
    assert found["triplet 2"] < 0


def test_what_is_brought_out_weighs_more_than_its_plain_neighbours() -> None:
    view = _view("C5/8 C5/8 C5/8 C5/8 C5/8 C5/8 C5/4 r/1")
    found = weights(view, [0.0, 0.0, 0.0, 0.0, -2.0, 0.0, 0.0], {4})
    assert found[4] > max(found[3], found[5])
