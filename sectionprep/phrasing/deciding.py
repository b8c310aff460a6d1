"""The plan with everything in it that a director has decided: readings, notes, stretches that are
to be like others, dynamics and hairpins. What fits nowhere is returned with the reason."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

from sectionprep.music.chart import Chart
from sectionprep.music.marks import SLURS
from sectionprep.music.notes import Tone
from sectionprep.passages import Passage, Together
from sectionprep.phrasing.decided import Decided
from sectionprep.phrasing.directives import (
    Directive,
    Lead,
    apply_directives,
    lead_of,
    line_of,
    placed,
    plays_in,
)
from sectionprep.phrasing.plan import Dynamic, Hairpin, PassagePlan, Plan
from sectionprep.phrasing.wishes import Wish

Decision = Directive | Wish
#: decisions that fit nowhere, each with the reason
Unfit = tuple[tuple[Decision, str], ...]


def decide(
    chart: Chart, together: Together, plan: Plan, decisions: Sequence[Decision]
) -> tuple[Plan, Unfit]:
    """The plan with these decisions in it. A word on a single note goes before one for a whole
    passage or stretch."""
    wishes = [d for d in decisions if isinstance(d, Wish)]
    notes = [d for d in decisions if isinstance(d, Directive)]
    unfit: list[tuple[Decision, str]] = []
    asked = _Asked(chart, together, unfit)
    for_passages = [d for w in wishes if w.kind == "reading" for d in asked.reading(plan, w)]
    plan, left = apply_directives(chart, together, plan, (*for_passages, *notes))
    unfit += left
    alike = [d for w in wishes if w.kind == "as" for d in asked.alike(plan, w)]
    if alike:
        plan, left = apply_directives(chart, together, plan, (*alike, *notes))
        unfit += [(d, why) for d, why in left if d not in notes]
    for wish in wishes:
        if wish.kind in ("dynamic", "hairpin", "against"):
            plan = asked.sign(plan, wish)
    return plan, tuple(unfit)


def decided_notes(chart: Chart, together: Together, decisions: Sequence[Decision]) -> Decided:
    """Where these decisions stand, for the planner."""
    if not decisions:
        return Decided()
    notes = placed(
        chart, [d for d in decisions if isinstance(d, Directive) and d.marks is not None]
    )
    alike = [d for d in decisions if isinstance(d, Wish) and d.kind == "as"]
    apart, unslurred = set(), set()
    for passage in together.marked:
        lead = (passage.lead, passage.lead in passage.seconds)
        line = [t for t in line_of(chart, lead) if passage.start <= t.onset < passage.end]
        here = {tick: d for (player, tick), d in notes.items() if plays_in(passage, player)}
        ticks = set(here)
        for wish in alike:
            copier = lead_of(chart, wish.part)
            if not isinstance(copier, str) and plays_in(passage, copier):
                ticks.update(_copied(chart, wish, line, lead))
        ticks &= {tone.onset for tone in line}
        tones = [
            tone
            for part in (passage.parts if ticks else ())
            for tone in line_of(chart, (part, part in passage.seconds))
            if tone.onset in ticks
        ]
        apart |= {(passage.id, tone.onset) for tone in tones if tone.marks - SLURS}
        plain = {tick for tick, d in here.items() if not d.marks and not d.cutoff}
        unslurred |= {
            (passage.id, tone.onset) for tone in tones if tone.slurs_from and tone.onset in plain
        }
    reread = (d.passage for d in decisions if isinstance(d, Wish) and d.kind == "reading")
    return Decided(notes=frozenset(apart), unslurred=frozenset(unslurred), reread=frozenset(reread))


def _copied(chart: Chart, wish: Wish, line: Sequence[Tone], lead: Lead) -> Iterator[int]:
    """Notes of a stretch that is to be like another: those that have a model there."""
    numbers = chart.bars_by_number()
    source, first = numbers.get(wish.value), numbers.get(wish.bar)
    if source is None or first is None:
        return
    last = numbers.get(wish.to_bar or wish.bar, first)
    like = {
        (tone.bar - source, chart.place(tone.onset).beat)
        for tone in line_of(chart, lead)
        if source <= tone.bar <= source + last - first
    }
    for tone in line:
        if first <= tone.bar <= last and (tone.bar - first, chart.place(tone.onset).beat) in like:
            yield tone.onset


class _Asked:
    """Finds where a wish belongs, and keeps those that belong nowhere."""

    def __init__(self, chart: Chart, together: Together, unfit: list[tuple[Decision, str]]) -> None:
        self._chart, self._together, self._unfit = chart, together, unfit
        self._numbers = chart.bars_by_number()

    def reading(self, plan: Plan, wish: Wish) -> Iterator[Directive]:
        """The notes of a passage in which a reading differs from the plan."""
        planned = plan.of(wish.passage)
        if planned is None:
            self._no(wish, f"there is no passage {wish.passage}")
            return
        name = planned.lead(self._chart)
        begins = self._chart.place(planned.notes[0].tone.onset).bar if planned.notes else ""
        if (wish.part, wish.bar or begins) != (name, begins):
            self._no(wish, f"{wish.passage} is led by {name} and begins in bar {begins} now")
            return
        other = next((r for r in planned.readings if r.name == wish.value), None)
        if other is None:
            known = ", ".join(r.name for r in planned.readings) or "none"
            self._no(wish, f"its readings are: {known}")
            return
        for now, then in zip(planned.notes, other.notes, strict=True):
            if now.marks - SLURS != then.marks - SLURS:
                place = self._chart.place(now.tone.onset)
                yield Directive(
                    part=name,
                    bar=place.bar,
                    beat=place.beat,
                    marks=(then.marks - SLURS) | (now.marks & SLURS),
                    source=f'{wish.source} (reading "{wish.value}")',
                    cutoff=now.cutoff is not None,
                )

    def alike(self, plan: Plan, wish: Wish) -> Iterator[Directive]:
        """The notes of a stretch with the marks of the stretch that it is to be like."""
        source = self._numbers.get(wish.value)
        there = self._place(wish)
        if source is None or there is None:
            self._no(wish, f"there is no bar {wish.value if source is None else wish.bar}")
            return
        player, start = there
        first = self._chart.bar_at(start).index
        last = self._numbers.get(wish.to_bar or wish.bar, first)
        like = {
            (note.tone.bar - source, self._chart.place(note.tone.onset).beat): note
            for planned in self._plans_of(plan, player)
            for note in planned.notes
            if source <= note.tone.bar <= source + last - first
        }
        found = False
        for planned in self._plans_of(plan, player):
            for note in planned.notes:
                place = self._chart.place(note.tone.onset)
                model = like.get((note.tone.bar - first, place.beat))
                if not first <= note.tone.bar <= last or model is None:
                    continue
                found = True
                yield Directive(
                    part=planned.lead(self._chart),
                    bar=place.bar,
                    beat=place.beat,
                    marks=(model.marks - SLURS) | (note.marks & SLURS),
                    source=f"{wish.source} (as bar {wish.value})",
                    cutoff=model.cutoff is not None,
                )
        if not found:
            self._no(wish, f"no note there begins where one of bar {wish.value} does")

    def sign(self, plan: Plan, wish: Wish) -> Plan:
        """The plan with a dynamic or a hairpin, or without one that was proposed."""
        there = self._place(wish)
        if there is None:
            self._no(wish, f"there is no bar {wish.bar}")
            return plan
        player, start = there
        stop = self._end(wish)
        holding = self._passage(player, start)
        planned = plan.of(holding.id) if holding is not None else None
        if planned is None:
            self._no(wish, "this part plays there with nobody: write it into the score")
            return plan
        if wish.kind == "hairpin" and (stop is None or stop <= start):
            self._no(wish, "say where it ends, after where it begins")
            return plan
        return _with_passage(plan, self._with_sign(planned, wish, start, stop or start))

    def _with_sign(self, planned: PassagePlan, wish: Wish, start: int, stop: int) -> PassagePlan:
        why = f"decided by {wish.source}"
        bar = self._chart.bar_at(start)
        if wish.kind == "dynamic":
            others = tuple(d for d in planned.dynamics if d.tick != start)
            sign = Dynamic(tick=start, value=wish.value, why=why, decided=True)
            return replace(planned, dynamics=(*others, sign))
        if wish.kind == "hairpin":
            kept = tuple(h for h in planned.hairpins if h.stop <= start or h.start >= stop)
            pin = Hairpin(start=start, stop=stop, kind=wish.value, why=why, decided=True)
            return replace(planned, hairpins=(*kept, pin))
        end = max(stop, bar.end)
        dynamics, hairpins = planned.dynamics, planned.hairpins
        if wish.value == "dynamic":
            dynamics = tuple(d for d in dynamics if not bar.start <= d.tick < end)
        else:
            hairpins = tuple(h for h in hairpins if h.stop <= bar.start or h.start >= end)
        gone: set[Dynamic | Hairpin] = {*planned.dynamics, *planned.hairpins}
        gone -= {*dynamics, *hairpins}
        if not gone:
            self._no(wish, f"no {wish.value} was proposed in this bar")
        refused = planned.refused
        if any(not sign.decided for sign in gone):
            refused = (*refused, (start, wish.value))
        return replace(planned, dynamics=dynamics, hairpins=hairpins, refused=refused)

    def _place(self, wish: Wish) -> tuple[Lead, int] | None:
        """Player and tick of a wish; None where there is no such place."""
        index = self._numbers.get(wish.bar)
        if index is None:
            return None
        player = lead_of(self._chart, wish.part)
        if isinstance(player, str):
            self._no(wish, player)
            return None
        return player, self._chart.tick(index, wish.beat)

    def _end(self, wish: Wish) -> int | None:
        index = self._numbers.get(wish.to_bar or wish.bar)
        if index is None or not (wish.to_bar or wish.to_beat):
            return None
        if wish.to_beat == Fraction(0):
            return self._chart.bars[index].end
        return self._chart.tick(index, wish.to_beat)

    def _passage(self, player: Lead, tick: int) -> Passage | None:
        """The passage that somebody plays in at a place; the smallest, if it is in several."""
        found = [
            p for p in self._together.marked if plays_in(p, player) and p.start <= tick < p.end
        ]
        return min(found, key=lambda p: p.end - p.start, default=None)

    def _plans_of(self, plan: Plan, player: Lead) -> list[PassagePlan]:
        """The plans of all that somebody plays in, and of what he plays by himself."""
        ids = {p.id for p in self._together.marked if plays_in(p, player)}
        return [p for p in (*plan.passages, *plan.hits) if p.id in ids] + [
            p for p in plan.own if (p.part, p.second) == player
        ]

    def _no(self, wish: Wish, why: str) -> None:
        if all(said is not wish for said, _ in self._unfit):
            self._unfit.append((wish, why))


def _with_passage(plan: Plan, planned: PassagePlan) -> Plan:
    passages, hits = (
        tuple(planned if p.id == planned.id else p for p in plans)
        for plans in (plan.passages, plan.hits)
    )
    return replace(plan, passages=passages, hits=hits)


def say_unfit(decision: Decision, why: str) -> str:
    """A decision that was not applied, in one line: where it was typed, what it is for, why."""
    typed = f"{decision.cell}: " if decision.cell else ""
    place = f" bar {decision.bar}" if decision.bar else ""
    return f"{typed}{decision.part}{place}: {why}"
