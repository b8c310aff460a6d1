"""The planner: rules propose, the chooser decides, figures that return are phrased alike."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from functools import cache

from sectionprep.music.chart import Chart, Tone
from sectionprep.music.marks import ORNAMENTS, SLURS
from sectionprep.music.roadmap import leads_elsewhere
from sectionprep.music.section_word import SectionWord
from sectionprep.passages import Together
from sectionprep.phrasing.beside_print import alike, beside_print, carrying, joined, shared_notes
from sectionprep.phrasing.breath import breath_cautions, with_breaths
from sectionprep.phrasing.candidates import Candidate, Span
from sectionprep.phrasing.chooser import Chooser, Option, Shape
from sectionprep.phrasing.choosing import choose_all, choosers_of, option_of
from sectionprep.phrasing.drafts import (
    Draft,
    Work,
    evidence_of,
)
from sectionprep.phrasing.dynamics import missing_dynamics
from sectionprep.phrasing.figures import (
    agree_on_figures,
    agree_on_hits,
    agree_on_leans,
    agree_on_lengths,
    name_copies,
    struck_together,
)
from sectionprep.phrasing.hairpins import hairpins_of
from sectionprep.phrasing.house import Habit, with_habits
from sectionprep.phrasing.losses import explain_losses
from sectionprep.phrasing.notes import notes_of, settle
from sectionprep.phrasing.offers import with_offers
from sectionprep.phrasing.other_readings import readings_of
from sectionprep.phrasing.plan import PassagePlan, Plan, Reading
from sectionprep.phrasing.rules import RULES
from sectionprep.phrasing.styles import Style, choose_style
from sectionprep.phrasing.view import LineView, Spot, view_line

PRINTED = ("keep", "prefer", "ignore")
_KEPT = SLURS | ORNAMENTS  # of a decided note: nobody decides them
_TUTTI = 8  # parts that come in together and are heard as the band; judgement
_ROUNDS = 8  # a second one changes little and a third next to nothing; each can only add marks


def plan_passages(
    chart: Chart,
    together: Together,
    *,
    style: str | None = None,
    printed: str = "keep",
    habits: Sequence[Habit] = (),
    readings: bool = True,
    decided: Collection[tuple[str, int]] = (),
) -> Plan:
    """Plan the lead line of every passage. habits: of the house; they come after the rules.
    readings: with other ways to phrase each. decided: notes (passage, tick) that carry what a
    person has decided for them alone: their marks speak for no other note."""
    chosen, why = choose_style(chart, style)
    words = {passage.id: SectionWord(chart, passage) for passage in together.marked}
    plans = _settled(chart, words, chosen, printed, habits, readings=readings, decided=decided)
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
    style: Style,
    printed: str,
    habits: Sequence[Habit],
    *,
    readings: bool,
    decided: Collection[tuple[str, int]],
) -> list[PassagePlan]:
    """The plans of passages that stay as they are when their marks are read back as printed: what
    is planned from a marked score is what was marked."""
    as_printed = {name: word.line() for name, word in words.items()}
    lines = {
        name: tuple(
            t._replace(marks=t.marks & _KEPT) if (name, t.onset) in decided else t for t in line
        )
        for name, line in as_printed.items()
    }
    shared = shared_notes(words)
    elsewhere = leads_elsewhere(chart)
    settled: dict[str, PassagePlan] = {}
    known: dict[Shape, Chooser] = {}
    taken = {
        name: {t.onset for t in line if t.marks - SLURS and printed != "ignore"}
        for name, line in lines.items()
    }
    for _ in range(_ROUNDS):
        desk = [
            _of_section(chart, name, words[name], tones, style, printed, elsewhere)
            for name, tones in lines.items()
            if tones
        ]
        before = [plan.notes for plan in settled.values()]
        # other readings are offered for the line as it was, before our marks stood in it
        fresh_plans = _plan(chart, desk, printed, known, with_readings=readings and not settled)
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
    return [_with_print(plan, as_printed[plan.id], decided) for plan in settled.values()]


def _with_print(
    plan: PassagePlan, line: Sequence[Tone], decided: Collection[tuple[str, int]]
) -> PassagePlan:
    """The plan with the marks that are printed at decided notes."""
    printed = {t.onset: t for t in line if (plan.id, t.onset) in decided}
    if not printed:
        return plan
    notes = (
        replace(n, tone=t, marks=n.marks | t.marks, added=n.added - t.marks)
        if (t := printed.get(n.tone.onset)) is not None
        else n
        for n in plan.notes
    )
    return replace(plan, notes=tuple(notes))


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
    tones = [t for t in chart.lines[part] if bars is None or bars[0] <= t.bar <= bars[1]]
    desk = [_lay_out("line", part, view_line(chart, tones, chosen, part), printed)] if tones else []
    return Plan(style=chosen.name, style_why=why, passages=_plan(chart, desk, printed, {}))


def _plan(
    chart: Chart,
    desk: Sequence[Work],
    printed: str,
    known: dict[Shape, Chooser],
    *,
    with_readings: bool = True,
) -> tuple[PassagePlan, ...]:
    """The plans of the lines on the desk, all in one style. known: choosers of phrases, kept from
    round to round."""
    columns = agree_on_figures(desk, share_marks=printed == "keep")
    if printed == "keep":
        agree_on_hits(desk)
    choosers = [choosers_of(work.view, known) for work in desk]
    chosen = [
        set(choose_all(work.view, work.drafts, printed, mine))
        for work, mine in zip(desk, choosers, strict=True)
    ]

    @cache
    def options_of(work: int, phrase: int) -> list[Option]:
        view = desk[work].view
        first, last = view.phrases[phrase]
        return [
            option_of(d, printed, view.style.density) for d in desk[work].drafts[first : last + 1]
        ]

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
    agree_on_leans(open_columns, chosen, score, lambda draft: option_of(draft, printed, 0.0).locked)
    readings = [
        readings_of(work, printed, frozenset(leans), mine) if with_readings else ()
        for work, leans, mine in zip(desk, chosen, choosers, strict=True)
    ]
    for work, leans in zip(desk, chosen, strict=True):
        settle(work, leans)
    agree_on_lengths(columns)
    name_copies(chart, columns, chosen)
    return tuple(
        _finish(chart, work, frozenset(leans), others)
        for work, leans, others in zip(desk, chosen, readings, strict=True)
    )


def _lay_out(
    name: str, part: int, view: LineView, printed: str, section: Sequence[Mapping[int, Tone]] = ()
) -> Work:
    """Let every rule speak about every note."""
    drafts = [
        Draft(
            spot,
            printed=spot.tone.marks - ORNAMENTS if printed != "ignore" else frozenset(),
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


def _finish(
    chart: Chart, work: Work, chosen: frozenset[int], readings: tuple[Reading, ...]
) -> PassagePlan:
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
        readings=readings,
        cautions=breath_cautions(chart, work.part, view, notes),
    )
