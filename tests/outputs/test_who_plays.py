"""Who a sheet is for, under the name of its part. That an alto reads three sharps more than sound,
a tenor two, a flute none: common practice, no source."""

from __future__ import annotations

from dataclasses import replace

import pytest
from build import chart

from sectionprep.music.instruments import instrument
from sectionprep.music.roster import Seat
from sectionprep.outputs.parts.who_plays import say_key, who_plays


def test_a_name_that_says_it_all_has_nothing_under_it() -> None:
    c = chart({"Alto Sax 1": "C5/1"})
    assert who_plays(c, c.parts[0], None) == ()


def test_the_player_and_the_chair_stand_under_a_name_that_hides_them() -> None:
    c = chart({"Reed 1": "C5/1"})
    chair = replace(c.parts[0].chair, instrument=instrument("alto-sax"), number=1, sure=True)
    part = replace(c.parts[0], chair=chair)
    seat = Seat(part="Reed 1", player="Robin")
    assert who_plays(c, part, seat) == ("Robin", "Alto 1")


def test_a_doubler_reads_the_key_of_each_instrument() -> None:
    """Written in two sharps for an alto: one flat sounds, and the flute reads it."""
    c = chart({"Alto Sax 1": "C5/1"}, fifths=2, transpose=(-5, -9))
    part = c.parts[0]
    own = part.chair.instrument
    part = replace(part, instruments=((0, own), (96, instrument("flute"))))
    assert who_plays(c, part, None) == ("concert: 1 flat; Alto: 2 sharps; Flute: 1 flat",)


@pytest.mark.parametrize(
    ("fifths", "said"),
    [(0, "no accidentals"), (1, "1 sharp"), (-3, "3 flats"), (7, "7 sharps"), (-8, "4 sharps")],
)
def test_keys_in_words(fifths: int, said: str) -> None:
    assert say_key(fifths) == said
