"""The planner: rules propose, the chooser decides, figures that return are phrased alike."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import cache, partial

from sectionprep.music.chart import Chart
from sectionprep.music.marks import ORNAMENTS, SLURS, as_one
from sectionprep.music.notes import Tone
from sectionprep.music.roadmap import leads_elsewhere
from sectionprep.music.section_word import SectionWord
from sectionprep.passages import Together
from sectionprep.phrasing.beside_print import alike, beside_print, carrying, joined, shared_notes
from sectionprep.phrasing.breath import breath_cautions, with_breaths
from sectionprep.phrasing.candidates import Candidate, Span
from sectionprep.phrasing.chooser import Chooser, Option, Shape
from sectionprep.phrasing.choosing import choose_all, choosers_of, claims_of, is_locked
from sectionprep.phrasing.decided import Decided, with_print
from sectionprep.phrasing.drafts import (
    WRITTEN_BY_RULES,
    Draft,
    Work,
    evidence_of,
)
from sectionprep.phrasing.dynamics import missing_dynamics
from sectionprep.phrasing.figures import (
    Column,
    agree_on_figures,
    agree_on_hits,
    agree_on_leans,
    agree_on_lengths,
    name_copies,
    struck_together,
)
from sectionprep.phrasing.hairpins import hairpins_of
from sectionprep.phrasing.house import Habit, habits_in_readings, with_habits
from sectionprep.phrasing.losses import explain_losses
from sectionprep.phrasing.notes import notes_of, settle
from sectionprep.phrasing.offers import with_offers
from sectionprep.phrasing.other_readings import readings_of
from sectionprep.phrasing.plan import Later, PassagePlan, Plan, Reading, ReadingsLater
from sectionprep.phrasing.rules import RULES
from sectionprep.phrasing.styles import Style, choose_style
from sectionprep.phrasing.view import LineView, Spot, view_line

#: lines of leads, by passage
Lines = Mapping[str, Sequence[Tone]]
NOTHING_DECIDED = Decided()
PRINTED = ("keep", "prefer", "ignore")
_TUTTI = 8  # parts that come in together and are heard as the band; judgement
_ROUNDS = 8  # a second one changes little and a third next to nothing; each can only add marks


def plan_passages(
    chart: Chart,
    together: Together,
    *,
    style: str | None = None,
    printed: str = "keep",
    habits: Sequence[Habit] = (),
    decided: Decided = NOTHING_DECIDED,
) -> Plan:
    """Plan the lead line of every passage. habits: of the house; they come after the rules."""
    chosen, why = choose_style(chart, style)
    words = {passage.id: SectionWord(chart, passage) for passage in together.marked}
    as_printed = {name: word.line() for name, word in words.items()}
    lines = {name: decided.without(name, line) for name, line in as_printed.items()}
    elsewhere = leads_elsewhere(chart)

    def lay(lines: Lines) -> list[Work]:
        """The lines on the desk, where they have notes."""
        return [
            _of_section(chart, name, words[name], tones, chosen, printed, elsewhere)
            for name, tones in lines.items()
            if tones
        ]

    known: dict[Shape, Chooser] = {}
    plans = _settled(chart, words, lines, lay, printed, habits, known)
    locks = {name: decided.locks(name, line) for name, line in as_printed.items()}
    find = partial(_readings, plans, lines, lay, locks, printed, habits, known)
    plans = _with_readings(plans, find)
    plans = [with_print(plan, as_printed[plan.id], lines[plan.id]) for plan in plans]
    if chosen.cutoffs != "none":
        missing = missing_dynamics(chart, together, chosen)
        plans = [replace(p, dynamics=(missing[p.id],)) if p.id in missing else p for p in plans]
    found = {passage.id for passage in together.passages}
    return Plan(
        style=chosen.name,
        style_why=why,
        passages=tuple(p for p in plans if p.id in found),
        hits=tuple(p for p in plans if p.id not in found),
        printed=printed,
    )


def _settled(
    chart: Chart,
    words: Mapping[str, SectionWord],
    as_read: Lines,
    lay: Callable[[Lines], list[Work]],
    printed: str,
    habits: Sequence[Habit],
    known: dict[Shape, Chooser],
) -> list[PassagePlan]:
    """The plans of passages that stay as they are when their marks are read back as printed: what
    is planned from a marked score is what was marked. known: choosers of phrases, kept from round
    to round."""
    lines = dict(as_read)
    shared = shared_notes(words)
    settled: dict[str, PassagePlan] = {}
    taken = _taken(lines, printed)
    for _ in range(_ROUNDS):
        desk = lay(lines)
        before = [plan.notes for plan in settled.values()]
        fresh_plans = _plan(chart, desk, printed, known)
        for work, plan in zip(desk, fresh_plans, strict=True):
            plan = with_habits(work.view, plan, habits, taken[plan.id])
            plan = replace(plan, second=plan.part in words[plan.id].passage.seconds)
            fresh = beside_print(words[plan.id], plan, printed)
            fresh = joined(settled[plan.id], fresh) if plan.id in settled else fresh
            settled[plan.id] = alike(fresh, words[plan.id], shared.get(plan.id, {}), settled)
            lines[plan.id] = carrying(lines[plan.id], settled[plan.id])
        del desk, fresh_plans  # the next round's take as much again
        if before == [plan.notes for plan in settled.values()]:
            break
    return list(settled.values())


def _taken(lines: Lines, printed: str) -> dict[str, set[int]]:
    """By passage: ticks of notes on which something is printed that stays."""
    return {
        name: {t.onset for t in line if t.marks - SLURS and printed != "ignore"}
        for name, line in lines.items()
    }


def _with_readings(
    plans: Sequence[PassagePlan], find: Callable[[], Sequence[tuple[Reading, ...]]]
) -> list[PassagePlan]:
    """The plans with other ways to read each line, which `find` looks for when they are asked
    for."""
    later = Later(find)
    return [replace(plan, readings=ReadingsLater(later, n)) for n, plan in enumerate(plans)]


def _readings(
    plans: Sequence[PassagePlan],
    as_read: Lines,
    lay: Callable[[Lines], list[Work]],
    locks: Mapping[str, Mapping[int, frozenset[str]]],
    printed: str,
    habits: Sequence[Habit],
    known: dict[Shape, Chooser],
) -> list[tuple[Reading, ...]]:
    """Other ways to read each line. They are looked for where no mark of the kind that the rules
    write stands in the line, but the plan's slurs do: so a score offers the same readings when it
    is marked. locks: what is printed, by passage and tick; it stays in each."""
    by_name = {plan.id: plan for plan in plans}
    opened = {
        name: tuple(
            t._replace(marks=as_one(t.marks - WRITTEN_BY_RULES))
            for t in carrying(as_read[name], plan)
        )
        for name, plan in by_name.items()
    }
    desk = lay(opened)
    _, choosers, chosen = _chosen(desk, printed, known)
    taken = _taken(as_read, printed)
    made = []
    for work, mine, leans in zip(desk, choosers, chosen, strict=True):
        plan = by_name[work.name]
        found = readings_of(work, printed, plan.notes, frozenset(leans), locks[work.name], mine)
        found = habits_in_readings(work.view, plan.notes, found, habits, taken[plan.id])
        made.append(found)
    return made


def _of_section(
    chart: Chart,
    name: str,
    word: SectionWord,
    tones: Sequence[Tone],
    style: Style,
    printed: str,
    elsewhere: Mapping[int, frozenset[int]],
) -> Work:
    """The line of one passage on the desk, with the parts that play it."""
    passage = word.passage
    tutti = len(passage.parts) >= _TUTTI
    view = view_line(word.chart, tones, style, passage.lead, tutti=tutti, elsewhere=elsewhere)
    section = [word.tones[part] for part in passage.parts]
    return _lay_out(name, passage.lead, view, printed, section)


def plan_line(
    chart: Chart,
    part: int,
    *,
    bars: tuple[int, int] | None = None,
    style: str | None = None,
    printed: str = "keep",
) -> Plan:
    """Plan any single line, passage or not. bars: first and last bar index."""
    chosen, why = choose_style(chart, style)
    tones = tuple(t for t in chart.lines[part] if bars is None or bars[0] <= t.bar <= bars[1])

    def lay(lines: Lines) -> list[Work]:
        return [
            _lay_out(name, part, view_line(chart, line, chosen, part), printed)
            for name, line in lines.items()
            if line
        ]

    lines = {"line": tones}
    locks = {"line": NOTHING_DECIDED.locks("line", tones)}
    known: dict[Shape, Chooser] = {}
    planned = _plan(chart, lay(lines), printed, known)
    find = partial(_readings, planned, lines, lay, locks, printed, (), known)
    plans = _with_readings(planned, find)
    return Plan(style=chosen.name, style_why=why, passages=tuple(plans))


def _plan(
    chart: Chart, desk: Sequence[Work], printed: str, known: dict[Shape, Chooser]
) -> tuple[PassagePlan, ...]:
    """The plans of the lines on the desk, all in one style. known: as of `_settled`."""
    columns, _, chosen = _chosen(desk, printed, known)
    for work, leans in zip(desk, chosen, strict=True):
        settle(work, leans)
    agree_on_lengths(columns)
    name_copies(chart, columns, chosen)
    return tuple(
        _finish(chart, work, frozenset(leans)) for work, leans in zip(desk, chosen, strict=True)
    )


def _chosen(
    desk: Sequence[Work], printed: str, known: dict[Shape, Chooser]
) -> tuple[list[Column], list[dict[int, Chooser]], list[set[int]]]:
    """The notes that answer to each other; and of each line the choosers of its phrases and the
    notes that are brought out."""
    columns = agree_on_figures(desk, share_marks=printed == "keep")
    if printed == "keep":
        agree_on_hits(desk)
    choosers = [choosers_of(work.view, known) for work in desk]
    claims = [claims_of(work.view, work.drafts, printed) for work in desk]
    chosen = [
        set(choose_all(work.view, said, mine))
        for work, said, mine in zip(desk, claims, choosers, strict=True)
    ]

    @cache
    def options_of(work: int, phrase: int) -> list[Option]:
        view = desk[work].view
        return claims[work].options(*view.phrases[phrase], view.style.density)

    @cache
    def score_with(work: int, phrase: int, leans: tuple[int, ...]) -> float:
        first, _ = desk[work].view.phrases[phrase]
        return choosers[work][first].score(options_of(work, phrase), [k - first for k in leans])

    def score(work: int, leans: set[int], n: int) -> float:
        """Of the phrase that holds note n."""
        phrase = desk[work].view.spots[n].phrase
        first, last = desk[work].view.phrases[phrase]
        return score_with(work, phrase, tuple(k for k in range(first, last + 1) if k in leans))

    open_columns = [
        c
        for c in (*columns, *struck_together(desk))
        if not any(desk[w].view.closes(d.spot) for w, d in c)
    ]
    agree_on_leans(open_columns, chosen, score, lambda draft: is_locked(draft, printed))
    return columns, choosers, chosen


def _lay_out(
    name: str, part: int, view: LineView, printed: str, section: Sequence[Mapping[int, Tone]] = ()
) -> Work:
    """Let every rule speak about every note."""
    drafts = [
        Draft(
            spot,
            printed=as_one(spot.tone.marks - ORNAMENTS if printed != "ignore" else frozenset()),
            soft=_soft(view, spot),
        )
        for spot in view.spots
    ]
    spans: list[Span] = []
    for rule in RULES:
        for said in rule.propose(view):
            if isinstance(said, Candidate):
                drafts[said.spot].said.append(said)
            else:
                spans.append(said)
    for draft in drafts:
        draft.pooled = evidence_of(draft)
    return Work(name, part, view, drafts, spans, section)


def _soft(view: LineView, spot: Spot) -> bool:
    joined = (
        spot.before == 0 and spot.after == 0 and not spot.pushed
    )  # pushes are alike, whatever stands beside them
    return view.style.soft == "all" or (view.style.soft == "joined" and joined)


def _finish(chart: Chart, work: Work, chosen: frozenset[int]) -> PassagePlan:
    view = work.view
    notes = explain_losses(view, work.drafts, notes_of(work, chosen), chosen)
    notes = with_offers(view, with_breaths(chart, view, notes))
    phrases = tuple((view.spots[a].tone.onset, view.spots[b].tone.end) for a, b in view.phrases)
    return PassagePlan(
        id=work.name,
        part=work.part,
        notes=tuple(notes),
        phrases=phrases,
        hairpins=hairpins_of(chart, work, notes),
        cautions=breath_cautions(chart, work.part, view, notes),
    )
