"""Dynamics, hairpins and words under the staff, and articulations at ties, keep clear of each other
where the engraver lets them touch (E. Gould, Behind Bars, from memory: dynamics interrupt
hairpins)."""

from __future__ import annotations

import pytest

from sectionprep.drawing.scene.articulations import clear_bodies, clear_ties
from sectionprep.drawing.scene.ink import Curve, Glyph, Ink, Polygon, System, Text
from sectionprep.drawing.scene.skyline import restack, set_apart
from sectionprep.drawing.scene.under_staff import CLEAR
from sectionprep.drawing.text.lettering import TextRun

WIDTH = 10000.0


def _dynamic(left: float, right: float, top: float = 2000, owner: str = "") -> Ink:
    glyph = Glyph("E520", left, top + 200, 1.0)
    return Ink(glyph, (left, top, right, top + 300), ("dynam",), owner or f"d{left}")


def _hairpin(left: float, right: float) -> Ink:
    points = ((right, 2050.0), (left, 2150.0), (right, 2250.0))
    return Ink(Polygon(points, False, 10.0, False), (left, 2050, right, 2250), ("hairpin",))


def _restacked(*inks: Ink) -> tuple[Ink, ...]:
    return restack(System(ink=inks, staff_top=1000, staff_bottom=1800), {}, WIDTH).ink


def test_dynamics_of_one_moment_read_as_one() -> None:
    """The engraver sets "sf" and "p" of one note under each other."""
    first, second = _restacked(_dynamic(500, 800), _dynamic(520, 700, top=2200))
    assert 0 < second.box[0] - first.box[2] < CLEAR
    assert first.box[3] == second.box[3]


def test_dynamics_of_two_moments_move_apart() -> None:
    first, second = _restacked(_dynamic(500, 800), _dynamic(780, 1000))
    assert second.box[0] - first.box[2] >= CLEAR
    assert first.box[0] < 500
    assert second.box[0] > 780


def test_what_is_clear_stays() -> None:
    inks = (_dynamic(500, 800), _dynamic(1000, 1200), _hairpin(1400, 2000))
    assert _restacked(*inks) == inks


def test_a_hairpin_ends_before_the_dynamic_it_leads_to() -> None:
    hairpin, _ = _restacked(_hairpin(1000, 2000), _dynamic(1950, 2200))
    assert hairpin.box[2] == 1950 - CLEAR
    assert isinstance(hairpin.shape, Polygon)
    assert max(x for x, _ in hairpin.shape.points) == hairpin.box[2]
    assert hairpin.box[0] == 1000


def test_a_hairpin_begins_behind_the_dynamic_it_comes_from() -> None:
    _, hairpin = _restacked(_dynamic(900, 1100), _hairpin(1000, 2000))
    assert (hairpin.box[0], hairpin.box[2]) == (1100 + CLEAR, 2000)


def test_words_behind_a_dynamic_keep_their_distance_on_its_line() -> None:
    text = Text(810.0, 2250.0, (TextRun("dolce", "sectionprep-text-italic", 300.0),))
    words = Ink(text, (810, 2050, 1300, 2260), ("dir",), group="w")
    _, moved = _restacked(_dynamic(500, 800), words)
    assert moved.box[0] == 800 + CLEAR
    assert moved.box[1] == 2050


def test_an_articulation_stands_outside_the_tie() -> None:
    curve = Curve(
        (
            ("moveTo", ((1000.0, 500.0),)),
            ("curveTo", ((1200.0, 380.0), (1800.0, 380.0), (2000.0, 500.0))),
        ),
        10.0,
        True,
    )
    tie = Ink(curve, (1000, 400, 2000, 500), ("tie",))
    tenuto = Ink(Glyph("E4A4", 1100, 460, 1.0), (1100, 430, 1300, 470), ("artic",))
    aside = tenuto.moved(0.0, 2000.0)
    inks = [tie, tenuto, aside]
    line = System(ink=tuple(inks), staff_top=600.0, staff_bottom=1350.0)
    clear_ties(inks)
    assert inks[1].box[3] < 450
    assert inks[2] == aside
    assert set_apart(line).ink == tuple(inks)  # so it is on the director's pages


def test_a_tenuto_that_a_ties_end_grazes_leaves_it() -> None:
    """It is thinner than what two boxes may share."""
    third = ((1050.0, 60.0), (1150.0, 60.0), (1200.0, 160.0))
    curve = Curve((("moveTo", ((1000.0, 160.0),)), ("curveTo", third)), 10.0, True)
    tie = Ink(curve, (1000, 60, 1200, 160), ("tie",))
    tenuto = Ink(Glyph("E4A4", 860, 154, 1.0), (860, 138, 1008, 154), ("artic",))
    inks = [tie, tenuto]
    clear_ties(inks)
    assert inks[1].box[3] < 138


@pytest.mark.parametrize(("top", "way"), [(100.0, "up"), (190.0, "down")])
def test_an_articulation_stands_off_a_slanted_beam(top: float, way: str) -> None:
    """A beam that rises from 300 to 100, and strong accents on its right end, over a low head and
    under a high one; one that only stands within the beam's box, over its low end, stays."""
    points = ((1000.0, 300.0), (2000.0, 100.0), (2000.0, 200.0), (1000.0, 400.0))
    beam = Ink(Polygon(points, True, 0.0, True), (1000, 100, 2000, 400), ("note", "beam"))
    accent = Ink(Glyph("E4AC", 1800, top, 1.0), (1750, top, 1950, top + 60), ("artic",), "own")
    head = Ink(Glyph("E0A4", 1800, 0, 1.0), (1800, 0, 1900, 80), ("notehead",), "own")
    clear = Ink(Glyph("E4AC", 1020, 110, 1.0), (1020, 110, 1220, 170), ("artic",))
    inks = [beam, accent, clear, head.moved(700.0 if way == "up" else -700.0)]
    clear_bodies(inks)
    assert inks[2] == clear
    if way == "up":
        assert inks[1].box[3] < 100
    else:
        assert inks[1].box[1] > 250


def test_an_articulation_stands_off_the_head_of_the_other_player_on_its_staff() -> None:
    """An accent over its own note, on the head of a note of the upper voice."""
    accent = Ink(Glyph("E4A0", 1000, 460, 1.0), (1000, 400, 1120, 460), ("artic",), "low")
    low = Ink(Glyph("E0A4", 1000, 550, 1.0), (1000, 500, 1110, 600), ("notehead",), "low")
    high = Ink(Glyph("E0A4", 1000, 430, 1.0), (1000, 380, 1110, 480), ("notehead",), "high")
    inks = [accent, low, high]
    clear_bodies(inks)
    assert inks[0].box[3] < 380
    assert inks[1:] == [low, high]
