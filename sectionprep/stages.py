"""The stages in order. The only place where they run one after the other.

read -> find passages -> plan phrasing -> mark every part -> check agreement

What is made of the results follows in `one_output.py` (sheets, workbook or sound alone) and
`preparing.py` (the whole folder).
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from sectionprep.checks import Finding, run_checks
from sectionprep.errors import BadArgument, DestinationError
from sectionprep.garbage import collector_at_rest, give_back
from sectionprep.marking import mark_chart
from sectionprep.music.chart import Chart, Remark, same_music
from sectionprep.music.naming import find_part
from sectionprep.music.roster import EMPTY, ROSTER, Roster, read_roster
from sectionprep.musicxml.editing.bundle import mark_bundle, open_bundle, reread
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.passages import Together, find_passages
from sectionprep.phrasing import PRINTED, Plan, plan_line, plan_passages
from sectionprep.phrasing.agreed import agreed_plan
from sectionprep.phrasing.deciding import (
    Decision,
    Unfit,
    decide,
    decided_notes,
)
from sectionprep.phrasing.plan_file import PlanFile, read_house, read_plan, write_plan
from sectionprep.phrasing.styles import choose_style
from sectionprep.phrasing.wishes import Wish
from sectionprep.results import Marked, Options, Score
from sectionprep.settings import writable
from sectionprep.version import __version__

_PLAIN = Options()
Say = Callable[[str], None]


def no_word(_said: str) -> None:
    """For who has nobody to tell."""


@collector_at_rest()
def read_score(path: Path, options: Options, *, trees: bool = True) -> Score:
    """Read a chart and find its passages. trees: False for who only listens: nothing is marked or
    drawn from the score, and a long one takes half as much memory."""
    roster = read_roster(options.roster) if options.roster else EMPTY
    bundle = open_bundle(path, options.limits, options.tune)
    chart = read_chart(bundle.document, options.limits, roster)
    if not trees:
        bundle = bundle.without_trees()
        give_back()
    roster = roster.of(chart.parts)
    chart, remark = _with_tempo(chart, options)
    if remark is not None:
        chart = replace(chart, remarks=(*chart.remarks, remark))
    if bundle.remark:
        chart = replace(
            chart, remarks=(Remark(where=writable(path.name), what=bundle.remark), *chart.remarks)
        )
    together = find_passages(chart, roster)
    strangers = _strangers(roster, chart, together)
    if strangers:
        chart = replace(chart, remarks=(*strangers, *chart.remarks))
    return Score(bundle=bundle, chart=chart, together=together, roster=roster)


def _with_tempo(chart: Chart, options: Options) -> tuple[Chart, Remark | None]:
    """A chart that states no tempo with the one that is asked for, or that is usual in its
    style."""
    if chart.tempos:
        if options.bpm is None:
            return chart, None
        what = f"the chart states {chart.tempo:g} beats a minute: --bpm is for charts without"
        return chart, Remark(where="tempo", what=what)
    if options.bpm is not None:
        return replace(chart, tempos=((0, options.bpm),)), None
    style, _ = choose_style(chart, options.style)
    what = (
        f"the chart states none: {style.tempo} beats a minute assumed, as is usual in "
        f"{style.name}; say another with --bpm"
    )
    return replace(chart, assumed_tempo=float(style.tempo)), Remark(where="tempo", what=what)


def _strangers(roster: Roster, chart: Chart, together: Together) -> tuple[Remark, ...]:
    """Lines of the roster that fit nothing in this chart."""
    groups = {p.id for p in together.passages} | {p.scope for p in together.passages}
    groups |= {f"bar {chart.place(p.start).bar}" for p in together.passages}
    found = [
        f"a seat for {seat.part}: {_why_not(chart, seat.part)}"
        for seat in roster.seats
        if seat.part not in chart.labels
    ]
    found += [
        f"{wish.part} to lead {wish.of}: {_why_not(chart, wish.part)}"
        for wish in roster.leads
        if wish.part not in chart.labels
    ]
    found += [
        f"{wish.part} to lead {wish.of}: no passage is called that or begins there"
        for wish in roster.leads
        if wish.part in chart.labels and wish.of not in groups
    ]
    return tuple(Remark(where=ROSTER, what=what) for what in found)


def _why_not(chart: Chart, words: str) -> str:
    try:
        return f"is {find_part(chart.parts, words).label}"
    except BadArgument as error:
        return error.what.rstrip(".")


def plan_score(score: Score, options: Options) -> tuple[Plan, Unfit]:
    """Plan all passages; the director's plan file and then the workbook's decisions come last and
    win."""
    settled = read_plan(options.plan) if options.plan else PlanFile()
    given = given_decisions(options)
    decisions = (*settled.decisions, *given)
    typed = (*typed_decisions(settled), *given)
    plan = plan_rules(score, options, settled, decisions=typed)
    return decide(score.chart, score.together, plan, decisions)


def typed_decisions(settled: PlanFile) -> tuple[Decision, ...]:
    """The decisions of a plan file that a person made: a line of a plan as it was written says only
    what the plan says."""
    return tuple(d for d in settled.decisions if isinstance(d, Wish) or not d.listed)


def plan_rules(
    score: Score,
    options: Options,
    settled: PlanFile,
    *,
    decisions: Sequence[Decision] = (),
) -> Plan:
    """Plan all passages by the rules and the habits of the house, before any decision on single
    notes. settled: what the plan file settles; decisions: what will be laid over, which speaks for
    no other note."""
    house = read_house(options.house) if options.house else PlanFile()
    return plan_passages(
        score.chart,
        score.together,
        style=options.style or settled.style or house.style or None,
        printed=_printed(options, settled, house),
        habits=(*house.habits, *settled.habits),
        decided=decided_notes(score.chart, score.together, decisions),
    )


def given_decisions(options: Options) -> tuple[Decision, ...]:
    """What section leaders have said, and then the decisions in the workbook, of those named."""
    said = tuple(decision for path in options.said for decision in _said(path))
    if options.decisions is None:
        return said
    from sectionprep.outputs.workbook import read_typed, to_decisions

    typed = read_typed(options.decisions, insist=False)
    return said + to_decisions(typed, options.decisions)


def _said(path: Path) -> tuple[Decision, ...]:
    """The decisions in a file that a section leader has saved; their reasons name the file."""
    return tuple(replace(one, source=writable(path.name)) for one in read_plan(path).decisions)


def comments(options: Options) -> tuple[str, ...]:
    """What section leaders have written of passages, each as "P3: words"."""
    return tuple(words for path in options.said for words in read_plan(path).comments)


def bars_without_cues(options: Options) -> frozenset[str]:
    """Printed numbers of bars in which the rhythm section is to be shown nothing of the horns."""
    bars = frozenset(read_plan(options.plan).no_rhythm_cues_in) if options.plan else frozenset()
    if options.decisions is None:
        return bars
    from sectionprep.outputs.workbook import cues_taken_out, read_typed

    return bars | cues_taken_out(read_typed(options.decisions))


def _copied(options: Options) -> tuple[str, ...]:
    """Instructions that the director has asked to be copied to the parts they concern."""
    copied = read_plan(options.plan).copied if options.plan else ()
    if options.decisions is not None:
        from sectionprep.outputs.workbook import read_typed, to_copy

        copied += to_copy(read_typed(options.decisions), options.decisions)
    return copied


def _printed(options: Options, settled: PlanFile, house: PlanFile) -> str:
    printed = options.printed or settled.printed or house.printed or "keep"
    if printed not in PRINTED:
        raise BadArgument(
            f"marks printed in the lead cannot be treated as {printed!r}.",
            remedy=f"Choose one of: {', '.join(PRINTED)}.",
        )
    return printed


def plan_part(score: Score, name: str, bars: str | None, options: Options) -> Plan:
    """Plan one part's line. bars: "17-24" in printed numbers, "17-" to the end."""
    chart = score.chart
    part = find_part(chart.parts, name)
    return plan_line(
        chart,
        part.index,
        bars=_bar_range(chart, bars),
        style=options.style,
        printed=_printed(options, PlanFile(), PlanFile()),
    )


def _bar_range(chart: Chart, bars: str | None) -> tuple[int, int] | None:
    if not bars:
        return None
    first, dash, last = re.sub("[\u2012-\u2015]", "-", bars).partition("-")
    if dash and not first.strip():
        raise BadArgument(f"bars {bars!r} have no first bar.", remedy="Write them as in 17-24.")
    if dash and not last.strip():  # "17-": from there to the end
        last = chart.bars[-1].number
    numbers = chart.bars_by_number()
    try:
        found = numbers[first.strip()], numbers[(last or first).strip()]
    except KeyError as error:
        raise BadArgument(
            f"there is no bar {error.args[0]}.",
            remedy=f"Bars run from {chart.bars[0].number} to {chart.bars[-1].number}.",
        ) from error
    if found[1] < found[0]:
        raise BadArgument(
            f"bars {bars!r} run backwards.", remedy="Say the first bar first, as in 17-24."
        )
    return found


@collector_at_rest()
def mark_score(score: Score, options: Options) -> Marked:
    """Mark every part, and read the result again for the checks."""
    plan, unfit = plan_score(score, options)
    return mark_planned(score, plan, options, unfit)


@collector_at_rest()
def fix_score(score: Score, options: Options) -> Marked:
    """Make the section agree with what is printed, without any phrasing of ours: the safe part of
    what `check` finds."""
    return mark_planned(score, agreed_plan(score.chart, score.together), options)


def mark_planned(
    score: Score,
    plan: Plan,
    options: Options,
    unfit: Unfit = (),
) -> Marked:
    """Mark every part with this plan, and read the result again. unfit: decisions that fit
    nowhere, to be handed on."""
    marking = mark_chart(
        score.chart,
        score.together,
        plan,
        section=options.section,
        copied=_copied(options),
    )
    files = mark_bundle(score.bundle, marking.edits, marking.dropped)
    document = reread(score.bundle, files, options.limits)
    chart, _ = _with_tempo(read_chart(document, options.limits, score.roster), options)
    again = Score(
        bundle=replace(
            score.bundle,
            document=document,
            sources=(document,) if len(files) == 1 else score.bundle.sources,
        ),
        chart=chart,
        together=score.together
        if same_music(chart, score.chart)
        else find_passages(chart, score.roster),
        roster=score.roster,
    )
    return Marked(
        score=score,
        plan=plan,
        marking=marking,
        files=files,
        again=again,
        unfit=unfit,
        level=options.level,
    )


def write_plan_file(
    score: Score, plan: Plan, out: Path, options: Options, say: Say = no_word
) -> Path:
    """Write the plan as a file to edit by hand. say: is told what was replaced by force."""
    from sectionprep.outputs.edited_files import replace_plan

    text = write_plan(score.chart, plan, options.printed or "keep", bars_without_cues(options))
    replace_plan(out, text, score.reads(options), force=options.force, say=say)
    return out


def left_to_settle(score: Score, options: Options) -> tuple[tuple[Finding, ...], tuple[str, ...]]:
    """What the checks find in a chart as it is and nobody has settled in the workbook that is
    named; and what somebody has, in words."""
    found = check_score(score, options)
    if options.decisions is None:
        return found, ()
    from sectionprep.outputs.workbook import read_typed, settled_in
    from sectionprep.outputs.workbook.findings import left_alone, without_settled

    plan, _ = plan_score(score, options)
    keys = settled_in(read_typed(options.decisions))
    return without_settled(score.chart, found, keys, left_alone(score.together, plan))


def check_score(score: Score, options: Options) -> tuple[Finding, ...]:
    """Run all checks on a chart as it is."""
    return run_checks(score.chart, score.together, level=options.level)


def write_marked(
    marked: Marked, out: Path, options: Options = _PLAIN, say: Say = no_word
) -> tuple[Path, ...]:
    """Write the marked score (for a folder of parts: a folder of marked files) and the change
    records. say: is told what was replaced by force."""
    from sectionprep.outputs.files import only_one, refuse_input, unless_forced, write_file
    from sectionprep.outputs.reports.agreement import changes_json
    from sectionprep.outputs.reports.marked_score import (
        SCORE_ENDINGS,
        packed,
        record_json,
        refuse_foreign,
        replaced_sum,
    )

    score = marked.score
    if not out.name and not score.bundle.is_folder:
        raise DestinationError(
            "names no file to write.",
            where=f"{str(out)!r}",
            remedy="Name one with -o, for example -o chart_marked.musicxml.",
        )
    if not score.bundle.is_folder and out.suffix.lower() not in SCORE_ENDINGS:
        raise DestinationError(
            f"{out.suffix} is no ending of a score."
            if out.suffix
            else "the name of a score needs an ending.",
            where=str(out),
            remedy=f"End it with one of {', '.join(SCORE_ENDINGS)}.",
        )
    changes = changes_json(score.chart, marked.marking)
    written: list[Path] = []
    places = [
        (file, target, target.with_name(f"{target.stem}.changes.json"))
        for file in marked.files
        for target in [out / file.source.path.name if score.bundle.is_folder else out]
    ]
    with only_one(out if score.bundle.is_folder else out.parent):
        for file, target, record in places:
            for path in (target, record):
                refuse_input(path, score.reads(options))
            with unless_forced(options.force, say):
                refuse_foreign(target, record, file.source.path)
        for file, target, record in places:
            replaces = replaced_sum(target)
            body = record_json(file.source, file.data, file.splices, changes, replaces)
            made = packed(file.source, file.data, target.suffix)
            write_file(record, body.encode("utf-8"))  # it knows both scores, should we die now
            write_file(target, made)
            written += [target, record]
    return tuple(written)


def to_json(data: dict[str, Any]) -> str:
    """The one way in which results are printed as JSON; the first field is our version."""
    data = {"sectionprep": __version__, **data}
    text = json.dumps(data, ensure_ascii=False, indent=1)
    # what steers a terminal or turns the reading direction is written as JSON's escape
    return "".join(c if c.isprintable() or c == "\n" else json.dumps(c)[1:-1] for c in text)
