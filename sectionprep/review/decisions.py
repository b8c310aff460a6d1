"""Decisions as steps: which lines of the plan file each of them changes."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from sectionprep.errors import BadArgument
from sectionprep.music.chart import Chart
from sectionprep.music.marks import ORNAMENTS, SLURS, contradict, say
from sectionprep.music.timing import say_beat
from sectionprep.outputs.settled import WAYS, Settled
from sectionprep.phrasing import PassagePlan, PlannedNote
from sectionprep.phrasing.deciding import Decision
from sectionprep.phrasing.directives import figure_of
from sectionprep.phrasing.director_words import LEAVE
from sectionprep.phrasing.house import parse_habit
from sectionprep.phrasing.wishes import DYNAMICS, HAIRPINS, Wish
from sectionprep.review.history import Change, HabitChange, LineChange, SettledChange, Step
from sectionprep.review.plan_text import Key, PlanLine

if TYPE_CHECKING:
    from sectionprep.review.session import Review

VERBS = ("mark", "off", "plain", "leave", "rules")
#: what can be asked for between the notes; "none": not what was proposed there, "rules": takes
#: the decision back
SIGNS = {
    "": ("",),
    "dynamic": (*DYNAMICS, "none", "rules"),
    "hairpin": (*HAIRPINS, "none", "rules"),
}


def words_for(marks: Iterable[str], off: bool) -> str:
    """Marks in the plan file's words: "accent, tenuto off"."""
    return say(frozenset(marks) - SLURS) + (" off" if off else "")


def line_for(
    chart: Chart, planned: PassagePlan, note: PlannedNote, words: str
) -> tuple[Key, PlanLine]:
    """The line that says these words of a note."""
    at = chart.place(note.tone.onset)
    place = f"{at.bar} {say_beat(at.beat)}"
    figure = figure_of(chart, planned.line(chart), note.tone.onset)
    text = f"{place} | {note.tone.head.pitch} | {words} | {figure}"
    return Key(planned.lead(chart), place), PlanLine(planned.id, text)


def note_step(
    review: Review, name: str, tick: int, verb: str, mark: str = "", *, everywhere: bool = False
) -> Step:
    """A decision on one note, or on it everywhere its figure returns. verb: "mark" puts a mark on
    or takes it off, "off" the cut-off; "plain", "leave" (as printed in every part), "rules" (takes
    decisions back). Raises BadArgument."""
    planned, note = review.planned(name), _note(review, name, tick)
    words = "" if verb == "rules" else _new_words(note, verb, mark)
    where = [(planned, note)]
    if everywhere:
        answers = review.answers[name, tick]
        where = [(review.planned(other), _note(review, other, at)) for other, at in answers]
    place = review.score.chart.place(tick)
    also = f" and {len(where) - 1} more" if len(where) > 1 else ""
    says = f"bar {place.bar}, beat {say_beat(place.beat)}{also}: {words or 'as the rules say'}"
    changes = tuple(_line_change(review, its_plan, n, words) for its_plan, n in where)
    return Step(says, name, changes)


def sign_step(review: Review, name: str, tick: int, sign: str, value: str, until: int) -> Step:
    """A dynamic at a note of a lead, or a hairpin from it to another (`until`, an onset, or the end
    of the passage). sign, value: of SIGNS. Raises BadArgument."""
    chart, planned, passage = review.score.chart, review.planned(name), review.passages[name]
    lead = planned.lead(chart)
    place = _place(chart, _note(review, name, tick).tone.onset)
    key = Key(lead, f"{place} {sign}")
    was = review.desk.line(key)
    if value == "rules":
        return Step(f"bar {place}: {sign} as the rules say", name, (LineChange(key, was, None),))
    words, at = (f"no {sign}" if value == "none" else value), place
    if value in HAIRPINS:
        if not tick < until <= passage.end:
            raise BadArgument("a hairpin ends after it begins, and inside the passage.")
        end = chart.end_place(until)
        at = f"{place} to {end.bar if end.is_end else _place(chart, until)}"
    return Step(
        f"bar {at}: {words}", name, (LineChange(key, was, PlanLine(name, f"{at} | | {words}")),)
    )


def _place(chart: Chart, tick: int) -> str:
    """ "17 2and", as a plan file has it."""
    at = chart.place(tick)
    return f"{at.bar} {say_beat(at.beat)}"


def _note(review: Review, name: str, tick: int) -> PlannedNote:
    for note in review.planned(name).notes:
        if note.tone.onset == tick:
            return note
    raise BadArgument("no note of the lead begins there.")


def _new_words(note: PlannedNote, verb: str, mark: str) -> str:
    marks, off = note.marks - SLURS, note.cutoff is not None
    if verb == "leave":
        return LEAVE
    if verb == "plain":
        return words_for((), False)
    if verb == "off":
        return words_for(marks - ORNAMENTS | (marks & {"shake"}), not off)
    if mark in marks:
        return words_for(marks - {mark}, off)
    kept = {m for m in marks if not contradict(m, mark) and m not in ORNAMENTS - {"shake"}}
    return words_for(kept | {mark}, off)


def _line_change(review: Review, planned: PassagePlan, note: PlannedNote, words: str) -> Change:
    key, line = line_for(review.score.chart, planned, note, words)
    was = review.desk.line(key)
    if words:
        return LineChange(key, was, line)
    if not review.desk.speaks_itself(key):
        return LineChange(key, was, None)
    by_rules = review.rules.of(planned.id)
    assert by_rules is not None
    same = next(n for n in by_rules.notes if n.tone.onset == note.tone.onset)
    said = words_for(same.marks, same.cutoff is not None)
    return LineChange(key, was, line_for(review.score.chart, planned, note, said)[1])


def reading_step(review: Review, name: str, reading: str) -> Step:
    """One of the readings for the whole passage; "" takes every decision in it back. Raises
    BadArgument."""
    by_rules, planned = review.rules.of(name), review.planned(name)
    assert by_rules is not None
    chosen = by_rules.notes
    if reading:
        chosen = next((r.notes for r in by_rules.readings if r.name == reading), ())
        if not chosen:
            raise BadArgument("there is no such reading.")
    changes = []
    for plain, wanted, note in zip(by_rules.notes, chosen, planned.notes, strict=True):
        same = plain.marks - SLURS == wanted.marks - SLURS
        words = "" if same else words_for(wanted.marks, plain.cutoff is not None)
        changes.append(_line_change(review, planned, note, words))
    says = f'{name}: the reading "{reading}"' if reading else f"{name}: as the rules say"
    return Step(says, name, tuple(changes))


def habit_step(review: Review, sentence: str, wanted: bool) -> Step:
    """A habit of the house, said or taken back. Raises BadArgument."""
    if wanted:
        sentence = parse_habit(sentence).says
    there = sentence in review.desk.text.habits
    says = f"habit of the house: {sentence}" if wanted else f"no longer a habit: {sentence}"
    return Step(says, "", (HabitChange(sentence, there, wanted),))


def finding_step(review: Review, finding: str, way: str) -> Step:
    """A finding settled, or open again (""). Raises BadArgument."""
    if way not in ("", *WAYS):
        raise BadArgument("a finding cannot be settled so.")
    says = review.finding_names().get(finding) or review.desk.findings.get(finding, ("", ""))[1]
    if not says:
        raise BadArgument("there is no such finding.")
    was = review.desk.findings.get(finding, Settled("", "")).way
    change = SettledChange(finding, says, was, way)
    return Step(f"{way or 'open again'}: {says}"[:120], "", (change,))


def taken_over(review: Review, decided: Iterable[Decision], says: str) -> Step:
    """Decisions that came another way (a workbook, a small file of decisions) as one step. Those
    on notes that fit nowhere stay out."""
    changes: list[Change] = []
    for d in decided:
        if isinstance(d, Wish):
            changes.append(_wish_change(review, d))
            continue
        for planned in review.plan.passages + review.plan.hits:
            if planned.lead(review.score.chart) != d.part:
                continue
            for note in planned.notes:
                at = review.score.chart.place(note.tone.onset)
                if (at.bar, at.beat) == (d.bar, d.beat):
                    words = LEAVE if d.marks is None else words_for(d.marks, bool(d.cutoff))
                    changes.append(_line_change(review, planned, note, words))
    return Step(says, "", tuple({c.key: c for c in changes if isinstance(c, LineChange)}.values()))


def _wish_change(review: Review, wish: Wish) -> Change:
    """The line that says a wish."""
    start = f"{wish.bar} {say_beat(wish.beat)}"
    until = f" {say_beat(wish.to_beat)}" if wish.to_beat else ""
    place = f"{start} to {wish.to_bar or wish.bar}{until}" if wish.to_bar or until else start
    key = Key(wish.part, f"{start} {wish.about}")
    passage = wish.passage or "wish"
    return LineChange(key, review.desk.line(key), PlanLine(passage, f"{place} | | {wish.says}"))
