"""Breath: where the line breathes, and stretches that are longer than a player's breath."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from sectionprep.music.chart import Chart
from sectionprep.music.marks import BREATHS
from sectionprep.phrasing.plan import PlannedNote
from sectionprep.phrasing.view import LineView, Spot

_COMFORT = 8.5  # seconds of playing without a rest before a breath is written; judgement
_SOONEST = 3.0  # seconds after the last one at which it may stand; judgement
_FEW = 8  # notes: with fewer, no note can be dropped; judgement


def with_breaths(chart: Chart, view: LineView, notes: list[PlannedNote]) -> list[PlannedNote]:
    """Breaths in stretches that are too long for one: at ends of phrases or after held notes before
    a bar line, after four or two bars rather than three, never under a slur."""
    made = list(notes)
    for first, last in _stretches(notes):
        start, end = first, view.spots[last].tone.end
        while chart.seconds(view.spots[start].tone.onset, end) > _COMFORT:
            since = view.spots[start].tone
            near = _in_reach(chart, view, since.onset, _places(chart, view, notes, start, last))
            if not near:
                break
            at = max(near, key=lambda n: (-_unevenness(chart, view, since.bar, n), n))
            made[at] = _breathing(
                view,
                made[at],
                at,
                "the phrase ends here" if view.spots[at].last else "after the held note",
            )
            start = at + 1
        end_spot = view.spots[last]
        goes_on = (
            last + 1 == len(made)
            and end_spot.after == 0
            and not made[last].marks & BREATHS
            and not end_spot.tone.has_fermata
        )
        if (
            goes_on
            and start > first
            and chart.seconds(view.spots[start].tone.onset, end) >= _COMFORT / 2
        ):
            made[last] = _breathing(
                view, made[last], last, "the passage ends here"
            )  # the line goes on, as something else
    return made


def _in_reach(chart: Chart, view: LineView, since: int, places: Iterable[int]) -> list[int]:
    """The places that can be reached comfortably from a breath before `since` (ticks), else the
    first after them."""
    near: list[int] = []
    for n in places:
        wait = chart.seconds(since, view.spots[n].tone.end)
        if wait > _COMFORT:
            return near or [n]
        if wait >= _SOONEST:
            near.append(n)
    return near


def _breathing(view: LineView, note: PlannedNote, at: int, why: str) -> PlannedNote:
    return note._replace(
        marks=note.marks | {"breath-mark"},
        added=note.added | (frozenset({"breath-mark"}) - view.spots[at].tone.marks),
        why=f"{note.why}; {why}: breathe together",
    )


def _stretches(notes: Sequence[PlannedNote]) -> Iterator[tuple[int, int]]:
    """(first, last) of each run of notes without a rest or a breath between them."""
    first = 0
    for n, note in enumerate(notes):
        if (
            n + 1 == len(notes)
            or notes[n + 1].tone.onset > note.tone.end
            or note.marks & BREATHS
            or note.tone.has_fermata
        ):
            yield first, n
            first = n + 1


def _places(
    chart: Chart, view: LineView, notes: Sequence[PlannedNote], first: int, last: int
) -> Iterator[int]:
    """Notes after which the line can be broken: the last of a phrase, or held up to a bar line."""
    open_slurs = 0
    for n in range(first, last):
        open_slurs = max(
            0, open_slurs + ("slur-start" in notes[n].marks) - ("slur-stop" in notes[n].marks)
        )
        spot = view.spots[n]
        held = spot.is_held and spot.tone.end == chart.bar_at(spot.tone.end).start
        if not open_slurs and (spot.last or held):
            yield n


def _unevenness(chart: Chart, view: LineView, since: int, n: int) -> int:
    """0 after four bars, 1 after two, 2 elsewhere: how far a breath is from the bars that a
    listener counts."""
    bars = chart.bar_at(view.spots[n].tone.end).index - since
    if not bars or bars % 2:
        return 2
    return 1 if bars % 4 else 0


def _stagger(chart: Chart, notes: Sequence[Spot]) -> str:
    """Who breathes where: neighbours never together, each dropping a note that leans least (E. van
    Doren: early, middle and late breathers). A proposal and a caution; the players know better."""
    caution = "(a caution, not a rule: ask the players)"
    if len(notes) < _FEW:
        return (
            f"breathe one after the other inside the held notes, never two "
            f"neighbours together {caution}"
        )
    start, length = notes[0].tone.onset, notes[-1].tone.end - notes[0].tone.onset
    places: list[Spot] = []
    for share in (1, 2, 3):
        target = start + share * length / 4
        window = sorted(notes[1:], key=lambda s: abs(s.tone.onset - target))[:5]
        places.append(
            min(window, key=lambda s: (s in places, s.strong, s.turns, -s.length, s.index))
        )
    said = [str(chart.place(spot.tone.onset)) for spot in places]
    return (
        f"staggered breaths, each dropping one note: chairs 1 and 4 at {said[0]}, "
        f"2 and 5 at {said[1]}, 3 at {said[2]} {caution}"
    )


def breath_cautions(
    chart: Chart, part: int, view: LineView, notes: Sequence[PlannedNote]
) -> tuple[str, ...]:
    """Stretches without a rest or breath that are longer than the planning cap of the chair, in
    seconds."""
    cap = chart.parts[part].chair.instrument.breath
    if not cap:
        return ()
    found = []
    for first, last in _stretches(notes):
        start, end = view.spots[first].tone.onset, view.spots[last].tone.end
        seconds = chart.seconds(start, end)
        if seconds > cap:
            found.append(
                f"{chart.place(start)} to {chart.end_place(end)}: {seconds:.0f} "
                f"s without a rest; " + _stagger(chart, view.spots[first : last + 1])
            )
    return tuple(found)
