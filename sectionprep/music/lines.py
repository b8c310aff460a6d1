"""From the notes of a part to its line.

Which note is the line, where a staff holds more than one: in each bar the line is taken from the
first voice (lowest staff, then lowest voice label) that sounds there; of a chord the highest note
is the line, and the marks are those of all its notes, for files put them on the lowest as often as
on the top. Grace notes belong to the note after them and cue notes to somebody else, so neither is
in the line. Tied notes are one tone.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Container, Iterable
from functools import lru_cache

from sectionprep.music.chart import Chart, Part
from sectionprep.music.instruments import HORNS
from sectionprep.music.marks import as_one
from sectionprep.music.notes import Note, Tone

_SHARED = HORNS | {"strings", "voices"}  # whose staves are for players, and not for hands


def line_of(notes: Iterable[Note]) -> tuple[Tone, ...]:
    """The tones of one part in order of time."""
    return _tones_of(_struck_groups(notes, 0))


def second_lines_of(parts: Iterable[Part]) -> dict[int, tuple[Tone, ...]]:
    """By part of winds, strings or voices: the tones of the second voice on the line's own staff,
    where two players share it. Where one voice plays alone it is the second player's if it is the
    voice that he had before; where it is written in chords throughout a bar, his are the lowest
    notes (common practice, no source: two players in one rhythm are written on one stem)."""
    found = {}
    for part in parts:
        if part.chair.section in _SHARED and len({note.voice for note in part.notes}) > 1:
            own = _struck_groups(part.notes, 1)
            if own:
                found[part.index] = _with_chords(own, _struck_groups(part.notes, 0))
    return found


def _with_chords(own: list[list[Note]], first: list[list[Note]]) -> tuple[Tone, ...]:
    """A second player's tones, with his in bars in which both are on the first's stems. own, first:
    what each has struck on stems of his own, in order of time."""
    has = {members[0].bar for members in own}
    bars: dict[int, list[list[Note]]] = defaultdict(list)
    for members in first:
        if members[0].bar not in has:
            bars[members[0].bar].append(members)
    chords = {n: bar for n, bar in bars.items() if all(len(members) > 1 for members in bar)}
    groups = [*own, *(members for bar in chords.values() for members in bar)]
    return _tones_of(sorted(groups, key=lambda members: members[0].onset), lowest_in=chords)


def _tones_of(groups: list[list[Note]], *, lowest_in: Container[int] = ()) -> tuple[Tone, ...]:
    """lowest_in: bars in which the line is the lowest note of each chord, and not the highest."""
    tones: list[Tone] = []
    joined: list[Note] = []  # the notes of the top
    whole: list[Note] = []  # and all that are struck or held with them
    pitches: tuple[int, ...] = ()
    open_tie = False
    for members in groups:
        lowest = members[0].bar in lowest_in
        top = (min if lowest else max)(members, key=_height)
        continues = (  # files forget to say that a tie ends; it is drawn so, too (copies/ties.py)
            open_tie and joined[-1].end == top.onset and joined[-1].sounding == top.sounding
        )
        if continues:
            joined.append(top)
            whole += members
        else:
            if joined:
                tones.append(_tone(joined, whole, pitches))
            joined, whole = [top], list(members)
            pitches = (
                tuple(sorted((n.sounding or 0 for n in members), reverse=True))
                if len(members) > 1 and not lowest
                else (top.sounding or 0,)
            )
        open_tie = top.tie_start
    if joined:
        tones.append(_tone(joined, whole, pitches))
    return tuple(tones)


def _height(note: Note) -> int:
    return note.sounding or 0


def slur_runs(tones: Iterable[Tone]) -> list[list[Tone]]:
    """The stretches under a slur in which no note is struck twice in a row: a repeated note is
    tongued, the rest is slurred."""
    runs: list[list[Tone]] = []
    for tone in tones:
        if not runs or runs[-1][-1].pitch == tone.pitch or runs[-1][-1].end < tone.onset:
            runs.append([])
        runs[-1].append(tone)
    return [run for run in runs if len(run) > 1]


def slur_ends(tones: Iterable[Tone]) -> list[tuple[int, int]]:
    """The same stretches as onsets of their first and last notes."""
    return [(run[0].onset, run[-1].onset) for run in slur_runs(tones)]


def _tone(notes: list[Note], whole: list[Note], pitches: tuple[int, ...]) -> Tone:
    head, last = notes[0], notes[-1]
    if len(whole) == 1:
        marks, starts, stops = head.marks, bool(head.slur_starts), bool(head.slur_stops)
    else:
        marks = frozenset[str]().union(*(note.marks for note in whole))
        starts = any(note.slur_starts for note in whole)
        stops = any(note.slur_stops for note in whole)
    if starts:
        marks |= {"slur-start"}
    if stops:
        marks |= {"slur-stop"}
    top = tuple(notes)
    chord = top if len(whole) == len(notes) else tuple(whole)
    return Tone(
        onset=head.onset,
        duration=last.end - head.onset,
        bar=head.bar,
        pitch=head.sounding or 0,
        pitches=pitches,
        notes=top,
        slurs_from=starts,
        slurs_to=stops,
        marks=as_one(marks),
        chord=chord,
    )


@lru_cache(4096)
def _voice_order(staff: int, voice: str) -> tuple[int, int, str]:
    return (
        staff,
        int(voice) if voice.isascii() and voice.isdecimal() and len(voice) < 6 else 999,
        voice,
    )


def _struck_groups(notes: Iterable[Note], player: int) -> list[list[Note]]:
    """Notes that are struck at once, in order of time. player: 0 for the first voice of each bar,
    1 for the second on its staff."""
    by_bar: dict[int, list[Note]] = defaultdict(list)
    for note in notes:
        if (
            note.sounding is not None
            and note.duration > 0
            and not (note.is_grace or note.is_cue or note.is_slash)
        ):
            by_bar[note.bar].append(note)
    groups: list[list[Note]] = []
    his: list[tuple[int, str]] = []  # the voice that the second player had before
    for bar in sorted(by_bar):
        sounding = by_bar[bar]
        voices = {(note.staff, note.voice) for note in sounding}
        if len(voices) > 1 or player:
            ordered = sorted(voices, key=lambda place: _voice_order(*place))
            own = [place for place in ordered if place[0] == ordered[0][0]]
            wanted = own[player : player + 1]
            if len(own) == 1 and own == his:
                wanted = his
            his = wanted or his
            sounding = [note for note in sounding if (note.staff, note.voice) in wanted]
        chords: dict[int, list[Note]] = defaultdict(list)
        for note in sounding:
            chords[note.onset].append(note)
        groups.extend(chords[onset] for onset in sorted(chords))
    return groups


def is_on_one_stem(first: Tone | None, second: Tone) -> bool:
    """Two players at one moment: the second's note stands in the first's chord."""
    return (
        first is not None
        and second.head is not first.head
        and any(second.head is note for note in first.chord)
    )


def second_players(chart: Chart) -> dict[int, dict[int, Tone]]:
    """By part of a wind or brass section: the tones of a second player on its staff that go with
    the first (struck with him, for the same length), by onset. Only parts that have any."""
    found = {}
    for index, line in chart.second_lines.items():
        if chart.parts[index].chair.section not in HORNS:
            continue
        second = {tone.onset: tone for tone in line}
        with_first = {
            tone.onset: second[tone.onset]
            for tone in chart.lines[index]
            if tone.onset in second
            and second[tone.onset].duration == tone.duration
            and second[tone.onset].head is not tone.head
            and not is_on_one_stem(tone, second[tone.onset])
        }
        if with_first:
            found[index] = with_first
    return found


def lower_notes(chart: Chart) -> frozenset[int]:
    """Addresses of the notes that the second of two players has on stems of his own, in bars in
    which the first plays too: they go down, and what belongs to them stands below (common practice,
    no source)."""
    found = set[int]()
    for index, second in chart.second_lines.items():
        first = {n.address for tone in chart.lines[index] for n in tone.chord or tone.notes}
        for tone in second:
            if tone.head.address not in first:
                found.update(note.address for note in tone.chord or tone.notes)
    return frozenset(found)
