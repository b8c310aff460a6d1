"""The plan against answer keys that readers wrote before they ran it.

    python tests/measure_phrasing.py [KEY ...] [--list] [--check] [--blank ID,ID]

Without KEY all of tests/keys is measured, the other readers' in tests/keys/others, too. `--list`
names every note on which plan and key differ, except on every third line of the other readers'
keys: these are held back, so that rules are mended without having seen them, and have figures of
their own. What readers say of each other's lines is the ceiling: it is printed last.

`--check` reads the keys without running the planner, `--blank` prints lines without their answers,
for another reader.

A key is a TOML file: `reader`, and 30 or so [[line]] tables with `id`, `style`, `tempo` (quarters a
minute), `meter` ("4/4"), `pickup` (quarters), `what` is tested, and the `line` in the shorthand of
build.py. A note's answer stands behind a colon: L it must be leaned on, o either way is fine,
neither: a lean there is wrong; s it is played short, l long, neither: not asked; x its release is
written at its end, x-1 a quarter (in x/8 an eighth) earlier, X either way is fine.

A lean is an accent of any kind, in styles that lean softly a tenuto, too. Length is what a player
does with the page: the mark's, else the habit of the style (quarters short where the style says so,
an eighth before a rest short: facts, Unmarked music). The two-line test leans on every local top
and on every off-beat note that is a quarter or longer or stands before a rest.
"""

from __future__ import annotations

import re
import sys
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from build import chart

from sectionprep.music.chart import Chart
from sectionprep.music.notes import Tone
from sectionprep.phrasing import PlannedNote, plan_line
from sectionprep.phrasing.styles import Style, styles

_HELD = 3
KEYS = Path(__file__).parent / "keys"
_ANSWER = re.compile(
    r"^(?P<lean>[Lo]?)(?P<length>[sl]?)(?:(?P<cut>x)(?:-(?P<early>[\d.]+))?|(?P<any>X))?$"
)
_FRONTS = frozenset({"accent", "strong-accent", "soft-accent", "stress"})
_SHORT = frozenset({"strong-accent", "staccato", "staccatissimo", "spiccato"})
_LONG = frozenset({"accent", "tenuto", "soft-accent", "stress"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What a reader says of one note. lean: "L", "o" or "". length: "s", "l" or "". cutoff: beats
    before the note's end at which it stops, None where nothing is to be written; either: a cut-off
    is neither right nor extra."""

    lean: str = ""
    length: str = ""
    cutoff: Fraction | None = None
    either: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of a key. text: the shorthand without answers; answers: one for each tone."""

    id: str
    style: Style
    text: str
    tempo: float
    meter: tuple[int, int]
    pickup: int
    what: str
    answers: tuple[Answer, ...]

    def chart(self) -> Chart:
        """The line as a chart of one part."""
        made = chart(
            {"Alto Sax 1": self.text}, beats=self.meter[0], unit=self.meter[1], pickup=self.pickup
        )
        return replace(made, tempos=((0, self.tempo),))


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """A reader's answers. outside: the reader knew nothing of the rules."""

    name: str
    reader: str
    lines: tuple[Line, ...]
    outside: bool = False

    def holds_back(self, line: Line) -> bool:
        """Every third line of a reader who knew nothing of the rules."""
        return self.outside and self.lines.index(line) % _HELD == _HELD - 1


def read_key(path: Path) -> Key:
    """Read a key; an assertion names the line that cannot be understood."""
    table = tomllib.loads(path.read_text())
    lines = tuple(_line(row) for row in table["line"])
    assert len({line.id for line in lines}) == len(lines), f"{path}: two lines have one id"
    outside = path.parent.name == "others"
    return Key(name=path.stem, reader=table["reader"], lines=lines, outside=outside)


def _line(row: dict[str, object]) -> Line:
    where = str(row["id"])
    tokens, answers, tied = [], [], False
    for token in str(row["line"]).split():
        note, _, said = token.partition(":")
        tokens.append(note)
        found = _ANSWER.match(said)
        assert found, f"{where}: {token}"
        if note.startswith("r"):
            assert not said, f"{where}: a rest has no answer ({token})"
            tied = False
            continue
        if not tied:
            answers.append(_answer(found))
        tied = "~" in note
    beats, unit = (int(n) for n in str(row.get("meter", "4/4")).split("/"))
    line = Line(
        id=where,
        style=styles()[str(row["style"])],
        text=" ".join(tokens),
        tempo=float(str(row["tempo"])),
        meter=(beats, unit),
        pickup=int(str(row.get("pickup", 0))),
        what=str(row["what"]),
        answers=tuple(answers),
    )
    assert len(line.chart().lines[0]) == len(answers), (
        f"{where}: notes and answers differ in number"
    )
    return line


def _answer(found: re.Match[str]) -> Answer:
    cut = Fraction(found["early"] or 0) if found["cut"] else None
    return Answer(lean=found["lean"], length=found["length"], cutoff=cut, either=bool(found["any"]))


# -- what the plan says, what the two-line test says
# --------------------------------------------------------------------


def leans(style: Style, note: PlannedNote) -> bool:
    """The page brings this note out."""
    return bool(note.marks & (_FRONTS if style.soft == "none" else _FRONTS | {"tenuto"}))


def length(line: Line, notes: Sequence[PlannedNote], n: int, quarter: int) -> str:
    """How long a player holds the note who reads the page: "s" or "l"."""
    note = notes[n]
    if note.marks & _SHORT:
        return "s"
    if note.marks & _LONG:
        return "l"
    rest = notes[n + 1].tone.onset - note.tone.end if n + 1 < len(notes) else quarter
    if (
        line.style.short_quarters
        and note.tone.duration == quarter
        and "slur-start" not in note.marks
    ):
        return "s"
    return "s" if 2 * note.tone.duration <= quarter and 2 * rest >= quarter else "l"


def two_lines(line: Line, here: Chart) -> set[int]:
    """Every local top, every off-beat note that is a quarter or longer or stands before a rest."""
    tones = here.lines[0]
    return {
        n
        for n, tone in enumerate(tones)
        if _top(tones, n)
        or (_off_beat(here, tone) and (tone.duration >= here.resolution or _before_rest(tones, n)))
    }


def _top(tones: Sequence[Tone], n: int) -> bool:
    return 0 < n < len(tones) - 1 and tones[n - 1].pitch < tones[n].pitch > tones[n + 1].pitch


def _before_rest(tones: Sequence[Tone], n: int) -> bool:
    return n + 1 == len(tones) or tones[n + 1].onset > tones[n].end


def _off_beat(here: Chart, tone: Tone) -> bool:
    meter = here.bars[tone.bar].meter
    beat = meter.pulse if meter.is_compound else 1
    return Fraction(tone.onset - here.bars[tone.bar].start, here.resolution) % beat != 0


# -- counting ----
# -----------------------


@dataclass(slots=True)
class Count:
    """hit, wrong, missed: leans; right of asked: lengths; stopped of stops, and extra: cut-offs;
    notes: all."""

    hit: int = 0
    wrong: int = 0
    missed: int = 0
    right: int = 0
    asked: int = 0
    stopped: int = 0
    stops: int = 0
    extra: int = 0
    notes: int = 0
    remarks: list[str] = field(default_factory=list)

    def __iadd__(self, other: Count) -> Count:
        for name in self.__slots__:
            setattr(self, name, getattr(self, name) + getattr(other, name))
        return self

    def leaned(self, answer: Answer, yes: bool, where: str) -> None:
        """One note that is brought out, or not."""
        self.hit += answer.lean == "L" and yes
        if answer.lean == "L" and not yes:
            self.missed += 1
            self.remarks.append(f"{where}: no lean")
        if answer.lean == "" and yes:
            self.wrong += 1
            self.remarks.append(f"{where}: a lean too many")

    def __str__(self) -> str:
        return (
            f"leans: precision {_share(self.hit, self.hit + self.wrong)} recall "
            f"{_share(self.hit, self.hit + self.missed)}"
            f" ({self.hit} right, {self.wrong} wrong, {self.missed} missed)"
        )

    @property
    def rest(self) -> str:
        """Lengths and cut-offs in words."""
        return (
            f"lengths {_share(self.right, self.asked)} ({self.right} of {self.asked}), cut-offs "
            f"{_share(self.stopped, self.stops)} ({self.stopped} of {self.stops}, {self.extra} "
            f"extra)"
        )


def _share(part: int, whole: int) -> str:
    return f"{part / whole:.3f}" if whole else "-"


def measure_line(line: Line) -> tuple[Count, Count]:
    """The plan and the two-line test on one line."""
    here = line.chart()
    notes = plan_line(here, 0, style=line.style.name).passages[0].notes
    ours, plain = Count(notes=len(notes)), Count(notes=len(notes))
    simple = two_lines(line, here)
    for n, (note, answer) in enumerate(zip(notes, line.answers, strict=True)):
        where = f"{line.id} note {n + 1} ({note.tone.head.pitch}, {here.place(note.tone.onset)})"
        ours.leaned(answer, leans(line.style, note), where)
        plain.leaned(answer, n in simple, where)
        if answer.length:
            played = length(line, notes, n, here.resolution)
            ours.asked += 1
            ours.right += played == answer.length
            if played != answer.length:
                ours.remarks.append(
                    f"{where}: {'short' if played == 's' else 'long'}, the key says otherwise"
                )
        _cutoff(ours, here, note, answer, where)
    return ours, plain


def _cutoff(ours: Count, here: Chart, note: PlannedNote, answer: Answer, where: str) -> None:
    unit = here.bars[note.tone.bar].meter.unit
    beat = here.resolution // 2 if unit >= 8 else here.resolution
    wanted = None if answer.cutoff is None else note.tone.end - answer.cutoff * beat
    ours.stops += wanted is not None
    ours.stopped += wanted is not None and note.cutoff == wanted
    if wanted is not None and note.cutoff != wanted:
        ours.remarks.append(
            f"{where}: {'no cut-off' if note.cutoff is None else 'cut-off at another place'}"
        )
    if note.cutoff is not None and note.cutoff != wanted and not answer.either:
        ours.extra += 1
        ours.remarks.append(f"{where}: a cut-off too many")


# -- readers among themselves
# -------------------------------------------------------------------------------------------


def agreement(one: Key, other: Key) -> str:
    """How far two readers agree on the lines that both have answered; empty where there is none."""
    theirs = {line.id: line for line in other.lines}
    lean = [0, 0, 0]  # both, only one of them, notes where neither says "either way"
    asked = same = stops = together = 0
    shared = [
        (line, theirs[line.id])
        for line in one.lines
        if line.id in theirs and theirs[line.id].text == line.text
    ]
    for a, b in ((a, b) for x, y in shared for a, b in zip(x.answers, y.answers, strict=True)):
        if "o" not in (a.lean, b.lean):
            lean[2] += 1
            lean[0] += a.lean == b.lean == "L"
            lean[1] += a.lean != b.lean
        if a.length and b.length:
            asked += 1
            same += a.length == b.length
        if not a.either and not b.either and (a.cutoff, b.cutoff) != (None, None):
            stops += 1
            together += a.cutoff == b.cutoff
    if not shared:
        return ""
    return (
        f"{one.name} and {other.name}, {len(shared)} lines of both: leans of one that the "
        f"other has, too "
        f"{_share(2 * lean[0], 2 * lean[0] + lean[1])}, same answer on "
        f"{_share(lean[2] - lean[1], lean[2])} of {lean[2]} notes, "
        f"lengths {_share(same, asked)} of {asked}, cut-offs {together} of {stops}"
    )


def _pairs(keys: Sequence[Key]) -> Iterator[str]:
    for n, one in enumerate(keys):
        yield from filter(None, (agreement(one, other) for other in keys[n + 1 :]))


def _blank(keys: Sequence[Key], wanted: str) -> Iterator[str]:
    for line in (line for key in keys for line in key.lines if line.id in wanted.split(",")):
        yield (
            f'[[line]]\nid = "{line.id}"\nstyle = "{line.style.name}"\ntempo = {line.tempo:g}\n'
            f'meter = "{line.meter[0]}/{line.meter[1]}"\nwhat = "{line.what}"\nline = '
            f'"{line.text}"\n'
        )


def main(arguments: Sequence[str]) -> None:
    """Print the figures of each key and of all."""
    flags = {word for word in arguments if word.startswith("--")}
    blank = arguments[arguments.index("--blank") + 1] if "--blank" in flags else ""
    paths = [Path(word) for word in arguments if word.endswith(".toml")] or sorted(
        KEYS.rglob("*.toml")
    )
    keys = [read_key(path) for path in paths]
    if blank:
        print("\n".join(_blank(keys, blank)))
        return
    total, plain_total = Count(), Count()
    for key in keys:
        ours, plain, held = Count(), Count(), Count()
        for line in key.lines if "--check" not in flags else ():
            mine, simple = measure_line(line)
            ours += mine
            plain += simple
            if key.holds_back(line):
                held += mine
        print(
            f"{key.name}: {len(key.lines)} lines, "
            f"{sum(len(line.answers) for line in key.lines)} notes ({key.reader})"
        )
        if "--check" not in flags:
            print(f"  {ours}\n  {ours.rest}\n  two-line test, {plain}")
            if held.notes:
                print(f"  every third line, held back: {held}\n    {held.rest}")
        if "--list" in flags:
            unseen = set(held.remarks)
            print("".join(f"    {r}\n" for r in ours.remarks if r not in unseen), end="")
        total += ours
        plain_total += plain
    if len(keys) > 1 and "--check" not in flags:
        print(f"all keys\n  {total}\n  {total.rest}\n  two-line test, {plain_total}")
    print("".join(f"{said}\n" for said in _pairs(keys)), end="")


if __name__ == "__main__":
    main(sys.argv[1:])
