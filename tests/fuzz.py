"""Hunts for crashes with damaged scores: `python tests/fuzz.py --cases 300 --seed 0 [--keep DIR]`.

Every case takes a healthy score, harms it in one to five ways (elements, attributes, texts, bytes,
encodings, archives) and sends it through all stages up to the results as JSON. Two outcomes are
allowed: it works, or it is refused with a SectionprepError. A finding is anything else: another
exception, more than ten seconds, an input file that changed, notes that differ after marking, more
findings after it than before, a second marking that inserts anything, a marked score that is
refused, marks that cannot be taken out again to the byte. `--keep DIR` saves the file of each
finding; `--seed N --cases 1` repeats one case. Ends with 1 when there are findings.
"""

from __future__ import annotations

import argparse
import copy
import io
import json
import random
import resource
import signal
import sys
import tempfile
import time
import traceback
import zipfile
from collections import Counter
from functools import cache
from importlib.util import find_spec
from pathlib import Path

from lxml import etree

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from build import part_xml, score_xml, transposed
from charts import plant_chart

from sectionprep import stages
from sectionprep.errors import SectionprepError
from sectionprep.music.chart import Chart
from sectionprep.musicxml.editing.splices import undo_splices
from sectionprep.outputs.reports.agreement import (
    changes_json,
    findings_json,
    passages_json,
    plan_json,
)
from sectionprep.outputs.reports.marked_score import packed
from sectionprep.results import Options

SECONDS, MEMORY = 10, 6 * 2**30
ARCHIVES = (
    "schoenberg/opus19/movement6.mxl",
    "bach/bwv104.6.mxl",
    "bach/bwv360.mxl",
    "theoryExercises/checker_demo.mxl",
)
RAW = "\ue000"  # stands for bytes that no tree can hold; replaced after serialising
RAW_BYTES = (
    b"\x00",
    b"\x01",
    b"\x1b[2J",
    b"\xff",
    b"\xed\xa0\x80",
    b"&#0;",
    b"&#x1F;",
    b"&lt;",
    b"&nope;",
    b"<",
    b"<!--",
)
NUMBERS = (
    "0",
    "-0",
    "1",
    "-1",
    "2",
    "3",
    "7",
    "127",
    "128",
    "999",
    "65536",
    "4294967296",
    "99999999999999999999",
    "9" * 5000,
    "0.5",
    "-2.75",
    "1/3",
    "1/0",
    "nan",
    "inf",
    "-inf",
    "1e308",
    "1e9999999",
    "1e-9999999",
    "٣",
    "²",
    " 5 ",
    "3+2",
    "2+",
)
TEXTS = (
    "",
    " ",
    "\t\n",
    "x",
    "start",
    "stop",
    "continue",
    "yes",
    "none",
    "percussion",
    "H",
    "mf",
    "sfz",
    "crescendo",
    "D.S. al Coda",
    "To Coda",
    "Fine",
    "D.C.",
    "straight mute",
    "open",
    "Trumpet in Bb 1",
    "Drum Set",
    "=1+1",
    "../../x",
    "🎺",
    "\u202etxet\u202c",
    "e\u0301\u0327",
    "\u0085\u2028",
    "<b>&amp;",
    "{0}%s[bold]",
    "\ufffd",
    "A" * 70_000,
    RAW,
    f"a{RAW}b",
)
TAGS = (
    "note",
    "rest",
    "chord",
    "grace",
    "cue",
    "backup",
    "forward",
    "direction",
    "measure",
    "part",
    "unpitched",
    "notations",
)
PIECES = (
    "<note><grace/><pitch><step>C</step></pitch></note>",
    "<note/>",
    "<backup><duration>@</duration></backup>",
    "<attributes><divisions>@</divisions><time><beats>@</beats><beat-type>8</beat-type>"
    "</time></attributes>",
    "<attributes><transpose><chromatic>@</chromatic><octave-change>@</octave-change>"
    "</transpose></attributes>",
    "<attributes><measure-style><multiple-rest>@</multiple-rest></measure-style><staves>@"
    "</staves></attributes>",
    "<direction><direction-type><words>#</words></direction-type><offset>@</offset>"
    "<staff>@</staff></direction>",
    "<direction><direction-type><dynamics><p/><other-dynamics>#</other-dynamics>"
    "</dynamics></direction-type></direction>",
    "<direction><direction-type><metronome><per-minute>@</per-minute></metronome>"
    "</direction-type></direction>",
    "<barline><ending number='@' type='start'/><repeat direction='backward' times='9'/></barline>",
    "<sound tempo='@'/>",
    "<harmony><root><root-step>#</root-step><root-alter>@</root-alter></root><kind>#"
    "</kind></harmony>",
    "<notations><slur type='start' "
    "number='@'/><articulations><accent/><x>#</x></articulations></notations>",
    "<notehead parentheses='no'>slash</notehead>",
    "<!--<note>--><?x </note>?>",
    "<type>#</type>",
    "<tie type='start'/>",
)


class _TooSlowError(BaseException):
    """A case took longer than it may."""


def _cut(data: bytes, first: int, bars: int, parts: tuple[int, ...]) -> bytes:
    """Some parts and bars of a score; the attributes of the first bar stay."""
    root = etree.fromstring(data)
    for listed in (list(root.iterfind("part-list/score-part")), root.findall("part")):
        for n, element in enumerate(listed):
            if n not in parts and (parent := element.getparent()) is not None:
                parent.remove(element)
    for part in root.findall("part"):
        start = part.find("measure/attributes")
        part[:] = part.findall("measure")[first : first + bars]
        if start is not None and part[0].find("attributes") is None:
            part[0].insert(0, start)
    return etree.tostring(root, xml_declaration=True, encoding="UTF-8")


@cache
def healthy() -> tuple[tuple[str, bytes], ...]:
    """Name and bytes of every score that mutations start from."""
    demo = (
        Path(__file__).resolve().parent.parent / "demo_chart" / "late_tram_home.musicxml"
    ).read_bytes()
    found = [
        ("demo reeds", _cut(demo, 8, 8, (0, 1, 2, 4))),
        ("demo brass", _cut(demo, 24, 8, (5, 6, 7, 9, 16))),
    ]
    found += [
        (f"planted {seed}", _cut(plant_chart(seed)[0], 0, 10, (0, 1, 2, 3, 7))) for seed in (1, 2)
    ]
    tune = (
        "D4/8 F4/8> r/4 G4/4.~ G4/8 A4/8t B4/8t C5/8t D5/4^ C5/8( A4/8) G4/4F r/8 "
        "F4/8! E4/4- D4/4, r/4 D4/1"
    )
    band = {
        "Trumpet 1": tune,
        "Trumpet 2": tune,
        "Trumpet 3": transposed(tune, -4),
        "Tenor Sax 1": transposed(tune, -12),
    }
    found.append(("tune", score_xml({name: part_xml(text) for name, text in band.items()})))
    home = Path(
        (find_spec("music21") or sys.exit("the package music21 is missing")).origin or ""
    ).parent
    found += [
        (path.stem, path.read_bytes())
        for path in sorted((home / "musicxml" / "lilypondTestSuite").glob("*.xml"))[::5]
    ]
    found += [
        (name, (home / "corpus" / name).read_bytes())
        for name in ARCHIVES
        if (home / "corpus" / name).exists()
    ]
    return tuple(found)


def _inner(root: etree._Element, rng: random.Random) -> etree._Element:
    """Any element but the root (the root of an empty score); often of a kind that the reader counts
    with."""
    wanted = rng.choice(
        (
            "*",
            "*",
            "note",
            "measure",
            "attributes",
            "direction",
            "notations",
            "pitch",
            "part",
            "part-list",
        )
    )
    found = [e for e in root.iter(wanted if wanted == "*" else f"{{*}}{wanted}") if e is not root]
    return rng.choice(found) if found else root


def _order(root: etree._Element, rng: random.Random) -> None:
    """Drop, repeat, shuffle, move, copy or rename elements, or swap what two of a kind hold."""
    kind = rng.choice(("drop", "drop", "repeat", "shuffle", "move", "copy", "rename", "swap"))
    element, target = _inner(root, rng), _inner(root, rng)
    parent = element.getparent()
    if kind == "shuffle":
        element[:] = rng.sample(list(element), len(element))
    elif kind == "copy":
        target.insert(rng.randint(0, len(target)), copy.deepcopy(element))
    elif kind == "rename":
        element.tag = rng.choice((*TAGS, "{urn:x}note", "x"))
    elif kind == "swap":
        found = list(
            root.iter(f"{{*}}{rng.choice(('part', 'measure', 'note', 'score-part', 'direction'))}")
        )
        one, other = rng.sample(found, 2) if len(found) > 1 else (root, root)
        if one not in other.iter() and other not in one.iter():
            one[:], other[:] = list(other), list(one)
    elif parent is not None and kind == "drop":
        parent.remove(element)
    elif parent is not None and kind == "repeat":
        for _ in range(rng.choice((1, 1, 2, 5))):
            parent.insert(parent.index(element), copy.deepcopy(element))
    elif parent is not None and target not in element.iter():
        target.insert(rng.randint(0, len(target)), element)


def _value(root: etree._Element, rng: random.Random) -> None:
    """Corrupt one text, all texts of a kind, or one attribute."""
    kind, value = (
        rng.choice(("one", "one", "all", "attribute", "attribute")),
        rng.choice(rng.choice((NUMBERS, TEXTS))),
    )
    found = [
        e
        for e in root.iter("*")
        if (e.attrib if kind == "attribute" else len(e) == 0 and (e.text or "").strip())
    ]
    if not found:
        return
    tag = rng.choice(sorted({str(e.tag) for e in found}))
    element = rng.choice([e for e in found if e.tag == tag] if rng.random() < 0.5 else found)
    if kind == "attribute":
        name = rng.choice(sorted(str(key) for key in element.attrib))
        value = rng.choice(
            (value, rng.choice(found).get(name) or "")
        )  # an id that another has, for one
        element.set(name, value)
    for other in root.iter(tag) if kind == "all" else [element] if kind == "one" else []:
        other.text = value


def _add(root: etree._Element, rng: random.Random) -> None:
    """A piece of plausible notation where it may not belong."""
    target = _inner(root, rng)
    number, text = rng.choice(NUMBERS), rng.choice(TEXTS)
    made = etree.fromstring(f"<r>{rng.choice(PIECES).replace('@', number)}</r>")
    for element in made.iter("*"):
        element.text = text if element.text == "#" else element.text
    for child in list(made):
        target.insert(rng.randint(0, len(target)), child)


def _harm_bytes(data: bytes, rng: random.Random) -> bytes:
    at, to = sorted((rng.randrange(len(data)), rng.randrange(len(data))))
    junk = rng.choice((b"\n", b"\x00", b"junk", b"\xef\xbb\xbf", b"<x/>"))
    flipped = bytearray(data)
    for _ in range(rng.choice((1, 3, 20))):
        flipped[rng.randrange(len(data))] = rng.choice(
            (0, 9, 10, 34, 38, 47, 60, 62, 127, 255, rng.randrange(256))
        )
    return rng.choice(
        (
            bytes(flipped),
            data[:to],
            data[:at] + data[to:],
            data[:to] + data[at:],
            junk + data,
            data + junk,
            data.replace(b"\n", b"\r\n"),
            data.replace(b"><", b" >\r<"),
        )
    )


def _recode(root: etree._Element, rng: random.Random) -> bytes:
    """The same text in another encoding; declaration, byte order mark and truth need not agree."""
    text = etree.tostring(root, encoding="unicode")
    truth = rng.choice(
        ("utf-8", "utf-16-le", "utf-16-be", "latin-1", "cp1252", "ascii", "utf-32-le", "cp037")
    )
    said = rng.choice(
        (truth, truth, "UTF-16", "utf-8", "ISO-8859-1", "shift_jis", "klingon", "rot13", "")
    )
    marks = {"utf-8": b"\xef\xbb\xbf", "utf-16-le": b"\xff\xfe", "utf-16-be": b"\xfe\xff"}
    declared = f'<?xml version="1.0" encoding="{said}"?>\n' if said else ""
    mark = marks.get(truth, b"") if rng.random() < 0.6 else rng.choice((b"", *marks.values()))
    return mark + (declared + text).encode(truth, "xmlcharrefreplace")


def _zipped(data: bytes, rng: random.Random) -> bytes:
    out = io.BytesIO()
    member = rng.choice(
        ("score.xml", "a.musicxml", "sub/é.xml", "../up.xml", "/top.xml", "x.pdf", "META-INF/s.xml")
    )
    full = (
        member
        if rng.random() < 0.8
        else rng.choice(("missing.xml", "", "../../etc/passwd", "META-INF/container.xml"))
    )
    with zipfile.ZipFile(
        out, "w", rng.choice((zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA))
    ) as z:
        if rng.random() < 0.8:
            z.writestr(
                "META-INF/container.xml",
                f'<container><rootfiles><rootfile full-path="{full}"/></rootfiles></container>',
            )
        z.writestr(member, data)
        z.writestr(zipfile.ZipInfo("folder/"), b"")
    return out.getvalue()


def make_case(number: int) -> tuple[str, bytes, str]:
    """Name of the score and what was done to it, the harmed bytes, and a suffix for the file."""
    rng = random.Random(number)
    name, data = rng.choice(healthy())
    steps: list[str] = []
    if name.endswith(".mxl") and rng.random() < 0.4:
        return f"{name}: archive", _harm_bytes(data, rng), ".mxl"
    if name.endswith(".mxl"):
        archive = zipfile.ZipFile(io.BytesIO(data))
        data = archive.read(next(n for n in archive.namelist() if not n.startswith("META-INF")))
    if rng.random() < 0.8:
        root = etree.fromstring(data)
        for mutation in rng.choices(
            (_order, _value, _add), (3, 2, 1), k=rng.choice((1, 1, 2, 3, 5))
        ):
            mutation(root, rng)
            steps.append(mutation.__name__.strip("_"))
        plain = etree.tostring(root.getroottree(), xml_declaration=True, encoding="UTF-8")
        data = _recode(root, rng) if rng.random() < 0.12 else plain
        data = data.replace(RAW.encode(), rng.choice(RAW_BYTES))
    if not steps or rng.random() < 0.05:
        data = _harm_bytes(data, rng)
        steps.append("bytes")
    if rng.random() < 0.12:
        data = _zipped(data, rng)
        steps.append("zip")
        data = _harm_bytes(data, rng) if rng.random() < 0.3 else data
    return (
        f"{name}: {', '.join(steps)}",
        data,
        ".mxl" if "zip" in steps else rng.choice((".musicxml", ".xml")),
    )


def _sound(chart: Chart) -> list[tuple[object, ...]]:
    return [
        (n.part, n.onset, n.duration, n.pitch, n.sounding, n.tie_start, n.voice)
        for part in chart.parts
        for n in part.notes
    ]


def run_stages(path: Path) -> None:
    """Everything up to the results as JSON. Raises what the stages raise, or AssertionError for a
    broken promise."""
    before = path.read_bytes()
    score = stages.read_score(path, Options())
    try:
        marked = stages.mark_score(score, Options())
    except SectionprepError as error:
        raise AssertionError(f"marking a score that can be read is refused: {error}") from error
    chart, after, document = score.chart, marked.again.chart, score.document
    assert _sound(after) == _sound(chart), "marking changed notes"
    for file in marked.files:
        assert undo_splices(file.data, file.splices) == file.source.data, (
            "the original does not come back"
        )
        if document.archive is not None:
            with zipfile.ZipFile(io.BytesIO(packed(document, file.data, ".mxl"))) as archive:
                assert archive.read(document.member) == file.data, (
                    "the archive does not hold the marked score"
                )
    assert len(marked.after) <= len(marked.before), "more is found after marking than before"
    again = stages.mark_score(marked.again, Options())
    assert not any(file.splices for file in again.files), "a second run inserts something"
    results = [
        passages_json(chart, score.together),
        plan_json(chart, marked.plan),
        findings_json(after, marked.after),
    ]
    results.append({"changes": changes_json(chart, marked.marking)})
    json.dumps(results, ensure_ascii=False, allow_nan=False).encode("utf-8")
    assert path.read_bytes() == before, "the input file was changed"


def judge(path: Path) -> tuple[str, str]:
    """Outcome of one file, and its trace when it is a finding."""

    def stop(_signal: int, _frame: object) -> None:
        raise _TooSlowError(f"more than {SECONDS} s")

    signal.signal(signal.SIGALRM, stop)
    signal.alarm(SECONDS)
    try:
        run_stages(path)
    except SectionprepError as error:
        return f"refused ({type(error).__name__})", ""
    except (Exception, _TooSlowError) as error:
        last = traceback.extract_tb(error.__traceback__)[-1]
        return (
            f"FINDING {type(error).__name__} at {Path(last.filename).name}:{last.lineno}",
            traceback.format_exc(),
        )
    finally:
        signal.alarm(0)
    return "worked", ""


def main() -> int:
    """Run the cases and say what came of them."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--cases", type=int, default=300)
    parser.add_argument("--seed", type=int, default=0, help="number of the first case")
    parser.add_argument("--keep", type=Path, help="folder for the files of findings")
    given = parser.parse_args()
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, resource.getrlimit(resource.RLIMIT_AS)[1]))
    outcomes, began = Counter[str](), time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        for number in range(given.seed, given.seed + given.cases):
            what, data, suffix = make_case(number)
            path = Path(folder) / f"case{suffix}"
            path.write_bytes(data)
            outcome, trace = judge(path)
            outcomes[outcome] += 1
            if trace and outcomes[outcome] <= 3:
                print(f"seed {number}: {what}\n{trace[-1800:]}")
            if trace and given.keep:
                given.keep.mkdir(parents=True, exist_ok=True)
                (given.keep / f"case_{number}{suffix}").write_bytes(data)
    print(*(f"{count:6}  {outcome}" for outcome, count in outcomes.most_common()), sep="\n")
    print(f"{given.cases} cases in {time.monotonic() - began:.1f} s")
    return int(any(outcome.startswith("FINDING") for outcome in outcomes))


if __name__ == "__main__":
    sys.exit(main())
