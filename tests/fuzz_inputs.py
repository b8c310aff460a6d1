"""What the hunt through the commands is fed: folders of files and command lines, by kinds. A case
is made of its number alone, so that a number is enough to repeat it."""

from __future__ import annotations

import io
import os
import random
import re
import socket
import warnings
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import fuzz
from build import part_xml, score_xml, transposed
from lxml import etree
from odd_music import odd_score

_PLAN = """[house]
style = "medium-swing"
printed = "keep"

[[passage]]
id = "P1"
lead = "Trumpet 1"
reading = "plainer"
comment = "P1: loud"
lines = [
  "1 1and | F4 | accent | +0:1/2 +3:1/2 +2:2",
  "1 3 | G4 | rooftop accent, off | +3:1/2 +2:2 +2:1/3",
  "2 2 1/3 | D5 | plain | +1:1/3 +2:1 -2:1/2",
  "2 1 | | mf",
  "2 1 to 3 3 | | crescendo",
  "3 | | as bar 1",
  "3 3 | D4 | breath | -1:1 -2:1 +0:4",
]
"""
_ROSTER = """"Trumpet 2" = "trumpet 2"

[[seat]]
part = "Trumpet 1"
instrument = "trumpet"
number = 1
player = "Robin"
copies = 2
staff = 8.5

[[lead]]
of = "bar 1"
part = "Trumpet 2"
"""
_TOML = (
    "{}",
    "[]",
    "[[]]",
    "true",
    "2020-01-01",
    "2020-01-01T00:00:00Z",
    "nan",
    "-inf",
    '""',
    '"""\n"""',
    "'\\'",
    '"\\u202e"',
    "[1, [2, [3, {a = 4}]]]",
    '{"" = ""}',
    "0x10",
    "1_0",
    "[" * 400 + "]" * 400,
    '"' + "x" * 50_000 + '"',
)
_PIECES_OF_LINES = (
    "",
    "1",
    "0 0",
    "9999 4and 1/3",
    "1 1and 1/0",
    "1 to 1",
    "3 3 to 1 1",
    "F4",
    "H9",
    "Cbbb4",
    "accent accent",
    "leave it",
    "plain, accent",
    "off",
    "as bar 1",
    "as bar 99999",
    "mf",
    "crescendo",
    "no hairpin",
    "+0:1/2",
    "+9999999:1/0",
)
_NAMES = (
    "a b",
    ".",
    "..",
    "...",
    "-o",
    "--json",
    "~",
    "é",
    "e\u0301",
    "\u202egnp.x",
    "\x1b[31mred",
    "a\nb",
    "a|b",
    "a'b\"c",
    "\udcff\udcfe",
    "CON",
    "x" * 200,
    "$(x)",
    "*",
    "🎺",
    "a.musicxml.mxl",
    "²",
    "=1+1",
)
#: options that take a value, and those that take none, for each command
_WITH = {
    "prepare": "--style --printed --section --level --minutes --paper --staff --score --study"
    " --plan --decisions --roster --tune --before",
    "audition": "--passage --part --tempos --loops --sound --style --printed --plan --decisions"
    " --roster --tune",
    "practice": "--part --passage --style --plan --roster --tune",
    "sheets": "--part --paper --staff --roster --tune",
    "mark": "--style --printed --section --plan --decisions --roster --tune --record",
    "check": "--level --roster --tune --against --fix",
    "passages": "--roster --tune",
    "plan": "--part --bars --style --printed --plan --decisions --roster --tune --learn",
}
_WITHOUT = {
    "prepare": "--no-section-help --no-cues --no-courtesy --syllables --proof --no-rhythm-cues"
    " --show-changes --force",
    "audition": "--click --no-rhythm --force",
    "practice": "--force",
    "sheets": "--no-section-help --no-cues --no-courtesy --syllables --force",
    "mark": "--undo --force",
    "check": "--json --all --strict --list",
    "passages": "--json",
    "plan": "--json",
}
_VALUES = (
    *("0", "1", "-1", "45", "60,75", "100", "9999999999999", "nan", "inf", "1e999", "7.5", "11"),
    *("1-", "2-1", "-3", "1-99999", "letter", "a4", "keep", "match", "add", "school", "written"),
    *("sounding", "all", "P1", "P99", "wav", "mp3", "ogg", "flac", "bar", "funk", "ballad"),
    "Trumpet 1",
    "",
    " ",
    "²",
    "\x1b[2J",
    "\udcff",
    "a|b",
    "x" * 5000,
    "60,60,60",
    ",".join(str(n) for n in range(1, 21)),
    "tune.musicxml",
    "plan.toml",
    "out",
    "/dev/null",
)
#: what those options are made for
_FITTING = {
    "--style": "funk ballad older-swing",
    "--printed": "keep prefer ignore",
    "--section": "match add report",
    "--level": "pro school",
    "--minutes": "5 45 600",
    "--paper": "letter a4 9x12",
    "--staff": "7 8.5 11",
    "--score": "written sounding",
    "--study": "written sounding",
    "--tempos": "50,75 200",
    "--sound": "wav flac ogg mp3",
    "--loops": "1 3",
    "--passage": "P1",
    "--bars": "1 2-3 1-",
    "--plan": "plan.toml",
    "--before": "out",
    "--learn": ".",
}
_SPECIAL = ("fifo", "folder", "socket", "loop", "dangling", "/dev/zero", "/dev/null", "/dev/full")


@dataclass(slots=True)
class Case:
    """A folder and a command line. files: path in the folder -> bytes, or what it is instead of an
    ordinary file ("fifo", "/dev/zero" for a link there, ...); "unreadable" may not be opened."""

    kind: str
    files: dict[str, bytes | str] = field(default_factory=dict)
    arguments: list[str] = field(default_factory=list)

    def write(self, folder: Path) -> None:
        """Lay the files out."""
        folder.mkdir()
        for name, data in self.files.items():
            path = folder / name
            path.parent.mkdir(parents=True, exist_ok=True)
            if isinstance(data, bytes):
                path.write_bytes(data)
            elif data == "fifo":
                os.mkfifo(path)
            elif data == "folder":
                path.mkdir()
            elif data == "socket":
                with socket.socket(socket.AF_UNIX) as made:
                    made.bind(os.fsencode(path))
            else:
                path.symlink_to({"loop": path.name, "dangling": "nowhere"}.get(data, data))


@cache
def tune() -> bytes:
    """Four players, four bars."""
    melody = "D4/8 F4/8> r/4 G4/4.~ G4/8 A4/8t B4/8t C5/8t D5/4^ C5/8( A4/8) G4/4F r/8 F4/8! E4/4-"
    melody += " D4/4, r/4 D4/1"
    players = {"Trumpet 1": 0, "Trumpet 2": -4, "Tenor Sax 1": -12}
    return score_xml({name: part_xml(transposed(melody, by)) for name, by in players.items()})


@cache
def workbook() -> bytes:
    """The workbook of that tune, with decisions typed in."""
    import contextlib
    import tempfile

    import openpyxl

    from sectionprep import preparing
    from sectionprep.results import Options

    with tempfile.TemporaryDirectory() as folder, contextlib.redirect_stdout(io.StringIO()):
        path = Path(folder) / "tune.musicxml"
        path.write_bytes(tune())
        preparing.prepare(path, Path(folder) / "out", Options())
        made = Path(folder) / "out" / "tune_rehearsal.xlsx"
        book = openpyxl.load_workbook(made)
        for row in book["Marks"].iter_rows(min_row=3, max_row=6, min_col=10, max_col=10):
            row[0].value = "leave it"
        book.save(made)
        return made.read_bytes()


def _command(rng: random.Random, usual: str = "") -> str:
    heavy = ("prepare", "audition", "sheets", "mark", "check", "plan", "passages", "practice")
    return usual or rng.choices(heavy, (1.2, 0.5, 1.2, 3, 4, 3, 3, 0.3))[0]


def _called(command: str, chart: str = "tune.musicxml") -> list[str]:
    """A healthy call of a command."""
    to = {"mark": ["-o", "marked.musicxml"], "plan": [], "check": [], "passages": []}
    extra = ["--part", "all"] if command == "practice" else []
    return [command, chart, *extra, *to.get(command, ["-o", "out"])]


def _score(rng: random.Random) -> Case:
    what = fuzz.make_case(rng.randrange(10**9))
    name = f"chart{what[2]}"
    return Case("score", {name: what[1]}, _called(_command(rng), name))


def _music(rng: random.Random) -> Case:
    return Case("music", {"odd.musicxml": odd_score(rng)}, _called(_command(rng), "odd.musicxml"))


def _harmed_toml(text: str, rng: random.Random) -> bytes:
    lines = text.splitlines()
    for _ in range(rng.choice((1, 1, 2, 4))):
        n = rng.randrange(len(lines))
        value = rng.choice((*_TOML, *fuzz.NUMBERS, f'"{rng.choice(_VALUES)}"'))
        value = value.encode("utf-8", "replace").decode()
        kind = rng.choice(("value", "value", "key", "drop", "repeat", "add", "line", "line"))
        if kind == "value":
            if " = " in lines[n]:
                lines[n] = f"{lines[n].split(' = ')[0]} = {value}"
            elif lines[n].endswith(","):
                lines[n] = f"  {value},"
        elif kind == "key":
            lines[n] = lines[n].replace(" =", rng.choice(("s =", ".a =", ".a.b =", "'é' =")), 1)
        elif kind == "drop" and len(lines) > 1:
            del lines[n]
        elif kind == "repeat":
            lines.insert(n, lines[n])
        elif kind == "add":
            lines.insert(n, f"{rng.choice(('x', 'lines', 'part', 'style', '[a]#'))} = {value}")
        elif kind == "line" and "|" in lines[n]:
            pieces = lines[n].strip(' ",').split(" | ")
            pieces[rng.randrange(len(pieces))] = rng.choice(_PIECES_OF_LINES)
            lines[n] = '  "' + " | ".join(pieces) + '",'
    data = "\n".join(lines).encode()
    if rng.random() < 0.1:
        data = rng.choice((b"\xef\xbb\xbf" + data, data.decode().encode("utf-16"), data + b"\x00"))
    return fuzz._harm_bytes(data, rng) if rng.random() < 0.15 else data


def _plan(rng: random.Random) -> Case:
    command = rng.choices(("plan", "mark", "prepare", "audition"), (6, 4, 1, 1))[0]
    files: dict[str, bytes | str] = {"plan.toml": _harmed_toml(_PLAN, rng)}
    return Case(
        "plan", files, [*_called(command), rng.choice(("--plan", "--decisions")), "plan.toml"]
    )


def _roster(rng: random.Random) -> Case:
    command = rng.choices(("passages", "check", "mark", "prepare", "sheets"), (3, 3, 2, 1, 1))[0]
    files: dict[str, bytes | str] = {"who.toml": _harmed_toml(_ROSTER, rng)}
    return Case("roster", files, [*_called(command), "--roster", "who.toml"])


def _rezipped(members: dict[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            archive.writestr(name, data)
    return out.getvalue()


def _members(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def _xlsx(rng: random.Random) -> Case:
    members = _members(workbook())
    for _ in range(rng.choice((1, 1, 2, 3))):
        name = rng.choice(sorted(members))
        kind = rng.choice(("tree", "tree", "tree", "bytes", "drop", "swap"))
        if kind == "tree" and members[name].lstrip().startswith(b"<"):
            try:
                root = etree.fromstring(members[name])
            except etree.XMLSyntaxError:
                continue
            rng.choice((fuzz._order, fuzz._value))(root, rng)
            members[name] = etree.tostring(root).replace(fuzz.RAW.encode(), b"<")
        elif kind == "bytes" and members[name]:
            members[name] = fuzz._harm_bytes(members[name], rng)
        elif kind == "drop" and len(members) > 1:
            del members[name]
        elif kind == "swap":
            members[name] = members[rng.choice(sorted(members))]
    data = _rezipped(members)
    data = fuzz._harm_bytes(data, rng) if rng.random() < 0.15 else data
    command = rng.choice(("mark", "plan", "plan", "prepare"))
    if command == "prepare" and rng.random() < 0.5:  # an old one lies where the new one goes
        return Case("xlsx", {"out/tune_rehearsal.xlsx": data}, [*_called(command), "--force"])
    return Case("xlsx", {"w.xlsx": data}, [*_called(command), "--decisions", "w.xlsx"])


def _zip(rng: random.Random) -> Case:
    names = ("score.xml", "META-INF/container.xml", "img.png", "a\x1bb", "../up", "/top", "é", "")
    container = b'<container><rootfiles><rootfile full-path="score.xml"/></rootfiles></container>'
    out = io.BytesIO()
    kinds = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA)
    with warnings.catch_warnings(), zipfile.ZipFile(out, "w") as archive:
        warnings.simplefilter("ignore")  # two members of one name are wanted
        archive.comment = rng.choice((b"", b"x" * 500))
        listed = {"META-INF/container.xml": container, "score.xml": tune(), "img.png": b"\x89PNG"}
        for name, data in rng.sample(list(listed.items()), rng.randint(1, 3)):
            made = zipfile.ZipInfo(name if rng.random() < 0.8 else rng.choice(names))
            made.external_attr = rng.choice((0, 0o120777 << 16, 0o40755 << 16, 0x10))
            archive.writestr(made, data, rng.choice(kinds))
    data = bytearray(out.getvalue())
    for _ in range(rng.choice((0, 0, 1, 1, 2))):  # flags, methods, sizes, names of the directory
        signature = rng.choice((b"PK\x01\x02", b"PK\x03\x04", b"PK\x05\x06"))
        if (at := data.find(signature, rng.randrange(len(data)))) >= 0 and at + 47 < len(data):
            data[at + rng.randrange(4, 46)] = rng.choice((0, 1, 8, 9, 99, 255))
    harmed = fuzz._harm_bytes(bytes(data), rng) if rng.random() < 0.2 else bytes(data)
    command = rng.choices(("mark", "check", "prepare", "passages", "sheets"), (5, 3, 1, 3, 1))[0]
    case = Case("zip", {"a.mxl": harmed}, _called(command, "a.mxl"))
    if command == "mark":
        case.arguments[-1] = "marked.mxl"
    return case


def _names(rng: random.Random) -> Case:
    name, to = rng.choice(_NAMES), rng.choice(_NAMES)
    chart = name + rng.choice((".musicxml", ".xml", ".mxl", "", ".MUSICXML"))
    part, other = rng.choice(_NAMES), rng.choice(_NAMES)
    text = "C4/4 D4/4 E4/2 F4/8 G4/8 A4/4 r/2"
    clean = [re.sub("[\x00-\x1f\ud800-\udfff]", "?", n) for n in (part, other)]
    data = score_xml({clean[0]: part_xml(text), clean[1] + " ": part_xml(text)})
    if chart in (".", "..") or "\0" in chart:
        chart = "plain.xml"
    case = Case("names", {chart: data}, _called(_command(rng), chart))
    if "-o" in case.arguments[2:] and rng.random() < 0.6:  # a chart may be called so, too
        case.arguments[case.arguments.index("-o", 2) + 1] = to
    return case


def _options(rng: random.Random) -> Case:
    command = _command(rng)
    case = Case("options", {"tune.musicxml": tune(), "plan.toml": _PLAN.encode()}, _called(command))
    for _ in range(rng.choice((1, 2, 3, 5))):
        if rng.random() < 0.7:
            option = rng.choice(_WITH[command].split())
            fitting = _FITTING.get(option, "").split() if rng.random() < 0.8 else ()
            case.arguments += [option, rng.choice(fitting or _VALUES)]
        else:
            case.arguments.append(rng.choice(_WITHOUT[command].split()))
    return case


def _special(rng: random.Random) -> Case:
    """Something that is no ordinary file in place of an input, an output or what stands beside."""
    what, command = rng.choice(_SPECIAL), _command(rng)
    case = Case("special", {}, _called(command))
    place = rng.choice(("chart", "plan", "roster", "workbook", "out", "beside", "record"))
    if place == "chart":
        name = rng.choice(("x.musicxml", "x.mxl", "x.mid", "x.abc", "x.krn"))
        case.files[name] = what
        case.arguments[1] = name
    elif place in ("plan", "roster", "workbook"):
        flag, name = {
            "plan": ("--plan", "p.toml"),
            "roster": ("--roster", "r.toml"),
            "workbook": ("--decisions", "w.xlsx"),
        }[place]
        case.files[name] = what
        case.arguments += [flag, name]
    elif place == "out":
        case.files[case.arguments[-1] if "-o" in case.arguments else "out"] = what
    elif place == "beside":
        names = ("tune_plan.toml", "tune_rehearsal.xlsx", "tune_marked.musicxml", "parts", "sets")
        names += (".sectionprep-folder.json", ".sectionprep.lock")
        case.files[f"out/{rng.choice(names)}"] = what
    else:
        case.files["tune.changes.json"] = what
        case.arguments = ["mark", "--undo", "tune.musicxml", "-o", "marked.musicxml"]
    return case


_MAKERS: dict[str, Callable[[random.Random], Case]] = {
    "score": _score,
    "music": _music,
    "plan": _plan,
    "roster": _roster,
    "xlsx": _xlsx,
    "zip": _zip,
    "names": _names,
    "options": _options,
    "special": _special,
}
KINDS = tuple(_MAKERS)


def make_case(number: int, kind: str | None = None) -> Case:
    """The case of a number; `kind` only where one kind is looked at alone."""
    rng = random.Random(number)
    chosen = KINDS[number % len(KINDS)]
    case = _MAKERS[kind or chosen](rng)
    if "tune.musicxml" in case.arguments:
        case.files.setdefault("tune.musicxml", tune())
    case.arguments = [a.replace("\0", "") for a in case.arguments]
    return case


__all__ = ["KINDS", "Case", "make_case", "tune", "workbook"]
