"""The director's word: single decisions on single notes, from a plan file or from the workbook.

A decision is addressed by part, bar and beat, and carries the figure it was made for (rhythm and
intervals of the note and its neighbours). On a changed chart it is applied where bar, beat and
figure still fit; if the figure has moved by a few bars it follows; what fits nowhere is returned,
never dropped in silence.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from operator import attrgetter

from sectionprep.errors import BadArgument
from sectionprep.music.chart import SECOND, Chart
from sectionprep.music.marks import SLURS
from sectionprep.music.naming import find_part
from sectionprep.music.notes import Tone
from sectionprep.passages import Passage, Together
from sectionprep.phrasing.plan import PassagePlan, Plan, PlannedNote

Lead = tuple[int, bool]  # a part, and whether its second player is meant
_onset = attrgetter("onset")
_REACH = 16  # bars a figure may have moved; judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class Directive:
    """One decision. marks: what the note shall carry; empty means plain, None means that every part
    stays as it is printed. note: the written pitch it was made for, where that is known; it decides
    only where there is no figure, for a figure keeps in a transposed chart and a pitch does not.
    cutoff: write (True) or do not write (False) the release; None leaves it to the plan. cell: of
    the workbook that it was typed into."""

    part: str
    bar: str
    beat: Fraction
    marks: frozenset[str] | None
    figure: str = ""
    source: str = "the director"
    cutoff: bool | None = None
    note: str = ""
    cell: str = ""
    listed: bool = False


def figure_at(tones: Sequence[Tone], n: int, resolution: int) -> str:
    """Figure of the n-th tone: the intervals and lengths around it, as short text ("+2:1/2
    -1:1/2")."""
    pieces = []
    for k in (n - 1, n, n + 1):
        if 0 <= k < len(tones):
            rise = tones[k].pitch - tones[k - 1].pitch if k else 0
            pieces.append(f"{rise:+d}:{Fraction(tones[k].duration, resolution)}")
        else:
            pieces.append("-")
    return " ".join(pieces)


def figure_of(chart: Chart, line: Sequence[Tone], onset: int) -> str:
    """Figure of the tone of a line that begins at a tick."""
    return figure_at(line, bisect_left(line, onset, key=_onset), chart.resolution)


def figures_of(chart: Chart, line: Sequence[Tone]) -> dict[int, str]:
    """Figure of every tone of a line, by onset."""
    return {tone.onset: figure_at(line, n, chart.resolution) for n, tone in enumerate(line)}


def apply_directives(
    chart: Chart, together: Together, plan: Plan, directives: Iterable[Directive]
) -> tuple[Plan, tuple[tuple[Directive, str], ...]]:
    """The plan with the director's decisions in it, and those that fit nowhere with the reason. A
    decision on a note of the section is one for all that play it together; one on a note that the
    part plays by itself is for that part alone (`Plan.own`)."""
    leads: dict[str, Lead | str] = {}  # or why there is none
    numbers = chart.bars_by_number()
    figures: dict[Lead, dict[int, str]] = {}
    wanted: _Wanted = {}
    unfit: list[tuple[Directive, str]] = []
    for directive in directives:
        if directive.part not in leads:
            leads[directive.part] = lead_of(chart, directive.part)
        lead = leads[directive.part]
        if isinstance(lead, str):
            unfit.append((directive, lead))
            continue
        if lead not in figures:
            figures[lead] = figures_of(chart, line_of(chart, lead))
        tick, why = _find(chart, directive, figures[lead], numbers)
        if tick is None:
            unfit.append((directive, why))
        else:
            wanted[lead, tick] = directive
    wanted, alone = _sorted(chart, together, plan, wanted)
    used: set[tuple[Lead, int]] = set()
    passages, hits = (
        tuple(_apply(p, wanted, used, unfit) for p in plans) for plans in (plan.passages, plan.hits)
    )
    own = tuple(
        _apply(p, alone, used, unfit) for p in _own(chart, plan, {lead for lead, _ in alone})
    )
    own = tuple(replace(p, notes=tuple(n for n in p.notes if n.decided)) for p in own)
    own = tuple(planned for planned in own if planned.notes)
    return replace(plan, passages=passages, hits=hits, own=own), tuple(unfit)


def placed(chart: Chart, directives: Iterable[Directive]) -> dict[tuple[Lead, int], Directive]:
    """Decisions that find their note, by player and tick; the last word on a note counts."""
    numbers = chart.bars_by_number()
    figures: dict[Lead, dict[int, str]] = {}
    found: dict[tuple[Lead, int], Directive] = {}
    for directive in directives:
        lead = lead_of(chart, directive.part)
        if isinstance(lead, str):
            continue
        if lead not in figures:
            figures[lead] = figures_of(chart, line_of(chart, lead))
        tick, _ = _find(chart, directive, figures[lead], numbers)
        if tick is not None:
            found[lead, tick] = directive
    return found


#: name of what a part plays by itself, in the plan file and in the workbook
OWN = "own"
_Wanted = dict[tuple[Lead, int], Directive]


def _sorted(
    chart: Chart, together: Together, plan: Plan, wanted: _Wanted
) -> tuple[_Wanted, _Wanted]:
    """Decisions by the notes of the leads that they are for, and those on notes that nobody leads:
    a decision on a note of the section stands at the lead's note, unless that has one."""
    led = {
        ((planned.part, planned.second), note.tone.onset)
        for planned in (*plan.passages, *plan.hits)
        for note in planned.notes
    }
    for_leads = {key: d for key, d in wanted.items() if key in led}
    alone = {}
    for (player, tick), directive in wanted.items():
        if (player, tick) in led:
            continue
        leads = [
            lead
            for passage in together.marked
            if plays_in(passage, player) and passage.start <= tick < passage.end
            for lead in [(passage.lead, passage.lead in passage.seconds)]
            if (lead, tick) in led
        ]
        if leads:
            here = replace(
                directive,
                figure="",
                note="",
                source=f"{directive.source}, at {directive.part}'s note",
            )
            for_leads.setdefault((leads[0], tick), here)
        else:
            alone[player, tick] = directive
    return for_leads, alone


def plays_in(passage: Passage, player: Lead) -> bool:
    """Whether this player of a part is the one that a passage has."""
    part, second = player
    return part in passage.parts and (part in passage.seconds) == second


def line_of(chart: Chart, player: Lead) -> tuple[Tone, ...]:
    """What a player plays, from end to end."""
    part, second = player
    return chart.second_lines.get(part, ()) if second else chart.lines[part]


def _own(chart: Chart, plan: Plan, players: Iterable[Lead]) -> Iterator[PassagePlan]:
    """What has been decided on notes that a part plays by itself, and all other such notes of these
    players as they are printed."""
    known = {(p.part, p.second): {n.tone.onset: n for n in p.notes} for p in plan.own}
    for player in sorted({*players, *known}):
        notes = (
            known.get(player, {}).get(
                tone.onset,
                PlannedNote(tone=tone, weight=0.5, marks=tone.marks, added=frozenset(), why=""),
            )
            for tone in line_of(chart, player)
        )
        part, second = player
        yield PassagePlan(id=OWN, part=part, notes=tuple(notes), phrases=(), second=second)


def lead_of(chart: Chart, words: str) -> Lead | str:
    """Who is meant by a part's name, or why nobody is."""
    label = words.removesuffix(SECOND).rstrip()
    try:
        return find_part(chart.parts, label).index, label != words
    except BadArgument as error:
        return error.what.rstrip(".")


def _find(
    chart: Chart, directive: Directive, figures: dict[int, str], numbers: dict[str, int]
) -> tuple[int | None, str]:
    index = numbers.get(directive.bar)
    here = chart.tick(index, directive.beat) if index is not None else None
    if here is not None and here in figures and directive.figure in ("", figures[here]):
        return here, ""
    if directive.figure:
        near = [
            tick
            for tick, figure in figures.items()
            if figure == directive.figure
            and chart.place(tick).beat == directive.beat
            and (index is None or abs(chart.place(tick).index - index) <= _REACH)
        ]
        if near:
            return min(near, key=lambda tick: abs(tick - (here or 0))), ""
        return None, "the music at this place has changed"
    return None, "no note begins at this place"


def _apply(
    plan: PassagePlan,
    wanted: _Wanted,
    used: set[tuple[Lead, int]],
    unfit: list[tuple[Directive, str]],
) -> PassagePlan:
    notes: list[PlannedNote] = []
    for note in plan.notes:
        key = ((plan.part, plan.second), note.tone.onset)
        directive = wanted.get(key)
        if directive is None:
            notes.append(note)
            continue
        if directive.note and not directive.figure and directive.note != str(note.tone.head.pitch):
            unfit.append(
                (directive, f"the note there is {note.tone.head.pitch}, not {directive.note}")
            )
            used.add(key)
            notes.append(note)
            continue
        used.add(key)
        printed = note.tone.marks
        cutoff = note.cutoff if directive.marks else None  # plain is plain: without a cut-off too
        if directive.cutoff is not None:
            cutoff = (note.cutoff or note.tone.end) if directive.cutoff else None
        ends = note.marks & {"slur-stop"}  # belongs to the slur's first note
        if directive.marks is None:
            marks, cutoff = printed | ends, None
        elif not directive.marks and not directive.cutoff:
            marks = ends
        else:
            slurs = directive.marks & SLURS or note.marks & SLURS
            marks = (directive.marks - SLURS) | slurs
        same = marks == note.marks and cutoff == note.cutoff
        if same and directive.listed:
            notes.append(note)
            continue
        hands_off = directive.marks is None
        why = f"decided by {directive.source}" + (
            ": left as printed in every part" if hands_off else ""
        )
        if same and not hands_off:
            why = note.why  # the rules say the same
        notes.append(
            note._replace(
                marks=marks,
                added=marks - printed,
                cutoff=cutoff,
                lost="",
                why=why,
                decided=True,
                hands_off=hands_off,
            )
        )
    return replace(plan, notes=tuple(_without_loose_ends(plan.notes, notes)))


def _without_loose_ends(
    before: Sequence[PlannedNote], after: Sequence[PlannedNote]
) -> list[PlannedNote]:
    """Where a slur's first note has lost it, its last note loses it too."""
    made = list(after)
    open_slurs: list[int] = []
    for n, note in enumerate(before):
        if "slur-stop" in note.marks and open_slurs:
            start = open_slurs.pop()
            if "slur-start" not in after[start].marks and "slur-stop" in made[n].marks:
                made[n] = made[n]._replace(
                    marks=made[n].marks - {"slur-stop"},
                    added=made[n].added - {"slur-stop"},
                )
        if "slur-start" in note.marks:
            open_slurs.append(n)
    return made
