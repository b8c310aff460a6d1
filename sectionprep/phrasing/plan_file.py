"""The plan as a file: short lines that a director reads and edits by hand.

TOML of our own. A line is "bar beat | note | marks | figure"; the figure (intervals and lengths
around the note) lets the line find its note again after small edits of the chart. A part's lines
are the director's word: they win over every rule. A file for all charts of a band (a house style)
has `[house]` with its habits (`house.py`) and no lines.
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path

from sectionprep.errors import BadArgument, UnusableSettings
from sectionprep.music.chart import Chart
from sectionprep.music.instructions import one_sided
from sectionprep.music.marks import SLURS, say
from sectionprep.music.timing import Place, say_beat
from sectionprep.phrasing.deciding import Decision
from sectionprep.phrasing.directives import Directive, figure_of
from sectionprep.phrasing.director_words import LEAVE, WRITABLE, decision_of
from sectionprep.phrasing.house import Habit, parse_habit
from sectionprep.phrasing.plan import PassagePlan, Plan
from sectionprep.phrasing.planner import PRINTED
from sectionprep.phrasing.styles import styles
from sectionprep.phrasing.wishes import Wish
from sectionprep.settings import read_edited, read_toml
from sectionprep.shapes import File, shaped
from sectionprep.version import __version__


class _House(File, frozen=True, kw_only=True):
    style: str = ""
    printed: str = ""
    habits: tuple[str, ...] = ()
    copy: tuple[str, ...] = ()
    no_rhythm_cues_in: tuple[int | str, ...] = ()


class _Passage(File, frozen=True, kw_only=True):
    lead: str
    id: str = ""
    lines: tuple[str, ...] = ()
    reading: str = ""
    comment: str = ""


class _File(File, frozen=True, kw_only=True):
    house: _House = _House()
    passage: tuple[_Passage, ...] = ()


_REMEDIES = {
    "house": "Write [house] on a line of its own.",
    "passage": "Write [[passage]], in double brackets.",
    "lead": 'Write lead = "Alto Sax 1".',
    "lines": 'Write lines = ["17 2and | D5 | accent"].',
    "id": 'Write id = "P3".',
    "reading": 'Write reading = "plainer".',
    "habits": 'Write habits = ["off-beat tops: rooftop accent"].',
    "copy": "A written plan has the lines; take the # in front of one away.",
    "no_rhythm_cues_in": "Write no_rhythm_cues_in = [12, 45].",
}
_KNOWN = (
    "A plan file has "
    + " and ".join(
        f"{table} with {', '.join(shape.__struct_fields__)}"
        for table, shape in (("[house]", _House), ("[[passage]]", _Passage))
    )
    + ", all in small letters."
)


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
_CHECKS = "# Checks of the lines above: a line that you change is known for yours."
_CHECK, _IN_A_LINE = 4, 24  # letters of a check, and checks in a line of at most 100 columns


def was_edited(text: str) -> bool:
    """True for a plan file that is not as `write_plan` wrote it."""
    first, _, rest = text.partition("\n")
    return first != _AS_WRITTEN + _sum(rest)


def as_written(body: str) -> str:
    """A plan file of ours: its first line tells whether the rest was edited since."""
    return f"{_AS_WRITTEN}{_sum(body)}\n{body}"


def _sum(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:12]


def write_plan(
    chart: Chart, plan: Plan, printed: str = "keep", without_cues: Collection[str] = ()
) -> str:
    """The plan of a chart as the text of a plan file. Its first line tells whether the rest was
    edited since. without_cues: bars in which the rhythm section is shown nothing of the horns."""
    checks: list[str] = []
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
        played = planned.line(chart)
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
            line = (
                f"{place.bar} {say_beat(place.beat)} | {note.tone.head.pitch} | {words} | "
                f"{figure_of(chart, played, note.tone.onset)}"
            )
            lines.append(f"  {_quoted(line)},")
            checks.append(_check(planned.lead(chart), line))
        lines += [f"  {_quoted(line)}," for line in _signs(chart, planned)]
        lines.append("]")
    if checks:
        rows = ("".join(checks[n : n + _IN_A_LINE]) for n in range(0, len(checks), _IN_A_LINE))
        lines += ["", _CHECKS, *(f"# {row}" for row in rows)]
    body = "\n".join(lines) + "\n"
    return as_written(body)


def _check(lead: str, line: str) -> str:
    """Of a line as it is read."""
    return _sum(f"{lead}|{line}")[:_CHECK]


def _checks(path: Path) -> frozenset[str]:
    """The checks of the lines that stood in a plan when it was written."""
    text = read_edited(path).decode("utf-8-sig", errors="replace")
    letters = re.match(r"(?:\s*# [0-9a-f]+$)*", text.partition(_CHECKS)[2], re.MULTILINE)
    found = re.sub(r"[#\s]", "", letters[0] if letters else "")
    return frozenset(found[n : n + _CHECK] for n in range(0, len(found), _CHECK))


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
    file = shaped(read_toml(path), _File, str(path), _REMEDIES, _KNOWN)
    house, checks = file.house, _checks(path)
    for name, known in (("style", tuple(styles())), ("printed", PRINTED)):
        asked = getattr(house, name)
        if asked and asked not in known:
            raise UnusableSettings(
                f"[house] asks for {name} = {asked!r}.",
                where=str(path),
                remedy=f"Choose one of: {', '.join(known)}.",
            )
    return PlanFile(
        style=house.style,
        printed=house.printed,
        habits=_habits(path, house.habits),
        decisions=tuple(
            decision for one in file.passage for decision in _decisions(path, one, checks)
        ),
        copied=_copied(path, house.copy),
        no_rhythm_cues_in=tuple(map(str, house.no_rhythm_cues_in)),
        comments=tuple(
            f"{_line(one.id or '?')}: {_line(one.comment)}" for one in file.passage if one.comment
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


def _copied(path: Path, lines: tuple[str, ...]) -> tuple[str, ...]:
    for line in lines:
        if "|" not in line:
            raise UnusableSettings(
                f"{line!r:.60} is no line such as 35 | Solo - open.",
                where=f"{path}, [house] copy",
                remedy=_REMEDIES["copy"],
            )
    return lines


def _habits(path: Path, sentences: tuple[str, ...]) -> tuple[Habit, ...]:
    """The habits of the house. Raises UnusableSettings naming the sentence that cannot be
    understood, and what can be said."""
    where = f"{path}, [house] habits"
    found = []
    for n, sentence in enumerate(sentences, start=1):
        try:
            found.append(parse_habit(sentence))
        except BadArgument as error:
            raise UnusableSettings(
                error.what, where=f"{where}, line {n}", remedy=error.remedy
            ) from error
    return tuple(found)


def _decisions(path: Path, passage: _Passage, checks: Collection[str]) -> Iterator[Decision]:
    """What a passage of a plan file says. checks: of lines as they were written."""
    where = f"{path}, passage {passage.id or '?'}"
    if passage.reading:
        if not passage.id:
            raise UnusableSettings("has a reading and no id.", where=where, remedy=_REMEDIES["id"])
        yield Wish(
            kind="reading",
            value=passage.reading,
            part=passage.lead,
            passage=passage.id,
            source="the plan file",
        )
    said: dict[tuple[str, Fraction], tuple[int, Directive]] = {}  # by hand: without a figure
    for n, line in enumerate(passage.lines, start=1):
        decision = _decision(f"{where}, line {n}", passage.lead, line)
        if isinstance(decision, Directive) and _check(passage.lead, line) in checks:
            decision = replace(decision, listed=True)
        if isinstance(decision, Directive) and not decision.figure:
            before, other = said.setdefault((decision.bar, decision.beat), (n, decision))
            if (other.marks, other.cutoff) != (decision.marks, decision.cutoff):
                raise UnusableSettings(
                    f"says something else of the note of line {before}.",
                    where=f"{where}, line {n}",
                    remedy="Leave one of the two.",
                )
        yield decision


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
