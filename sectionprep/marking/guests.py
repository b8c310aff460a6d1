"""A guest of a passage gets its marks where it plays with the lead.

Nothing of its own is taken out, and what it plays in a passage of its own has been marked there.
"""

from __future__ import annotations

from dataclasses import replace

from sectionprep.marking.desk import Desk, Job
from sectionprep.music.chart import Chart
from sectionprep.music.hairpins import Pins
from sectionprep.music.section_word import SectionWord
from sectionprep.passages import Passage
from sectionprep.phrasing import PassagePlan


def guest_job(desk: Desk, visit: Passage, planned: PassagePlan, host: SectionWord) -> Job:
    """The guest of a visit on the desk. planned: of the passage that it joins; host: what the parts
    of that passage have printed."""
    (guest,) = (part for part in visit.parts if part != visit.lead)
    tones = desk.tones_of(guest, second=guest in visit.seconds)
    shared = replace(
        planned,
        notes=tuple(
            note
            for note in planned.notes
            if visit.start <= note.tone.onset < visit.end and note.tone.onset in tones
        ),
        hairpins=tuple(
            pin for pin in planned.hairpins if visit.start <= pin.start and pin.stop < visit.end
        ),
        dynamics=tuple(d for d in planned.dynamics if visit.start <= d.tick < visit.end),
    )
    joined = replace(visit, id=planned.id, confidence=0.0)  # no member: what it has printed stays
    word = _GuestWord(desk.chart, visit, host)
    return Job(desk=desk, passage=joined, planned=shared, word=word, part=guest)


class _GuestWord(SectionWord):
    """What holds for a guest: what holds in the passage that it joins, whoever has it printed."""

    def __init__(self, chart: Chart, visit: Passage, host: SectionWord) -> None:
        super().__init__(chart, visit)
        self.host = host

    def dynamics(self) -> dict[int, dict[int, str]]:
        """As of the passage, told as the lead's; and the guest's own."""
        found = {}
        own = super().dynamics()
        for tick, printed in self.host.dynamics().items():
            holds = self.host.dynamic(tick, printed)
            if holds is not None and self.passage.start <= tick < self.passage.end:
                found[tick] = own.get(tick, {}) | {self.passage.lead: holds}
        return found

    def dynamic(self, tick: int, printed: dict[int, str]) -> str | None:
        """What the passage has."""
        return printed.get(self.passage.lead)

    def hairpins(self) -> Pins:
        """Those of the passage that the guest plays through."""
        return Pins(
            pin
            for pin in self.host.hairpins()
            if self.passage.start <= pin.start and pin.stop < self.passage.end
        )
