"""Signs that touch step aside by as little as clears them, and nothing else moves (E. Gould, Behind
Bars, from memory: dynamics and words keep clear of slurs, notes and each other)."""

from __future__ import annotations

import pytest

from sectionprep.drawing.scene.ink import Curve, Glyph, Ink, Polygon, Text
from sectionprep.drawing.scene.nudging import step_aside
from sectionprep.drawing.text.lettering import TextRun

NEAR = 50.0  # half a millimetre between what is read sign by sign


def _glyph(kind: str, left: float, top: float, owner: str, size: float = 300.0) -> Ink:
    shape = Glyph("E520", left, top + size, 1.0)
    return Ink(shape, (left, top, left + size, top + size), (kind,), owner)


def _words(left: float, top: float, kind: str = "dir") -> Ink:
    shape = Text(left, top + 300, (TextRun("poco", "text", 300),))
    return Ink(shape, (left, top, left + 800, top + 360), (kind,), "", f"{kind} {left}")


def _slur(left: float, right: float, ends: float, middle: float) -> Ink:
    third = (right - left) / 3
    outer = ((left + third, middle), (right - third, middle), (right, ends))
    inner = ((right - third, middle + 20), (left + third, middle + 20), (left, ends))
    segments = (("moveTo", ((left, ends),)), ("curveTo", outer), ("curveTo", inner))
    top = min(ends, middle)
    return Ink(Curve(segments, 0.0, True), (left, top, right, max(ends, middle) + 20), ("slur",))


def _white(a: Ink, b: Ink) -> float:
    aside = max(a.box[0], b.box[0]) - min(a.box[2], b.box[2])
    below = max(a.box[1], b.box[1]) - min(a.box[3], b.box[3])
    return max(aside, below)


@pytest.mark.parametrize(
    ("mover", "other"),
    [
        (_words(1000, 2000), _glyph("dynam", 1000, 2370, "d1")),
        (_glyph("dynam", 1000, 2000, "d1"), _glyph("syl", 1050, 2310, "s1")),
        (_words(1000, 2000, "tempo"), _glyph("dynam", 1810, 2100, "d1")),
        (_glyph("dynam", 1000, 2000, "d1"), _glyph("dynam", 1100, 2150, "d2")),
    ],
    ids=["words and dynamic", "dynamic and lyric", "tempo and dynamic", "two dynamics"],
)
def test_what_is_read_gets_half_a_millimetre(mover: Ink, other: Ink) -> None:
    inks = [mover, other]
    assert _white(*inks) < NEAR
    step_aside(inks)
    assert _white(*inks) >= NEAR


def test_a_tuplets_number_leaves_the_slur() -> None:
    slur, number = _slur(1000, 4000, 2000, 1500), _glyph("tupletNum", 1050, 1750, "", 200)
    inks = [slur, number]
    step_aside(inks)
    assert inks[0] == slur
    assert inks[1].box != number.box
    assert abs(inks[1].box[0] - number.box[0]) <= 120


def test_a_dynamic_that_only_touches_a_slur_leaves_it() -> None:
    """A slur's lowest stretch is as thin as its line: six hundredths of it inside the dynamic's box
    are a dynamic on a slur."""
    slur, loud = _slur(1000, 4000, 1500, 2000), _glyph("dynam", 2400, 1869, "d1")
    lowest = 1500 + 0.75 * 500  # of a curve with such handles
    assert loud.box[1] == lowest - 6
    inks = [slur, loud]
    step_aside(inks)
    assert inks[1].box[1] > lowest


def test_two_soft_notes_side_by_side_are_not_twice_as_soft() -> None:
    """Found in a quartet's score: "p" right beside the "p" of another note was read as "pp"."""
    inks = [_glyph("dynam", 1000, 2000, "d1"), _glyph("dynam", 1304, 2000, "d2")]
    step_aside(inks)
    assert _white(*inks) >= NEAR
    loud = inks[1]._replace(shape=Glyph("E536", 1304, 2300, 1.0), box=(1304, 2000, 1604, 2300))
    one = [_glyph("dynam", 1000, 2000, "d1"), loud]
    step_aside(one)
    assert one[1] == loud  # "sf p" is one sign


def test_it_goes_no_farther_than_it_must() -> None:
    inks = [_glyph("dynam", 1000, 2000, "d1"), _glyph("syl", 1050, 2330, "s1")]
    step_aside(inks)
    assert inks[0].box[1] == 1960  # 30 of white; 20 more would leave 50, of 52
    assert inks[0].box[0] == 1000


def test_a_chord_symbol_is_in_the_way_and_the_line_has_an_end() -> None:
    inks = [_words(1000, 2000, "tempo"), _glyph("dynam", 1000, 2370, "d1")]
    step_aside(inks, fixed=[(900, 1000, 1900, 1945)], edge=1800)
    assert inks[0].box[1] >= 1945 + NEAR or inks[1].box[1] > 2370
    assert inks[0].box[2] <= 1800
    assert _white(*inks) >= NEAR


def test_words_leave_the_staff_and_a_letters_frame_may_reach_into_it() -> None:
    staff = (0.0, 1000.0, 9000.0, 1750.0)
    inks = [_words(1000, 1650, "tempo"), _words(4000, 1650, "reh")]
    letter = inks[1]
    step_aside(inks, staves=[staff])
    assert inks[0].box[1] >= 1750 - 10
    assert inks[1] == letter


def test_a_hairpin_leaves_a_slur_and_keeps_its_moment() -> None:
    points = ((1800.0, 1980.0), (1200.0, 2050.0), (1800.0, 2120.0))
    hairpin = Ink(Polygon(points, False, 10.0, False), (1200, 1980, 1800, 2120), ("hairpin",), "h1")
    slur = _slur(1000, 4000, 1900, 2300)
    inks = [hairpin, slur]
    step_aside(inks)
    assert inks[0].box[1] != 1980
    assert (inks[0].box[0], inks[0].box[2]) == (1200, 1800)


def test_what_is_clear_stays_to_the_hundredth() -> None:
    inks = [
        _words(1000, 2000),
        _glyph("dynam", 1900, 2000, "d1"),
        _glyph("notehead", 1000, 2370, "n1"),
        _glyph("dynam", 1000, 3000, "d2"),
        _slur(1000, 4000, 1900, 1500),
    ]
    before = list(inks)
    step_aside(inks)
    assert inks == before


def test_where_there_is_no_room_a_sign_stays() -> None:
    wall = [(0.0, 0.0, 9000.0, 9000.0)]
    inks = [_glyph("dynam", 1000, 2000, "d1"), _glyph("syl", 1050, 2310, "s1")]
    before = list(inks)
    step_aside(inks, fixed=wall)
    assert inks == before


def test_a_tuplets_number_leaves_the_heads_and_stems_under_a_beam() -> None:
    """Only the beam itself may be touched by its number."""
    number = _glyph("tupletNum", 1000, 1000, "", 200)
    stem = _glyph("beam", 1080, 1100, "n1", 300)._replace(classes=("beam", "note", "stem"))
    inks = [number, stem]
    step_aside(inks)
    assert _white(*inks) >= -10
    beam = stem._replace(classes=("beam",))
    inks = [number, beam]
    step_aside(inks)
    assert inks == [number, beam]


def test_a_breath_leaves_the_slur_and_wide_dynamics_leave_each_other() -> None:
    breath, slur = _glyph("breath", 3800, 1900, "b1", 150), _slur(1000, 4000, 2000, 1500)
    inks = [breath, slur]
    step_aside(inks)
    assert inks[0] != breath
    first, second = (_glyph("dynam", 1000 + n, 1000, f"d{n}", 500) for n in (0, 170))
    inks = [first, second]
    step_aside(inks)
    assert _white(*inks) >= NEAR
