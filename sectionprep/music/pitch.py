"""Written and sounding pitch. MIDI numbers: 60 is C4, middle C."""

from __future__ import annotations

from dataclasses import dataclass

STEPS = "CDEFGAB"
SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_SIGNS = {0: "", 1: "#", -1: "b", 2: "##", -2: "bb"}


@dataclass(frozen=True, slots=True)
class Pitch:
    """A spelled pitch as it stands in the part. `alter` in semitones (quarter tones are kept as
    floats)."""

    step: str
    alter: float
    octave: int

    @property
    def midi(self) -> int:
        """MIDI number of this pitch; quarter tones round to the nearest semitone."""
        return 12 * (self.octave + 1) + SEMITONES[self.step] + round(self.alter)

    @property
    def diatonic(self) -> int:
        """Counted in scale steps from C0, for intervals and staff positions."""
        return 7 * self.octave + STEPS.index(self.step)

    def __str__(self) -> str:
        whole = round(self.alter)
        return f"{self.step}{_SIGNS.get(whole, '')}{self.octave}"


@dataclass(frozen=True, slots=True)
class Transposition:
    """What to add to the written pitch to get the sounding one (MusicXML 4.0 `<transpose>`)."""

    diatonic: int = 0
    chromatic: int = 0

    def sounding(self, written: Pitch) -> int:
        """MIDI number that sounds when `written` is played."""
        return written.midi + self.chromatic

    def sounding_pitch(self, written: Pitch) -> Pitch:
        """The sounding pitch with its spelling."""
        return _moved(written, self.diatonic, self.chromatic)

    def written_pitch(self, sounding: Pitch) -> Pitch:
        """The pitch to write so that `sounding` is heard: the inverse of `sounding_pitch`."""
        return _moved(sounding, -self.diatonic, -self.chromatic)


CONCERT = Transposition()


def _moved(pitch: Pitch, steps: int, semitones: int) -> Pitch:
    place = pitch.diatonic + steps
    octave, index = divmod(place, 7)
    step = STEPS[index]
    target = 12 * (pitch.octave + 1) + SEMITONES[pitch.step] + pitch.alter + semitones
    return Pitch(step, target - (12 * (octave + 1) + SEMITONES[step]), octave)


_FLAT_NAMES = ("C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B")


def name_of(midi: int) -> str:
    """A plain name for a sounding pitch, as a band says it (flats before sharps): 70 -> "Bb4"."""
    return f"{_FLAT_NAMES[midi % 12]}{midi // 12 - 1}"


def octaves_away(octaves: int) -> str:
    """How far a doubling lies from its line, as players say it: 8va, 8vb, "+2 octaves"."""
    return {1: "8va", -1: "8vb"}.get(octaves, f"{octaves:+d} octaves")
