"""One note in its surroundings."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from sectionprep.music.notes import Tone

HELD = 2  # quarters: a note of a pad, or one whose release is agreed; judgement
_LAST_THIRD = Fraction(2, 3)  # of a beat: the eighth before the next beat of 6/8 and 12/8


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """One note in its surroundings.

    offset: ticks from its bar line. A beat is a quarter whatever the lower number of the metre (a
    dotted quarter in 6/8 and 12/8), and an eighth in a phrase of running sixteenths (`fine`), which
    is phrased like one of eighths. beat: place in the bar, from 1, in these beats. length, before,
    after: of the note and of the silence on either side, in these beats (silence is a large number
    at the ends of the part). quarters: length in quarter notes, whatever the beat. strong: on 1 or
    3, or on 1 alone where the bar has an odd number of beats; `fine`: on any quarter. pushed: it
    begins off the metre's beat and sounds over the next one. compound: the metre's beat has three
    parts. rise: semitones from the note before; ahead: semitones to the note after (0 at the ends).
    triplet: 1, 2, 3 inside a triplet, else 0. slur: "first", "inside" or "last" note of a printed
    slur, else "". on_beat: on a felt beat. off_beat: half way between two felt beats; of a beat in
    three parts, on the last of them. is_top: the line rises to this note and falls after it, inside
    one phrase; is_bottom: it falls to it and rises after it. is_eighth: half a beat long, or
    shorter: a note of a running line.
    """

    index: int
    tone: Tone
    offset: int
    beat: Fraction
    length: float
    before: float
    after: float
    rise: int
    ahead: int
    triplet: int
    phrase: int
    first: bool
    last: bool
    quarters: float = 1.0
    strong: bool = False
    pushed: bool = False
    fine: bool = False
    compound: bool = False
    slur: str = ""
    on_beat: bool = field(init=False)
    off_beat: bool = field(init=False)
    is_top: bool = field(init=False)
    is_bottom: bool = field(init=False)
    is_eighth: bool = field(init=False)

    def __post_init__(self) -> None:
        """Note what every rule asks of every note."""
        parts, inside = self.beat.denominator, not self.first and not self.last
        last_of_three = self.compound and self.beat % 1 == _LAST_THIRD
        note = object.__setattr__
        note(self, "on_beat", parts == 1)
        note(self, "off_beat", parts == 2 or last_of_three)
        note(self, "is_top", inside and self.rise > 0 > self.ahead)
        note(self, "is_bottom", inside and self.rise < 0 < self.ahead)
        note(self, "is_eighth", self.length <= 0.5)

    @property
    def off_pulse(self) -> bool:
        """Off the metre's own beat: among running sixteenths, any place but the quarter."""
        return not self.strong if self.fine else self.off_beat or self.beat.denominator == 4

    @property
    def is_quarter(self) -> bool:
        """One felt beat long, and not counted in eighths: the note whose length the style
        decides."""
        return not self.fine and not self.compound and abs(self.quarters - 1) < 0.01

    @property
    def is_held(self) -> bool:
        """Two quarters long or longer: a note of a pad, one that stops at an agreed place."""
        return self.quarters >= HELD

    @property
    def pitch(self) -> int:
        """Sounding MIDI number."""
        return self.tone.pitch

    @property
    def turns(self) -> bool:
        """The line changes direction here."""
        return self.is_top or self.is_bottom
