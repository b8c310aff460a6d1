"""Two reasons that concern the line as a whole: its height, and its breath.

Their sizes come from a count over recorded solos (data outside the repository); here their signs
are held.
"""

from __future__ import annotations

from build import chart

from sectionprep.phrasing.styles import styles
from sectionprep.phrasing.view import LineView, view_line
from sectionprep.phrasing.weights import weights


def _view(line: str) -> LineView:
    c = chart({"Alto Sax 1": line})
    return view_line(c, c.lines[0], styles()["medium-swing"], 0)


def test_a_phrase_that_lies_an_octave_higher_weighs_more() -> None:
    """The same figure low and high, and the rules say nothing: half a unit of the scale apart."""
    view = _view("C4/8 D4/8 E4/8 D4/8 C4/4 r/4 C5/8 D5/8 E5/8 D5/8 C5/4 r/4")
    found = weights(view, [0.0] * len(view.spots), ())
    assert all(high > low for low, high in zip(found[:5], found[5:], strict=True))


def test_the_line_spends_its_breath() -> None:
    """One pitch from first to last, and the rules say nothing: each note is lighter than the one
    before."""
    view = _view("C5/8 C5/8 C5/8 C5/8 C5/8 C5/8 C5/4 r/1")
    found = weights(view, [0.0] * len(view.spots), ())
    assert found == sorted(found, reverse=True)
    assert found[0] > found[-1]


def test_what_is_brought_out_weighs_more_than_its_plain_neighbours() -> None:
    view = _view("C5/8 C5/8 C5/8 C5/8 C5/8 C5/8 C5/4 r/1")
    found = weights(view, [0.0, 0.0, 0.0, 0.0, -2.0, 0.0, 0.0], {4})
    assert found[4] > max(found[3], found[5])
