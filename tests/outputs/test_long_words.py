"""Long words of several lines: the engraver is given them small, and their lines with them."""

from __future__ import annotations

from xml.etree import ElementTree

import pytest

from sectionprep.drawing.text.lettering import SHRUNK, read_lettering

_TEXT = (
    '<text y="1000"><tspan><tspan font-size="{size}px">Da Capo,</tspan><tspan x="0" y="{second}">'
    '<tspan font-size="{size}px">then the Coda.</tspan></tspan></tspan></text>'
)


@pytest.mark.parametrize("shrunk", [1.0, SHRUNK])
def test_two_lines_stand_a_line_apart(shrunk: float) -> None:
    svg = _TEXT.format(size=420 / shrunk, second=1000 + 390 / shrunk)
    lines, _ = read_lettering(ElementTree.fromstring(svg), 0, 1000, bold=False, italic=True)  # type: ignore[arg-type]
    first, second = (line.box for line in lines)
    assert second[1] >= first[1] + 350
    assert lines[1].y == pytest.approx(1390)
