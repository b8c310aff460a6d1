"""Where a line is cut into phrases, and what printed slurs and triplets say of its notes."""

from __future__ import annotations

from collections.abc import Sequence

from sectionprep.music.chart import Chart
from sectionprep.music.notes import Tone
from sectionprep.phrasing.view.spot import HELD

_LONGEST = 64  # notes in one phrase: eight bars of eighths
# notes from which half a beat of rest ends a figure after a rest, any phrase; judgement
_SET_OFF, _ENOUGH = 2, 4
_PHRASE_SLUR = 6  # notes under one slur from which it shows a phrase; judgement


def phrase_ends(tones: Sequence[Tone], beat: int) -> set[int]:
    """Where a player hears the line end: a rest of a beat; a shorter rest after four notes or more,
    or after two that a rest has set off (a short figure); a note of two beats or more that the line
    does not hurry away from; the end of one long slur and the start of the next (Basic Jazz
    Concepts slides: slurs often show phrases); a line without any of these (a walking bass) is cut
    at a bar line, which also keeps the time to plan it in proportion. The lengths are
    judgements."""
    ends = {len(tones) - 1}
    since = under_slur = 0
    set_off = True
    for n in range(len(tones) - 1):
        since += 1
        here, then = tones[n], tones[n + 1]
        gap = then.onset - here.end
        under_slur = 1 if here.slurs_from and not here.slurs_to else under_slur + 1
        joined = here.slurs_to and not here.slurs_from and then.slurs_from
        slurred_phrase = (
            joined and under_slur >= _PHRASE_SLUR and here.pitch != then.pitch
        )  # else a repeated note is tongued
        too_long = since >= _LONGEST and (then.bar != here.bar or since >= 2 * _LONGEST)
        if (
            too_long
            or slurred_phrase
            or _rest_ends(gap, beat, since, set_off)
            or _hold_ends(here, then, gap, beat)
        ):
            ends.add(n)
            since = 0
            set_off = 2 * gap >= beat
    return ends


def _rest_ends(gap: int, beat: int, since: int, set_off: bool) -> bool:
    return gap >= beat or (gap * 2 >= beat and since >= (_SET_OFF if set_off else _ENOUGH))


def _hold_ends(here: Tone, then: Tone, gap: int, beat: int) -> bool:
    on = then.duration >= HELD * beat  # a pad goes on from held note to held note
    return here.duration >= HELD * beat and (gap > 0 or (here.duration >= 3 * beat and not on))


def slurs_over(tones: Sequence[Tone]) -> list[str]:
    """Where each note stands under a printed slur; a note between two slurs ends the first
    ("last"). A slur that is never closed ends at the next rest, and one that starts and stops on
    the notes of one tie is none."""
    found: list[str] = []
    depth = until = 0
    for tone in tones:
        if tone.onset > until:
            depth = 0
        until = tone.end
        if tone.slurs_from and tone.slurs_to and not depth:
            found.append("")
            continue
        ends = depth > 0 and tone.slurs_to
        depth = max(0, depth - ends)
        if depth:
            found.append("inside")
        elif ends:
            found.append("last")
        else:
            found.append("first" if tone.slurs_from else "")
        depth += tone.slurs_from
    return found


def triplets_in(tones: Sequence[Tone], chart: Chart) -> list[int]:
    """1, 2, 3 for the notes of each group of three equal notes in the time of one beat or half
    beat."""
    found = [0] * len(tones)
    n = 0
    while n + 2 < len(tones):
        a, b, c = tones[n : n + 3]
        same = a.duration == b.duration == c.duration and a.end == b.onset and b.end == c.onset
        if (
            same
            and a.head.in_tuplet
            and 3 * a.duration in (chart.resolution, chart.resolution * 2, chart.resolution // 2)
        ):
            found[n : n + 3] = [1, 2, 3]
            n += 3
        else:
            n += 1
    return found
