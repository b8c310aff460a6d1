"""What to rehearse, in which order, how slowly and for how long.

Order: where most parts disagree and where it is hardest first; then the rest; then the run (common
practice: known weak spots, transitions, then run). Minutes are shared out by need. Need is a
judgement: for what still disagrees, errors 3 and warnings 1; a fifth of that for what the marks
have mended (players remember their old parts); a quarter point for each part; one and a half points
for each note a second, in proportion where there are less than four bars of it; a thirtieth of a
point for each note to be played together. A passage that comes back in the same parts is rehearsed
with the first.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from sectionprep.checks import Finding
from sectionprep.music.chart import Chart
from sectionprep.music.marks import say
from sectionprep.music.timing import say_beat
from sectionprep.passages import Passage, Together
from sectionprep.passages.players import lead_label
from sectionprep.phrasing import PassagePlan
from sectionprep.phrasing.styles import styles
from sectionprep.results import Marked

_RUN_SHARE = 0.2  # of the time goes to playing the chart through; judgement
_LEAST = 2  # minutes worth setting up for; judgement
STEPS = (0.6, 0.75, 0.9, 1.0)  # slow practice tempos as shares of the chart's; judgement
_EASY = 2.0  # notes a second up to which there is nothing to practise slowly; judgement
_FAST = (
    4.0  # notes a second from which a unison is a matter of time and tongue before pitch; judgement
)
_WHOLE = 4  # bars of fast notes that tire as much as more of them; judgement
_WEIGHT = {"error": 3.0, "warning": 1.0, "note": 0.1}


@dataclass(frozen=True, slots=True, kw_only=True)
class Item:
    """One line of the plan. key: stable name for what was typed beside it. tempos: steps, beats a
    minute. why: why it stands where it stands. need: the points of the module's text."""

    key: str
    what: str
    bars: str
    chairs: str
    lead: str
    listen: str
    tempos: tuple[int, ...]
    minutes: int
    sections: frozenset[str]
    why: str = ""
    passage: str = ""
    findings: int = 0
    need: float = 0.0


def plan_rehearsal(marked: Marked, minutes: int = 45) -> tuple[Item, ...]:
    """The items in the order in which to rehearse them; their minutes add up to `minutes`."""
    chart, together, plan = marked.score.chart, marked.score.together, marked.plan
    before, after = marked.before, marked.after
    firsts = _with_returns(together)
    needs = [
        (sum(_need(chart, same, before, after) for same in group) / len(group) ** 0.5, first)
        for first, group in firsts
    ]
    again = {first.id: group[1:] for first, group in firsts}
    needs.sort(key=lambda pair: (-pair[0], pair[1].start))
    run = max(_LEAST, round(minutes * _RUN_SHARE)) if minutes >= 2 * _LEAST else minutes
    room = minutes - run
    chosen = needs[: room // _LEAST]
    shares = _share([need for need, _ in chosen], room)
    if not chosen:
        run = minutes
    items = [
        replace(
            _item(chart, passage, again[passage.id], plan.of(passage.id), before, after, share),
            need=need,
        )
        for (need, passage), share in zip(chosen, shares, strict=True)
    ]
    style = styles().get(plan.style)
    short = style is not None and style.short_quarters
    items.append(
        Item(
            key="run",
            what="Run the chart without stopping",
            bars=f"{chart.bars[0].number}-{chart.bars[-1].number}",
            chairs="all",
            lead="",
            listen=f"Do the releases{' and the short quarters' if short else ''} "
            f"still agree when nobody is thinking of them?",
            tempos=(round(chart.tempo_at(0)),),
            minutes=run,
            sections=frozenset(),
            why="the whole, once its places are known",
            findings=0,
        )
    )
    return tuple(items)


def _with_returns(together: Together) -> list[tuple[Passage, list[Passage]]]:
    """Passages in order, each with those that bring it back in the same parts (itself first)."""
    groups: dict[tuple[str, tuple[int, ...]], list[Passage]] = {}
    for passage in together.passages:
        groups.setdefault((passage.returns or passage.id, passage.parts), []).append(passage)
    return [(group[0], group) for group in groups.values()]


def _need(
    chart: Chart, passage: Passage, before: Sequence[Finding], after: Sequence[Finding]
) -> float:
    open_, were = (
        sum(_WEIGHT[f.severity] for f in findings if f.passage == passage.id)
        for findings in (after, before)
    )
    return (
        1.0
        + open_
        + 0.2 * max(0.0, were - open_)
        + 0.25 * len(passage.parts)
        + _effort(chart, passage)
    )


def _effort(chart: Chart, passage: Passage) -> float:
    bars = (passage.end - passage.start) / chart.bars[chart.bar_at(passage.start).index].length
    return 1.5 * _density(chart, passage) * min(1.0, bars / _WHOLE) + len(passage.attacks) / 30


def _density(chart: Chart, passage: Passage) -> float:
    """Notes a second."""
    seconds = chart.seconds(passage.start, passage.end)
    return len(passage.attacks) / max(seconds, 1.0)


def _why(
    chart: Chart, passage: Passage, before: Sequence[Finding], after: Sequence[Finding]
) -> str:
    """What its need is made of, in words: the same numbers that `_need` weighs."""
    left, were = (
        sum(f.passage == passage.id and f.severity != "note" for f in findings)
        for findings in (after, before)
    )
    said = [f"{left} to settle"] if left else []
    said += [f"{were - left} mended on paper"] if were > left else []
    return ", ".join(
        [*said, f"{len(passage.parts)} parts", f"{_density(chart, passage):.1f} notes a second"]
    )


def _share(needs: Sequence[float], total: int) -> list[int]:
    """Whole minutes by need, at least _LEAST each, adding up exactly."""
    if not needs:
        return []
    spare = total - _LEAST * len(needs)
    exact = [spare * need / sum(needs) for need in needs]
    whole = [int(value) for value in exact]
    order = sorted(range(len(needs)), key=lambda n: (whole[n] - exact[n], n))
    for n in order[: spare - sum(whole)]:
        whole[n] += 1
    return [_LEAST + value for value in whole]


def _item(
    chart: Chart,
    passage: Passage,
    again: Sequence[Passage],
    plan: PassagePlan | None,
    before: Sequence[Finding],
    findings: Sequence[Finding],
    minutes: int,
) -> Item:
    start, end = chart.place(passage.start), chart.end_place(passage.end)
    tempo = chart.tempo_at(passage.start)
    mine = [f for f in findings if f.passage == passage.id and f.severity != "note"]
    middle = (start.index + end.index) // 2  # a pick-up belongs to the letter it leads to
    letter = next((b.rehearsal for b in reversed(chart.bars[: middle + 1]) if b.rehearsal), "")
    where = f"{passage.id}, {letter}: " if letter else f"{passage.id}: "
    return Item(
        key=f"{passage.scope}|{lead_label(chart, passage)}|{start.bar}|{float(start.beat):g}",
        what=f"{where}{passage.scope}, {passage.texture}",
        bars=f"{start.bar} beat {say_beat(start.beat)} - {end.bar}"
        + (f"; again from {', '.join(chart.place(p.start).bar for p in again)}" if again else ""),
        chairs=_chairs(chart, passage),
        lead=lead_label(chart, passage),
        listen=listen_for(chart, passage, plan, mine),
        tempos=tuple(
            dict.fromkeys(
                round(tempo * step / 2) * 2 if step < 1 else round(tempo)
                for step in STEPS
                if step == 1 or _density(chart, passage) > _EASY
            )
        ),
        minutes=minutes,
        sections=frozenset(chart.parts[p].chair.section for p in passage.parts),
        why=_why(chart, passage, before, findings),
        passage=passage.id,
        findings=len(mine),
    )


def _chairs(chart: Chart, passage: Passage) -> str:
    """Every chair by name, or the section's name where that says it all."""
    if len(passage.parts) > 5:
        return passage.scope
    return ", ".join(chart.parts[p].says for p in passage.parts)


def listen_for(
    chart: Chart, passage: Passage, plan: PassagePlan | None, findings: Sequence[Finding]
) -> str:
    """One line: first what disagrees, then what this texture needs, then the passage's own
    marks."""
    said: list[str] = []
    worst = sorted(findings, key=lambda f: (f.severity != "error", f.tick))[:1]
    for finding in worst:
        place = chart.place(finding.tick)
        said.append(
            f"{chart.parts[finding.part].label} in bar {place.bar}: {finding.message.split(';')[0]}"
        )
    if passage.texture == "unison" and _density(chart, passage) >= _FAST:
        said.append("one time and one tongue: every note speaks alike")
    elif passage.texture == "unison":
        said.append("one pitch, one sound: tune, vibrato out")
    elif passage.texture == "octaves":
        said.append("tune the octaves from the bottom, vibrato out")
    elif passage.voicing:
        said.append(
            f"{passage.voicing.split(' (')[0]}: every voice matches the lead's lengths; bring "
            f"out the inner parts"
        )
    if plan is not None:
        counts = Counter(
            m for n in plan.notes for m in n.marks if m not in ("slur-start", "slur-stop")
        )
        if counts:
            most = min(counts, key=lambda mark: (-counts[mark], mark))
            said.append(f"{say(frozenset({most}))}s alike")
        cut = next((n for n in plan.notes if n.cutoff is not None), None)
        if cut is not None and cut.cutoff is not None:
            place = chart.place(cut.cutoff)
            said.append(f"release together: off {say_beat(place.beat)} of bar {place.bar}")
    return "; ".join(said)
