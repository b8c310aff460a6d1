"""The plan as a file: short lines that a director reads and edits by hand.

TOML of our own. A line is "bar beat | note | marks | figure"; the figure (intervals and lengths
around the note) lets the line find its note again after small edits of the chart. A part's lines
are the director's word: they win over every rule. A file for all charts of a band (a house style)
has `[house]` with its habits (`house.py`) and no lines.
"""

from __future__ import annotations

import hashlib
import re
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any

from sectionprep.errors import BadArgument, UnusableSettings
from sectionprep.music.chart import Chart
from sectionprep.music.instructions import one_sided
from sectionprep.music.marks import MARKS, ORNAMENTS, SLURS, say
from sectionprep.music.timing import say_beat
from sectionprep.phrasing.directives import Directive, figures_of
from sectionprep.phrasing.house import Habit, parse_habit
from sectionprep.phrasing.plan import Plan
from sectionprep.phrasing.planner import PRINTED
from sectionprep.phrasing.styles import styles
from sectionprep.version import __version__

_BEAT = re.compile(r"(\d{1,4})(and|e|a)?(?: (\d{1,4})/(\d{1,4}))?", re.ASCII)
_KNOWN_IN_PASSAGE = {"id", "lead", "lines"}
_PIECES = {None: Fraction(0), "and": Fraction(1, 2), "e": Fraction(1, 4), "a": Fraction(3, 4)}
#: what a director may write on a note; of ornaments the shake alone, which goes to the lead
_MARKS = tuple(mark for mark in MARKS if mark.name not in ORNAMENTS - {"shake"})
_WORDS = {mark.says: mark.name for mark in _MARKS}
#: every part stays as it is printed there
LEAVE = "leave it"
_NAMES = frozenset(mark.name for mark in _MARKS)


@dataclass(frozen=True, slots=True, kw_only=True)
class PlanFile:
    """What a plan file settles. style, printed: empty where it leaves them open. habits: of the
    house, as written; directives: decisions on single notes; copied: instructions to be written
    into every part that they concern."""

    style: str = ""
    printed: str = ""
    habits: tuple[Habit, ...] = ()
    directives: tuple[Directive, ...] = ()
    copied: tuple[str, ...] = ()


def parse_words(words: str) -> frozenset[str] | None:
    """Marks from a director's words: "accent + tenuto", "rooftop accent", "plain". None if not
    understood."""
    found: set[str] = set()
    for piece in words.replace("+", ",").replace(";", ",").replace(" and ", ",").split(","):
        word = " ".join(piece.lower().split())
        if word in ("plain", "none", "nothing", ""):
            continue
        name = (
            _WORDS.get(word) or (word if word in _NAMES else None) or _WORDS.get(word.rstrip("s"))
        )
        if name is None:
            return None
        found.add(name)
    return frozenset(found)


_DECIMAL = re.compile(r"\d{1,4}(?:\.\d{0,6}|/[1-9]\d{0,3})?", re.ASCII)


def parse_beat(text: str) -> Fraction | None:
    """ "3", "3and", "3 1/3" or "3.5" as an exact beat."""
    text = " ".join(text.split())
    match = _BEAT.fullmatch(text)
    if match:
        extra = (
            Fraction(int(match[3]), int(match[4])) if match[3] and int(match[4]) else Fraction(0)
        )
        return int(match[1]) + _PIECES[match[2]] + extra
    return Fraction(text).limit_denominator(960) if _DECIMAL.fullmatch(text) else None


_AS_WRITTEN = "# As written: "


def was_edited(text: str) -> bool:
    """True for a plan file that is not as `write_plan` wrote it."""
    first, _, rest = text.partition("\n")
    return first != _AS_WRITTEN + _sum(rest)


def _sum(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8")).hexdigest()[:12]


def write_plan(chart: Chart, plan: Plan, printed: str = "keep") -> str:
    """The plan of a chart as the text of a plan file. Its first line tells whether the rest was
    edited since."""
    lines = [
        f"# Phrasing plan for {_line(chart.title)}, by sectionprep {__version__}:",
        "# passages (P), hits and pads between them (H).",
        "# A line is: bar beat | note | marks | figure (leave the figure alone).",
        "# Change the marks, take lines out (the rules decide there again) or add some. "
        '"off" at the end writes the release.',
        f'# Marks: {", ".join(m.says for m in _MARKS if m.name not in SLURS)}; "plain" for none, '
        f'"{LEAVE}" where every part stays as printed.',
        "",
        "[house]",
        f'style = "{plan.style}"',
        f'printed = "{printed}"',
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
            if not marks and note.cutoff is None and not note.hands_off:
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
        lines.append("]")
    body = "\n".join(lines) + "\n"
    return f"{_AS_WRITTEN}{_sum(body)}\n{body}"


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
    for name, value in house.items():
        if name not in ("style", "printed") or not isinstance(value, str):
            raise UnusableSettings(
                f"[house] cannot hold {name} = {value!r}.",
                where=str(path),
                remedy="It knows style, printed, habits and copy.",
            )
    for name, known in (("style", tuple(styles())), ("printed", PRINTED)):
        if house.get(name) and house[name] not in known:
            raise UnusableSettings(
                f"[house] asks for {name} = {house[name]!r}.",
                where=str(path),
                remedy=f"Choose one of: {', '.join(known)}.",
            )
    directives: list[Directive] = []
    passages = table.get("passage", [])
    if not isinstance(passages, list) or not all(isinstance(one, dict) for one in passages):
        raise UnusableSettings(
            "[passage] must be written [[passage]].",
            where=str(path),
            remedy="Put it in double brackets.",
        )
    for passage in passages:
        directives.extend(_lines(path, passage))
    return PlanFile(
        style=house.get("style", ""),
        printed=house.get("printed", ""),
        habits=habits,
        directives=tuple(directives),
        copied=copied,
    )


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


def _lines(path: Path, passage: dict[str, Any]) -> list[Directive]:
    lead = passage.get("lead")
    lines = passage.get("lines", [])
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
    return [
        _directive(f"{where}, line {n}", lead, str(line)) for n, line in enumerate(lines, start=1)
    ]


def _directive(where: str, lead: str, line: str) -> Directive:
    fields = [" ".join(field.split()) for field in line.split("|")]
    if len(fields) not in (3, 4):
        raise UnusableSettings(
            f"{line!r:.60} is not bar beat | note | marks | figure.",
            where=where,
            remedy="Write for example 17 2and | D5 | accent.",
        )
    bar, _, beat_text = fields[0].partition(" ")
    beat = parse_beat(beat_text)
    words = fields[2]
    left = words.lower() == LEAVE
    off = words.endswith("off") and not left
    marks = parse_words(words.removesuffix("off")) if not left else frozenset()
    if beat is None:
        raise UnusableSettings(
            f"{fields[0]!r} is no bar and beat.", where=where, remedy="Write for example 17 2and."
        )
    if marks is None:
        raise UnusableSettings(
            f"{words!r} is no mark I know.",
            where=where,
            remedy="The marks stand at the top of a written plan.",
        )
    return Directive(
        part=lead,
        bar=bar,
        beat=beat,
        marks=None if left else marks,
        figure=fields[3] if len(fields) == 4 else "",
        source="the plan file",
        cutoff=None if left else off,
        note=fields[1],
    )
