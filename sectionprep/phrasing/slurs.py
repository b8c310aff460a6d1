"""Proposed slurs beside printed ones."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence

from sectionprep.music.notes import Tone
from sectionprep.phrasing.candidates import Span
from sectionprep.phrasing.plan import PlannedNote
from sectionprep.phrasing.view import LineView

_LEAP = 5  # semitones: slow notes with wider steps, in any part, are tongued; judgement


def with_slurs(
    view: LineView,
    notes: list[PlannedNote],
    spans: Sequence[Span],
    section: Sequence[Mapping[int, Tone]],
) -> list[PlannedNote]:
    """The notes with the proposed slurs, longest first, that meet no printed one. section: the
    tones of all parts by onset: a pitch that any of them repeats is tongued by all, and slow notes
    are slurred only if none of them leaps."""
    made = list(notes)
    covered = _covered(notes)
    for span in sorted(
        (span for span in spans if span.kind == "slur"),
        key=lambda span: (span.first - span.last, span.first),
    ):
        if any(n in covered for n in range(span.first, span.last + 1)):
            continue
        ways = [_ways(view, n, section) for n in range(span.first + 1, span.last + 1)]
        if any(view.spots[n].is_held for n in range(span.first, span.last + 1)) and any(
            abs(way) > _LEAP for way in itertools.chain(*ways)
        ):
            continue
        for first, last in _between_repeats(span, ways):
            for n, mark in ((first, "slur-start"), (last, "slur-stop")):
                why = f"{made[n].why}; {span.because}" if made[n].marks else span.because
                made[n] = made[n]._replace(
                    marks=made[n].marks | {mark}, added=made[n].added | {mark}, why=why
                )
            covered.update(range(first, last + 1))
    return made


def _ways(view: LineView, n: int, section: Sequence[Mapping[int, Tone]]) -> list[int]:
    """Semitones to this note from the one before it, in the line and in each part that strikes
    both."""
    before, here = view.spots[n - 1].tone.onset, view.spots[n].tone.onset
    return [
        view.spots[n].rise,
        *(
            tones[here].pitch - tones[before].pitch
            for tones in section
            if here in tones and before in tones
        ),
    ]


def _between_repeats(span: Span, ways: Sequence[Sequence[int]]) -> Iterator[tuple[int, int]]:
    """The pieces of a slur between the notes that somebody has to tongue."""
    first = span.first
    for n in range(span.first + 1, span.last + 2):
        if n <= span.last and all(ways[n - span.first - 1]):
            continue
        if n - 1 > first:
            yield first, n - 1
        first = n


def _covered(notes: Sequence[PlannedNote]) -> set[int]:
    covered: set[int] = set()
    depth = 0
    for n, note in enumerate(notes):
        starts, stops = "slur-start" in note.marks, "slur-stop" in note.marks
        if n and note.tone.onset > notes[n - 1].tone.end:
            depth = 0  # a slur that is never closed ends at a rest
        if depth or starts or stops:
            covered.add(n)
        depth = max(0, depth + starts - stops)
    return covered
