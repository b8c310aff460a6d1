"""Breath: where the line breathes, and stretches that are longer than a player's breath."""

from __future__ import annotations

from dataclasses import replace

from sectionprep.music.chart import Chart
from sectionprep.phrasing.plan import PlannedNote
from sectionprep.phrasing.view import LineView

_BREATH_SECONDS = 4.0  # of playing before a breath is written where there is no rest; judgement


def with_breaths(chart: Chart, view: LineView, notes: list[PlannedNote]) -> list[PlannedNote]:
    """A breath where one phrase follows the other without a rest, once enough has been played."""
    made = list(notes)
    second = chart.resolution * view.tempo / 60
    since = view.spots[0].tone.onset
    for _, last in view.phrases[:-1]:
        spot = view.spots[last]
        has = made[last].marks & {"breath-mark", "caesura"}
        enough = (spot.tone.end - since) / second >= _BREATH_SECONDS
        if spot.after == 0 and enough and not has and not spot.tone.has_fermata:
            made[last] = replace(made[last], marks=made[last].marks | {"breath-mark"},
                                 added=made[last].added | (frozenset({"breath-mark"}) - spot.tone.marks),
                                 why=f"{made[last].why}; the phrase ends here: breathe together")
            has = frozenset({"breath-mark"})
        if spot.after > 0 or has:
            since = view.spots[last + 1].tone.onset
    return made


def _stagger(chart: Chart, view: LineView, first: int, last: int) -> str:
    """Who breathes where: neighbours never together, each dropping a note that leans least (E. van Doren: early, middle
    and late breathers). A proposal and a caution; the players know better."""
    notes = view.spots[first : last + 1]
    third = max(1, len(notes) // 4)
    places = []
    for share in (1, 2, 3):
        window = notes[max(1, share * third - 2) : share * third + 3] or notes[-1:]
        best = min(window, key=lambda s: (s.strong, s.turns, -s.length, s.index))
        places.append(str(chart.place(best.tone.onset)))
    return (f"staggered breaths, each dropping one note: chairs 1 and 4 at {places[0]}, 2 and 5 at {places[1]}, 3 at {places[2]} "
            "(a caution, not a rule: ask the players)")


def breath_cautions(chart: Chart, part: int, view: LineView) -> tuple[str, ...]:
    """Stretches without a rest or breath that are longer than the planning cap of the chair, in seconds."""
    cap = chart.parts[part].chair.instrument.breath
    if not cap:
        return ()
    second = chart.resolution * view.tempo / 60
    found = []
    for first, last in view.phrases:
        start, end = view.spots[first].tone.onset, view.spots[last].tone.end
        if (end - start) / second > cap:
            found.append(
                f"{chart.place(start)} to {chart.end_place(end)}: {(end - start) / second:.0f} s without a rest; "
                + _stagger(chart, view, first, last)
            )
    return tuple(found)
