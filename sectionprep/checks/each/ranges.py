"""Notes outside the instrument, or outside what its player can be asked for.

bad:  written G6 for second tenor in a school band
good: inside the working range of the level that is set
Ranges and their sources stand in shared/instruments.toml.
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.checks.finding import Check, Context, Finding
from sectionprep.music.chart import Part
from sectionprep.music.instruments import Instrument


def _find(context: Context) -> Iterable[Finding]:
    for part in context.chart.parts:
        if not part.chair.sure:
            continue
        for instrument in dict.fromkeys(
            held for _, held in part.instruments
        ):  # doublings have ranges of their own
            full = instrument.full
            working = instrument.school if context.level == "school" else instrument.pro
            if full is not None and working is not None:
                yield from _outside(context, part, instrument, full, working)


def _outside(
    context: Context,
    part: Part,
    instrument: Instrument,
    full: tuple[int, int],
    working: tuple[int, int],
) -> Iterable[Finding]:
    says = instrument.says
    shift = instrument.transposition.chromatic
    notes = [
        (n, n.sounding - shift)
        for n in part.notes
        if n.sounding is not None
        and not n.is_cue
        and not n.is_slash
        and (len(part.instruments) == 1 or part.instrument_at(n.onset).key == instrument.key)
    ]
    beyond = [(n, w) for n, w in notes if not full[0] <= w <= full[1]]
    strained = [
        (n, w) for n, w in notes if full[0] <= w <= full[1] and not working[0] <= w <= working[1]
    ]
    if beyond:
        yield Finding(
            check="range",
            severity="error",
            tick=beyond[0][0].onset,
            part=part.index,
            places=tuple(dict.fromkeys(n.onset for n, _ in beyond)),
            message=f"{len(beyond)} note{'s' if len(beyond) > 1 else ''} cannot be "
            f"played on the {says.lower()} (first: {beyond[0][0].pitch})",
            fix="Move the note by an octave in the score, or give it to another part.",
        )
    if strained:
        yield Finding(
            check="range",
            severity="note",
            tick=strained[0][0].onset,
            part=part.index,
            places=tuple(dict.fromkeys(n.onset for n, _ in strained)),
            message=f"{len(strained)} note{'s' if len(strained) > 1 else ''} beyond what "
            f"{_PLAYERS[context.level]} play every day (first: {strained[0][0].pitch})",
            fix="Ask the player; spare the lip in rehearsal.",
        )


_PLAYERS = {"pro": "professionals", "school": "school players"}

CHECK = Check(
    finds={"range": "notes outside the instrument's or the player's range"},
    matter="playing",
    find=_find,
)
