"""What stands above the staff is stacked without touching: chords on one line just over the music,
words and signs over them."""

from __future__ import annotations

import pytest

from sectionprep.drawing.scene.ink import Glyph, Ink, InkSpot, Line, System
from sectionprep.drawing.scene.line_extras import line_extras
from sectionprep.drawing.scene.skyline import restack
from sectionprep.drawing.text import fonts

WIDTH = 10000.0


def _number(*ink: Ink) -> tuple[float, float, float, float]:
    """Box of the bar number of a line."""
    (extra,) = line_extras(
        _system(*ink),
        chords={},
        overlays={},
        number="27",
        number_size=300.0,
        syllables={},
        syllable_size=0.0,
    )
    return extra.box


def test_bar_numbers_stand_in_one_place_whatever_the_clef() -> None:
    """Right under the staff behind the clef's tail: a treble clef, here from 90 to 580, ends under
    the staff, and the number would cost the line three millimetres under it. Where a dynamic stands
    in its way it steps down or, with no tail there, to the left; only what fills the place sends it
    to the left edge."""
    fonts.register()
    assert _number()[:2] == pytest.approx((0.0, 1869.0))
    treble, bass = _ink(90, 700, 580, 2100, "clef"), _ink(90, 1000, 580, 1700, "clef")
    assert _number(treble)[:2] == pytest.approx((511.4, 1869.0))
    assert _number(bass)[:2] == pytest.approx((511.4, 1869.0))
    assert _number(treble, _dynamic(900, 2100))[:2] == pytest.approx((511.4, 1869.0))
    assert _number(treble, _dynamic(800, 1880))[:2] == pytest.approx((511.4, 1949.0))
    assert _number(bass, _dynamic(800, 2100))[:2] == pytest.approx((411.4, 1869.0))
    assert _number(treble, _dynamic(800, 2400))[:2] == pytest.approx((0.0, 2169.0))


def test_a_bar_number_keeps_away_from_the_number_under_a_clef() -> None:
    """The "8" of a tenor's clef and bar 14 read as 814."""
    box = (90.0, 700.0, 580.0, 2300.0)
    tenor = Ink(Glyph("E052", 90.0, 1600.0, 0.75), box, ("clef",))
    assert _number(tenor)[0] == pytest.approx(678.0)


def _dynamic(left: float, bottom: float) -> Ink:
    return _ink(left, 1850, left + 300, bottom, "dynam")


def _ink(x0: float, top: float, x1: float, bottom: float, *classes: str, group: str = "") -> Ink:
    box = (x0, top, x1, bottom)
    return Ink(Line(*box, stroke=0.0), box, classes, group=group)


def _system(*ink: Ink, chords: dict[str, float] | None = None) -> System:
    system = System(ink=ink, staff_top=1000, staff_bottom=1800)
    for name, x in (chords or {}).items():
        system.chords[name] = InkSpot(x=x, y=0)
    return system


def test_chords_share_one_line_that_clears_the_highest_note_under_any_of_them() -> None:
    note = _ink(500, 700, 600, 900, "note")
    low = _system(chords={"a": 500, "b": 4000})
    high = _system(note, chords={"a": 500, "b": 4000})
    beside = _system(_ink(2000, 700, 2100, 900, "note"), chords={"a": 500, "b": 4000})
    placed = [restack(line, {"a": "C7", "b": "F7"}, WIDTH) for line in (low, high, beside)]
    assert [{spot.y for spot in line.chords.values()} for line in placed] == [
        {890.0},
        {630.0},
        {890.0},
    ]


@pytest.mark.parametrize("kind", ["tempo", "reh", "dir"])
def test_words_come_down_to_the_staff_and_stay_over_notes_and_chords(kind: str) -> None:
    def word() -> Ink:
        return _ink(500, 0, 900, 100, kind, group="w")

    alone = restack(_system(word()), {}, WIDTH)
    over_note = restack(_system(_ink(600, 600, 700, 900, "note"), word()), {}, WIDTH)
    over_chord = restack(_system(word(), chords={"a": 500}), {"a": "C7"}, WIDTH)
    assert alone.ink[0].box[3] == 940
    assert over_note.ink[1].box[3] == 530
    assert over_chord.ink[0].box[3] < over_chord.chords["a"].y


def test_two_words_over_one_place_do_not_touch_and_keep_their_order() -> None:
    upper, lower = (
        _ink(500, 0, 900, 100, "reh", group="r"),
        _ink(600, 200, 1000, 300, "tempo", group="d"),
    )
    aside = _ink(3000, 100, 3400, 200, "dir", group="e")
    upper, lower, aside = restack(_system(upper, lower, aside), {}, WIDTH).ink
    assert lower.box[3] == 940
    assert upper.box[3] < lower.box[1]
    assert aside.box[3] == 940


def test_words_that_begin_under_a_letter_stand_beside_it() -> None:
    letter = _ink(500, 0, 900, 100, "reh", group="r")
    words = _ink(600, 200, 1000, 300, "dir", group="d")
    letter, words = restack(_system(letter, words), {}, WIDTH).ink
    assert words.box[0] > letter.box[2] + 100
    assert letter.box[3] == words.box[3] == 940


def test_words_under_the_staff_move_below_what_they_touch() -> None:
    hairpin, word = (
        _ink(500, 1900, 1500, 2000, "hairpin"),
        _ink(700, 1950, 1200, 2050, "dir", group="d"),
    )
    hairpin, word = restack(_system(hairpin, word), {}, WIDTH).ink
    assert word.box[1] == 2070
    assert hairpin.box[3] == 2000
