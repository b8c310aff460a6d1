"""The plan as a file: short lines that a director reads and edits by hand.

TOML of our own. A line is "bar beat | note | marks | figure"; the figure (intervals and lengths
around the note) lets the line find its note again after small edits of the chart. A part's lines
are the director's word: they win over every rule. A file for all charts of a band (a house style)
has `[house]` with its habits (`house.py`) and no lines.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sectionprep.errors import BadArgument, UnusableSettings
from sectionprep.music.chart import Chart
from sectionprep.music.instructions import one_sided
from sectionprep.music.marks import SLURS, say
from sectionprep.music.timing import Place, say_beat
from sectionprep.phrasing.deciding import Decision
from sectionprep.phrasing.directives import figures_of
from sectionprep.phrasing.director_words import LEAVE, WRITABLE, decision_of
from sectionprep.phrasing.house import Habit, parse_habit
from sectionprep.phrasing.plan import PassagePlan, Plan
from sectionprep.phrasing.planner import PRINTED
from sectionprep.phrasing.styles import styles
from sectionprep.phrasing.wishes import Wish
from sectionprep.version import __version__

_KNOWN_IN_PASSAGE = {"id", "lead", "lines", "reading", "comment"}


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanFile:
    """What a plan file settles. style, printed: empty where it leaves them open. habits: of the
    house, as written; decisions: on notes, dynamics, hairpins and readings; copied: instructions to
    be written into every part that they concern; no_rhythm_cues_in: printed numbers of bars;
    comments: what somebody has said of a passage, each as "P3: words"."""

    style: str = ""
    printed: str = ""
    habits: tuple[Habit, ...] = ()
    decisions: tuple[Decision, ...] = ()
    copied: tuple[str, ...] = ()
    no_rhythm_cues_in: tuple[str, ...] = ()
    comments: tuple[str, ...] = ()


_AS_WRITTEN = "# As written: "


def was_edited(text: str) -> bool:
    """True for a plan file that is not as `write_plan` wrote it."""
    first, _, rest = text.partition("\n")
    return first != _AS_WRITTEN + _sum(rest)


def _sum(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:12]


def write_plan(
    chart: Chart, plan: Plan, printed: str = "keep", without_cues: Collection[str] = ()
) -> str:
    """The plan of a chart as the text of a plan file. Its first line tells whether the rest was
    edited since. without_cues: bars in which the rhythm section is shown nothing of the horns."""
    lines = [
        f"# Phrasing plan for {_line(chart.title)}, by sectionprep {__version__}:",
        "# passages (P), hits and pads between them (H).",
        "# A line is: bar beat | note | marks | figure (leave the figure alone).",
        "# Change the marks, take lines out (the rules decide there again) or add some. "
        '"off" at the end writes the release.',
        f'# Marks: {", ".join(m.says for m in WRITABLE if m.name not in SLURS)}; "plain" for none, '
        f'"{LEAVE}" where every part stays as printed.',
        "# More that a line can say:   17 1 | | mf       17 1 to 18 3 | | crescendo",
        "#   17 to 18 | | as bar 12       17 1 | | no hairpin (or no dynamic: our proposal goes)",
        "# lead may be any part: on what a section plays together a line is for all of it.",
        '# reading = "plainer" in a passage takes that reading for all of it.',
        "",
        "[house]",
        f'style = "{plan.style}"',
        f'printed = "{printed}"',
        *(
            [f"no_rhythm_cues_in = [{', '.join(map(_quoted, sorted(without_cues)))}]"]
            if without_cues
            else []
        ),
        *_instructions(chart),
    ]
    for planned in plan.marked:
        figures = figures_of(chart, planned.line(chart))
        lines += [
            "",
            "[[passage]]",
            f"id = {_quoted(planned.id)}",
            f"lead = {_quoted(planned.lead(chart))}",
            "lines = [",
        ]
        for note in planned.notes:
            marks = note.marks - SLURS
            if not (marks or note.decided) and note.cutoff is None:
                continue
            place = chart.place(note.tone.onset)
            words = say(marks) + (" off" if note.cutoff is not None else "")
            words = LEAVE if note.hands_off else words
            lines.append(
                "  "
                + _quoted(
                    f"{place.bar} {say_beat(place.beat)} | {note.tone.head.pitch} | {words} | "
                    f"{figures[note.tone.onset]}"
                )
                + ","
            )
        lines += [f"  {_quoted(line)}," for line in _signs(chart, planned)]
        lines.append("]")
    body = "\n".join(lines) + "\n"
    return f"{_AS_WRITTEN}{_sum(body)}\n{body}"


def _signs(chart: Chart, planned: PassagePlan) -> Iterator[str]:
    """The lines of the dynamics and hairpins that the director has asked for, or does not want."""
    for tick, kind in planned.refused:
        yield f"{_at(chart.place(tick))} | | no {kind}"
    for sign in planned.dynamics:
        if sign.decided:
            yield f"{_at(chart.place(sign.tick))} | | {sign.value}"
    for pin in planned.hairpins:
        if pin.decided:
            end = chart.end_place(pin.stop)
            until = end.bar if end.is_end else _at(end)
            yield f"{_at(chart.place(pin.start))} to {until} | | {pin.kind}"


def _at(place: Place) -> str:
    return f"{place.bar} {say_beat(place.beat)}"


def _instructions(chart: Chart) -> list[str]:
    """What stands in one part and concerns others, to be copied where the director says so."""
    found = one_sided(chart)
    if not found:
        return []
    return [
        "# Words that concern more parts than they stand in: take a # away to have them copied.",
        "copy = [",
        *(f"  # {_quoted(one.key(chart))}," for one in found),
        "]",
    ]


def _line(text: str) -> str:
    return " ".join("".join(c for c in text if c.isprintable()).split())


def _quoted(text: str) -> str:
    plain = _line(text).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{plain}"'


def read_plan(path: Path) -> PlanFile:
    """Read a plan file. Raises UnusableSettings naming the line that cannot be understood."""
    from sectionprep.settings import read_toml

    table = read_toml(path)
    unknown = set(table) - {"house", "passage"}
    if unknown:
        raise UnusableSettings(
            f"has an unknown table [{sorted(unknown)[0]}].",
            where=str(path),
            remedy="Use [house] and [[passage]].",
        )
    house = table.get("house", {})
    if not isinstance(house, dict):
        raise UnusableSettings(
            "house must be a table.", where=str(path), remedy="Write [house] on a line of its own."
        )
    house = dict(house)
    habits = _habits(path, house.pop("habits", []))
    copied = _copied(path, house.pop("copy", []))
    without = _bars(path, house.pop("no_rhythm_cues_in", []))
    for name, value in house.items():
        if name not in ("style", "printed") or not isinstance(value, str):
            raise UnusableSettings(
                f"[house] cannot hold {name} = {value!r}.",
                where=str(path),
                remedy="It knows style, printed, habits, copy and no_rhythm_cues_in.",
            )
    for name, known in (("style", tuple(styles())), ("printed", PRINTED)):
        if house.get(name) and house[name] not in known:
            raise UnusableSettings(
                f"[house] asks for {name} = {house[name]!r}.",
                where=str(path),
                remedy=f"Choose one of: {', '.join(known)}.",
            )
    decisions: list[Decision] = []
    passages = table.get("passage", [])
    if not isinstance(passages, list) or not all(isinstance(one, dict) for one in passages):
        raise UnusableSettings(
            "[passage] must be written [[passage]].",
            where=str(path),
            remedy="Put it in double brackets.",
        )
    for passage in passages:
        decisions.extend(_lines(path, passage))
    return PlanFile(
        style=house.get("style", ""),
        printed=house.get("printed", ""),
        habits=habits,
        decisions=tuple(decisions),
        copied=copied,
        no_rhythm_cues_in=without,
        comments=tuple(
            f"{_line(str(one.get('id', '?')))}: {_line(str(one['comment']))}"
            for one in passages
            if one.get("comment")
        ),
    )


def read_house(path: Path) -> PlanFile:
    """Read a plan file that holds for all charts of a band: [house] alone. Raises
    UnusableSettings."""
    plan = read_plan(path)
    if plan.decisions or plan.copied or plan.no_rhythm_cues_in:
        raise UnusableSettings(
            "speaks of the bars of one chart.",
            where=str(path),
            remedy="For --house leave style, printed and habits in it; give the rest with --plan.",
        )
    return plan


def _bars(path: Path, bars: object) -> tuple[str, ...]:
    if not isinstance(bars, list) or not all(
        isinstance(bar, str | int) and not isinstance(bar, bool) for bar in bars
    ):
        raise UnusableSettings(
            "is not a list of bar numbers.",
            where=f"{path}, [house] no_rhythm_cues_in",
            remedy="Write no_rhythm_cues_in = [12, 45].",
        )
    return tuple(map(str, bars))


def _copied(path: Path, lines: object) -> tuple[str, ...]:
    if not isinstance(lines, list) or not all(isinstance(s, str) and "|" in s for s in lines):
        raise UnusableSettings(
            "is not a list of lines such as 35 | Solo - open.",
            where=f"{path}, [house] copy",
            remedy="A written plan has the lines; take the # in front of one away.",
        )
    return tuple(lines)


def _habits(path: Path, sentences: object) -> tuple[Habit, ...]:
    """The habits of the house. Raises UnusableSettings naming the sentence that cannot be
    understood, and what can be said."""
    where = f"{path}, [house] habits"
    if not isinstance(sentences, list) or not all(isinstance(s, str) for s in sentences):
        raise UnusableSettings(
            "is not a list of sentences.",
            where=where,
            remedy='Write habits = ["off-beat tops: rooftop accent"].',
        )
    found = []
    for n, sentence in enumerate(sentences, start=1):
        try:
            found.append(parse_habit(sentence))
        except BadArgument as error:
            raise UnusableSettings(
                error.what, where=f"{where}, line {n}", remedy=error.remedy
            ) from error
    return tuple(found)


def _lines(path: Path, passage: dict[str, Any]) -> list[Decision]:
    lead, name = passage.get("lead"), passage.get("id", "")
    lines, reading = passage.get("lines", []), passage.get("reading", "")
    where = f"{path}, passage {passage.get('id', '?')}"
    if not isinstance(lead, str) or not isinstance(lines, list):
        raise UnusableSettings(
            "needs a lead (a part's name) and lines.",
            where=where,
            remedy='Write lead = "Alto Sax 1".',
        )
    unknown = sorted(set(passage) - _KNOWN_IN_PASSAGE)
    if unknown:
        raise UnusableSettings(
            f"does not know {unknown[0]!r:.60}.",
            where=where,
            remedy=f"A passage holds {', '.join(sorted(_KNOWN_IN_PASSAGE))}, in small letters.",
        )
    if not isinstance(reading, str) or (reading and not isinstance(name, str)):
        raise UnusableSettings(
            "needs its id and the name of a reading in quotes.",
            where=where,
            remedy='Write id = "P3" and reading = "plainer".',
        )
    asked: list[Decision] = []
    if reading:
        asked.append(
            Wish(kind="reading", value=reading, part=lead, passage=name, source="the plan file")
        )
    return asked + [
        _decision(f"{where}, line {n}", lead, str(line)) for n, line in enumerate(lines, start=1)
    ]


def _decision(where: str, part: str, line: str) -> Decision:
    fields = [" ".join(field.split()) for field in line.split("|")]
    if len(fields) not in (3, 4):
        raise UnusableSettings(
            f"{line!r:.60} is not bar beat | note | marks | figure.",
            where=where,
            remedy="Write for example 17 2and | D5 | accent.",
        )
    try:
        return decision_of(
            part, fields[0], fields[2], note=fields[1], figure=fields[3] if fields[3:] else ""
        )
    except BadArgument as error:
        raise UnusableSettings(error.what, where=where, remedy=error.remedy) from error
