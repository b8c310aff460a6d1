"""A line as a rule sees it: each note with its beat, neighbours, contour, rests and phrase."""

from sectionprep.phrasing.view.line import CUT_OFF, LineView
from sectionprep.phrasing.view.looking import felt_beat, view_line
from sectionprep.phrasing.view.silences import END
from sectionprep.phrasing.view.spot import HELD, Spot

__all__ = ["CUT_OFF", "END", "HELD", "LineView", "Spot", "felt_beat", "view_line"]
