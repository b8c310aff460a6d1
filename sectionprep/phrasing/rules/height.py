"""Higher notes carry more weight than the notes around them.

bad:  a line that climbs an octave at one flat level
good: the same line, growing as it climbs and easing as it falls
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.phrasing.candidates import Candidate, Rule
from sectionprep.phrasing.view import LineView

# Decibels per semitone above what lies around it: half measured from the mean of the eight
# neighbours on each side, half
# from the mean of the phrase, because players hear a note in both. The size is the difference
# between raw and
# pitch-adjusted loudness in the project's own computation on the Weimar Jazz Database (fact
# sheet, K).
_PER_SEMITONE = 0.24
_MOST = 9  # semitones: beyond this a note is not heard as still heavier; judgement


def _propose(view: LineView) -> Iterable[Candidate]:
    pitches = [spot.pitch for spot in view.spots]
    means = [sum(pitches[a : b + 1]) / (b + 1 - a) for a, b in view.phrases]
    for n, spot in enumerate(view.spots):
        around = pitches[max(0, n - 8) : n] + pitches[n + 1 : n + 9]
        if around:
            height = max(
                -_MOST,
                min(_MOST, spot.pitch - (sum(around) / len(around) + means[spot.phrase]) / 2),
            )
            why = (
                "the line has risen: it carries by itself"
                if height > 0
                else "the line has come down: lighter"
            )
            yield Candidate(spot=n, weight=_PER_SEMITONE * height, because=why)


RULE = Rule(
    name="height",
    says="the line is louder where it is higher",
    source="D. Berger, Notes on Playing Ellington (dynamics follow contour), from memory; Weimar "
    "Jazz Database, own count",
    limits="gives weight only, never a mark",
    propose=_propose,
)
