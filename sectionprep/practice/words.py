"""What a player is told about a passage: who leads, what to say, where to breathe, when to stop."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from sectionprep.music.chart import Chart
from sectionprep.passages import Passage
from sectionprep.passages.players import lead_label
from sectionprep.phrasing import PassagePlan

_MOST = 8  # releases that are listed; judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """says: (printed bar, syllables); listen, breath, release: sentences."""

    title: str
    where: str
    says: tuple[tuple[str, str], ...]
    listen: tuple[str, ...]
    breath: str
    release: str


def words_of(
    chart: Chart, passage: Passage, planned: PassagePlan, part: int, said: Mapping[int, str]
) -> Words:
    """The words for one player of a passage. said: syllable by note address."""
    by_bar: dict[str, list[str]] = {}
    for tone in chart.read_by(passage.seconds).between(part, passage.start, passage.end):
        word = said.get(tone.head.address)
        if word:
            by_bar.setdefault(chart.bars[tone.bar].number, []).append(word)
    first, last = chart.place(passage.start), chart.end_place(passage.end)
    bars = f"bar {first.bar}" if first.index == last.index else f"bars {first.bar} to {last.bar}"
    stops = [
        f"{chart.end_place(note.cutoff)}{f' ({note.release})' if note.release else ''}"
        for note in planned.notes
        if note.cutoff is not None
    ]
    ends = [f"{chart.end_place(end)}" for _, end in planned.phrases[:-1]]
    return Words(
        title=f"{passage.scope}, {passage.texture}",
        where=bars,
        says=tuple((bar, " ".join(words)) for bar, words in by_bar.items()),
        listen=_listen(chart, passage, planned, part),
        breath="Breathe together after " + "; ".join(ends) + "." if ends else "",
        release=_together(stops),
    )


def _together(stops: Sequence[str]) -> str:
    if not stops:
        return ""
    more = f"; and {len(stops) - _MOST} more" if len(stops) > _MOST else ""
    return f"Stop together at {'; '.join(stops[:_MOST])}{more}."


def _listen(chart: Chart, passage: Passage, planned: PassagePlan, part: int) -> tuple[str, ...]:
    lead = lead_label(chart, passage)
    octave = dict(passage.octaves).get(part, 0)
    if part == passage.lead:
        found = ["You lead: the others follow your lengths and releases."]
    elif passage.texture == "soli":
        found = [f"Listen to {lead}, who leads: the same rhythm, your own note of the chord."]
    elif octave:
        where = "above" if octave > 0 else "below"
        many = "an octave" if abs(octave) == 1 else f"{abs(octave)} octaves"
        found = [f"Listen to {lead}, who leads: you play the same line {many} {where}."]
    else:
        found = [f"Listen to {lead}, who leads: you play the same notes."]
    leans = [str(chart.place(note.tone.onset)) for note in planned.notes if note.leaned]
    if leans:
        more = f" and {len(leans) - 4} more" if len(leans) > 4 else ""
        found.append(f"The line leans on {'; '.join(leans[:4])}{more}.")
    return (*found, *planned.cautions)
