"""The band as voices: which notes each part plays, with which sound."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from sectionprep.music.chart import Chart, Part
from sectionprep.music.clock import Clock
from sectionprep.music.lines import line_of
from sectionprep.music.notes import Note, Tone
from sectionprep.outputs.audition.dynamics import Loudness
from sectionprep.outputs.audition.performance import Played, SwungTime, play, tones_in
from sectionprep.outputs.audition.rhythm import generated, is_kit, written_drums
from sectionprep.outputs.audition.synth import DRUMS
from sectionprep.passages import Passage, Together
from sectionprep.phrasing import PassagePlan, Plan
from sectionprep.phrasing.styles import Style, styles

#: General MIDI programs, counted from 1, of instruments whose row names none, by section
_PROGRAMS = {
    "saxes": 66,
    "woodwinds": 72,
    "trumpets": 57,
    "horns": 61,
    "trombones": 58,
    "strings": 49,
    "voices": 53,
    "percussion": 13,
}


@dataclass(frozen=True, slots=True)
class Voice:
    """One part of a take: its section (which tone), name, General MIDI program counted from 1 (of
    drums: 1, the standard kit) and notes in order of their starts."""

    section: str
    name: str
    program: int
    notes: tuple[Played, ...]


class Band:
    """A chart's parts, ready to play. muted: without what is generated for the rhythm section."""

    def __init__(
        self, chart: Chart, together: Together, plan: Plan, *, muted: bool = False
    ) -> None:
        self.chart, self.together, self.plan, self.muted = chart, together, plan, muted
        self.style: Style = styles().get(plan.style) or styles()["medium-swing"]
        self._loudness: dict[int, Loudness] = {}

    def loudness(self, part: int) -> Loudness:
        """Of a part, with the dynamics and hairpins that the plan adds."""
        if part not in self._loudness:
            plans = [
                planned
                for passage in self.together.marked
                if part in passage.parts and (planned := self.plan.of(passage.id)) is not None
            ]
            self._loudness[part] = Loudness(self.chart, part, plans)
        return self._loudness[part]

    def voice(self, part: int, notes: Iterable[Played]) -> Voice:
        """A part's voice with these notes."""
        one = self.chart.parts[part]
        kit = is_kit(one)
        section = one.chair.section
        program = (one.chair.instrument.programs or (_PROGRAMS.get(section, 1),))[0]
        return Voice(
            DRUMS if kit else section,
            one.label,
            1 if kit else program,
            tuple(sorted(notes, key=lambda note: note.start)),
        )

    def in_passage(
        self, part: int, passage: Passage, plan: PassagePlan | None, clock: Clock
    ) -> Voice:
        """A part in one passage: as planned, or flat without a plan."""
        notes = play(
            self.chart,
            tones_in(self.chart, passage, part),
            plan,
            clock=clock,
            style=self.style,
            loudness=self.loudness(part),
        )
        return self.voice(part, notes)

    def whole(self, clock: Clock, *, flat: bool = False) -> list[Voice]:
        """Every part that plays, from the first bar to the last in written time: passages as the
        plan has them, all else as written."""
        voices = [self.voice(part.index, self._all(part, clock, flat)) for part in self.chart.parts]
        return [voice for voice in voices if voice.notes]

    def _all(self, part: Part, clock: Clock, flat: bool) -> list[Played]:
        chart = self.chart
        loudness = self.loudness(part.index)
        made = (
            []
            if self.muted
            else generated(chart, part, self.together, self.plan, clock, self.style)
        )
        if is_kit(part):
            return made + written_drums(part, SwungTime(chart, clock, self.style), loudness)
        covered: set[int] = set()
        found: list[Played] = []

        def played(tones: list[Tone], plan: PassagePlan | None, as_written: bool) -> None:
            found.extend(
                play(
                    chart,
                    tones,
                    plan,
                    clock=clock,
                    style=self.style,
                    flat=as_written,
                    loudness=loudness,
                )
            )

        for passage in () if flat else self.together.passages:
            if part.index not in passage.parts or part.index in passage.seconds:
                continue  # a second player on the staff is one of the other voices
            tones = [t for t in tones_in(chart, passage, part.index) if t.onset not in covered]
            covered.update(t.onset for t in tones)
            planned = self.plan.of(passage.id)
            played(tones, planned, planned is None)
        played([t for t in chart.lines[part.index] if t.onset not in covered], None, flat)
        played(_other_voices(chart, part), None, flat)
        return found + made


def _other_voices(chart: Chart, part: Part) -> list[Tone]:
    """What a part plays beside its line: further voices, the other hand, the lower notes of
    chords."""
    line = chart.lines[part.index]
    tops = {note.address for tone in line for note in tone.notes}
    groups: dict[tuple[int, str], list[Note]] = {}
    for note in part.notes:
        groups.setdefault((note.staff, note.voice), []).append(note)
    found: list[Tone] = []
    for notes in groups.values():
        for tone in line_of(notes):
            own = tone.head.address in tops
            found += [tone._replace(pitch=pitch) for pitch in tone.pitches[own:]]
    return found
