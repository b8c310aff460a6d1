"""Tables for the terminal."""

from __future__ import annotations

import itertools
import shutil
import textwrap
from collections.abc import Mapping, Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

from sectionprep.checks.finding import MATTERS, SEVERITIES, Finding
from sectionprep.checks.grouping import Group, group_findings
from sectionprep.checks.versions import PartChange
from sectionprep.music.chart import Chart
from sectionprep.music.marks import say
from sectionprep.music.pitch import octaves_away
from sectionprep.music.timing import say_beat
from sectionprep.outputs.director.chart_map import STRIP_KEY, chart_map, strip
from sectionprep.passages import Together
from sectionprep.passages.guests import say_guests
from sectionprep.passages.players import lead_label, say_seconds
from sectionprep.phrasing import Plan


def _width() -> int:
    return max(40, min(140, shutil.get_terminal_size((130, 40)).columns))


def _console() -> Console:
    return Console(width=_width(), highlight=False, emoji=False, markup=False)


def _text(value: object, style: str = "") -> Text:
    return Text("".join(c if c.isprintable() else " " for c in str(value)), style=style)


def _table(*headings: str) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold", padding=(0, 2, 0, 0))
    for heading in headings:
        table.add_column(heading, overflow="fold")
    return table


def passages_table(chart: Chart, together: Together) -> None:
    """The chart map and one line a passage."""
    console = _console()
    console.print(_text(f"{chart.title}: {len(together.passages)} passages", "bold"))
    for line in strip(chart_map(chart, together), _width() - 2):
        console.print(_text(line), no_wrap=True, overflow="crop")
    console.print(_text(STRIP_KEY))
    if chart.says_pickup:
        console.print(_text(f"B{chart.says_pickup[1:]}."))
    console.print()
    table = _table("", "from", "to", "who", "how", "lead", "")
    for p in together.passages:
        start, end = chart.place(p.start), chart.end_place(p.end)
        extra = p.voicing or ", ".join(
            f"{chart.parts[n].chair.says} {octaves_away(k)}" for n, k in p.octaves if k
        )
        if p.returns:
            extra = f"as {p.returns}; {extra}" if extra else f"as {p.returns}"
        odd = sum(d.kind in ("pitch", "missing", "extra") for d in p.deviations)
        if odd:
            extra += f"; {odd} note{'s' if odd > 1 else ''} not with the lead"
        extra = "; ".join(filter(None, (extra, say_seconds(chart, p), say_guests(chart, p))))
        table.add_row(
            p.id,
            f"{start.bar}.{say_beat(start.beat)}",
            end.bar if end.is_end else f"{end.bar}.{say_beat(end.beat)}",
            _text(p.scope),
            p.texture,
            _text(lead_label(chart, p)),
            _text(extra),
        )
    console.print(table)


def plan_lines(chart: Chart, plan: Plan) -> None:
    """Each lead line with its marks and reasons."""
    console = _console()
    console.print(_text(f"{chart.title}: phrased as {plan.style} ({plan.style_why})", "bold"))
    if not plan.marked:
        console.print(
            _text("No line to phrase there: nothing but rests, slashes or unpitched notes.")
        )
    for planned in plan.marked:
        console.print()
        hit = " (hits or pad)" if planned in plan.hits else ""
        console.print(_text(f"{planned.id}  {planned.lead(chart)}{hit}", "bold"))
        table = _table("bar", "beat", "written", "marks", "why")
        for note in planned.notes:
            if not note.marks - {"slur-stop"} and note.cutoff is None:
                continue
            place = chart.place(note.tone.onset)
            words = say(note.marks - {"slur-stop"}) if note.marks - {"slur-stop"} else ""
            if note.cutoff is not None:
                words = f"{words}; off {say_beat(chart.place(note.cutoff).beat)}".strip("; ")
            table.add_row(
                place.bar,
                say_beat(place.beat),
                str(note.tone.head.pitch or ""),
                _text(words),
                _text(note.why),
            )
        console.print(table)
        for dynamic in planned.dynamics:
            console.print(
                _text(f"  ({dynamic.value}) at {chart.place(dynamic.tick)}: {dynamic.why}")
            )
        for caution in planned.cautions:
            console.print(_text(f"  caution: {caution}"))


def findings_screen(chart: Chart, findings: Sequence[Finding]) -> None:
    """What matters on one screen: under each matter, lines that speak of a section at a place."""
    console = _console()
    groups = group_findings(chart, findings)
    if not groups:
        console.print(_text(f"{chart.title}: nothing found; lead and section agree."))
        return
    console.print(_text(f"{chart.title}: {_counts(findings)}", "bold"))
    told = {
        heading: [_lines(group) for group in theirs]
        for heading, theirs in _under_headings(groups).items()
    }
    for heading, entries in told.items():
        shown = _fitting(entries, told)
        left = len(entries) - len(shown)
        console.print(_text(heading + (f" ({left} more)" if left else ""), "bold"))
        for line in itertools.chain.from_iterable(shown):
            console.print(_text(line), no_wrap=True, overflow="crop")
    console.print(_text("Each finding by itself, with what to do: --all"))


_SCREEN = 38  # lines, so that a command and a prompt fit on 40; judgement
_KNOWN = "Only to be known"


def _under_headings(groups: Sequence[Group]) -> dict[str, list[Group]]:
    found: dict[str, list[Group]] = {}
    for group in groups:
        heading = _KNOWN if group.severity == "note" else MATTERS[group.matter]
        found.setdefault(heading, []).append(group)
    return found


def _lines(group: Group) -> list[str]:
    """A group on the screen, in one or two lines; what to do where the program does not do it."""
    settled_by_hand = group.matter in ("notes", "playing", "instructions")
    fix = f" {group.fix}" if settled_by_hand and group.severity != "note" else ""
    pieces = textwrap.wrap(f"{group}.{fix}" if fix else str(group), _width() - 4)
    if len(pieces) > _TALL:
        pieces = [*pieces[: _TALL - 1], f"{pieces[_TALL - 1][: _width() - 8]} ..."]
    return [f"{'    ' if n else '  '}{piece}" for n, piece in enumerate(pieces)]


_TALL = 2  # lines that one entry may take


def _fitting(entries: list[list[str]], told: Mapping[str, list[list[str]]]) -> list[list[str]]:
    """Those that have room: each heading gets an even share of the screen, and what others do not
    need goes to the first that can use it."""
    room = _SCREEN - 2 - len(told)
    needs = {heading: sum(map(len, theirs)) for heading, theirs in told.items()}
    share = {heading: min(need, room // len(told)) for heading, need in needs.items()}
    for heading, need in needs.items():
        share[heading] += min(need - share[heading], room - sum(share.values()))
    mine = next(share[heading] for heading, theirs in told.items() if theirs is entries)
    shown: list[list[str]] = []
    for entry in entries:
        if sum(map(len, shown)) + len(entry) > mine:
            break
        shown.append(entry)
    return shown


def _counts(findings: Sequence[Finding]) -> str:
    counts = {s: sum(f.severity == s for f in findings) for s in SEVERITIES}
    return ", ".join(f"{n} {s}{'s' if n != 1 else ''}" for s, n in counts.items() if n)


def findings_table(chart: Chart, findings: Sequence[Finding]) -> None:
    """One line a finding, in the order in which they matter."""
    console = _console()
    if not findings:
        console.print(_text(f"{chart.title}: nothing found; lead and section agree."))
        return
    console.print(_text(f"{chart.title}: {_counts(findings)}", "bold"))
    table = _table("", "bar", "beat", "part", "what", "what to do")
    for f in findings:
        place = chart.place(f.tick)
        table.add_row(
            f.severity,
            place.bar,
            say_beat(place.beat),
            _text(chart.parts[f.part].label),
            _text(f.message),
            _text(f.fix),
        )
    console.print(table)


def versions_table(chart: Chart, changes: Sequence[PartChange]) -> None:
    """Which parts differ from an older version."""
    console = _console()
    if not changes:
        console.print(
            _text("Nothing differs from the older version: no sheet needs printing again.")
        )
        return
    console.print(
        _text(f"{len(changes)} of {len(chart.parts)} parts differ: print these again", "bold")
    )
    table = _table("part", "", "bars with other notes", "bars with other marks")
    for c in changes:
        table.add_row(_text(c.part), c.status, _text(", ".join(c.notes)), _text(", ".join(c.marks)))
    console.print(table)
    console.print()
