"""Which staff shows a part in the director's pages: its pitch and clef."""

from __future__ import annotations

from sectionprep.music.chart import Chart, Part
from sectionprep.music.in_force import in_force
from sectionprep.music.pitch import CONCERT, Transposition
from sectionprep.musicxml.copies.excerpt import Pick

# mean sounding MIDI number of a part's notes: below the B under middle C a bass clef suits it;
# judgement
_BASS_CLEF_BELOW = 59


def mean_pitch(chart: Chart, part: int, start: int, end: int) -> float:
    """Mean sounding MIDI number of the notes of a part that begin in [start, end), 0 where there is
    none."""
    tones = chart.between(part, start, end)
    return sum(tone.pitch for tone in tones) / max(len(tones), 1)


def read_at(chart: Chart, part: Part, tick: int) -> Transposition:
    """What the player of a part reads at a tick; a concert-pitch score is printed transposed."""
    if not chart.concert:
        return part.transposition_at(tick)
    held = part.instrument_at(tick).transposition
    return held if part.chair.sure and held.chromatic % 12 else CONCERT


def clef_at(part: Part, tick: int) -> str:
    """The clef in force, or the instrument's own where the file states none."""
    return in_force(part.clefs, tick, before="") or part.instrument_at(tick).clef


def pick_staff(
    chart: Chart, index: int, pitch: str, start: int, end: int, *, label: str, group: str = ""
) -> Pick:
    """A stretch of a part as its player reads it, or sounding, in a clef that suits its notes.
    Octave transposers stay where their players see them."""
    part = chart.parts[index]
    short = part.abbreviation or part.says
    shift, clef = CONCERT, ""
    own = part.transposition_at(start)
    if pitch == "sounding" and not chart.concert and own.chromatic % 12:
        shift, clef = own, "F4" if mean_pitch(chart, index, start, end) < _BASS_CLEF_BELOW else "G2"
    if pitch == "written" and chart.concert:
        read = read_at(chart, part, start)
        if read != CONCERT:
            shift = Transposition(-read.diatonic, -read.chromatic)
            clef = part.instrument_at(start).clef
    if not clef and not part.clefs:  # the file states none
        clef = part.instrument_at(start).clef
    return Pick(
        part_id=part.id,
        occurrence=sum(other.id == part.id for other in chart.parts[:index]),
        label=label,
        abbreviation=short[:14],
        shift=shift,
        clef=clef,
        group=group,
    )
