"""Hunts for crashes with damaged scores: `python tests/fuzz.py --cases 300 --seed 0 [--keep DIR]`.

Every case takes a healthy score, harms it in one to five ways (elements, attributes, texts, bytes, encodings, archives)
and sends it through all stages up to the results as JSON. Two outcomes are allowed: it works, or it is refused with a
SectionprepError. A finding is anything else: another exception, more than ten seconds, an input file that changed, notes
that differ after marking, a marked score that is refused, marks that cannot be taken out again to the byte. `--keep DIR`
saves the file of each finding; `--only N` repeats one case by its seed number. Ends with 1 when there are findings.
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
from collections.abc import Callable
from functools import cache
from importlib.util import find_spec
from pathlib import Path

from lxml import etree

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
sys.path.insert(0, str(Path(__file__).resolve().parent))

from build import part_xml, score_xml, transposed
from generator import plant_chart

from sectionprep.checks import run_checks
from sectionprep.errors import SectionprepError
from sectionprep.marking import mark_chart
from sectionprep.music.chart import Chart
from sectionprep.musicxml.document import open_document, parse_document
from sectionprep.musicxml.insertions import apply_splices, splices_for, undo_splices
from sectionprep.musicxml.reader import read_chart
from sectionprep.outputs.marked_score import packed
from sectionprep.outputs.reports import changes_json, findings_json, passages_json, plan_json
from sectionprep.passages import find_passages
from sectionprep.phrasing import plan_passages

DEMO = Path(__file__).resolve().parent.parent / "demo_chart" / "late_tram_home.musicxml"
SECONDS, MEMORY = 10, 6 * 2**30
LIBRARY = (
    "01a-Pitches-Pitches", "02c-Rests-MultiMeasureRests", "03c-Rhythm-DivisionChange", "11c-TimeSignatures-CompoundSimple",
    "13c-KeySignatures-NonTraditional", "21f-Chord-ElementInBetween", "23d-Tuplets-Nested", "24c-GraceNote-MeasureEnd",
    "31a-Directions", "32a-Notations", "33a-Spanners", "33c-Spanners-Slurs", "41g-PartNoId", "41h-TooManyParts",
    "42a-MultiVoice-TwoVoicesOnStaff-Lyrics", "43d-MultiStaff-StaffChange", "45e-Repeats-Nested-Alternatives",
    "46d-PickupMeasure-ImplicitMeasures", "61e-Lyrics-Chords", "71f-AllChordTypes", "72c-TransposingInstruments-Change",
    "73a-Percussion",
)
ARCHIVES = ("schoenberg/opus19/movement6.mxl", "bach/bwv104.6.mxl", "bach/bwv360.mxl", "theoryExercises/checker_demo.mxl")
RAW = "\ue000"  # stands for bytes that no tree can hold; replaced after serialising
RAW_BYTES = (b"\x00", b"\x01", b"\x1b[2J", b"\xff", b"\xed\xa0\x80", b"&#0;", b"&#x1F;", b"&lt;", b"&nope;", b"]]>", b"<", b"<!--")
NUMBERS = (
    "0", "-0", "1", "-1", "2", "3", "7", "127", "128", "999", "65536", "4294967296", "99999999999999999999", "9" * 5000,
    "0.5", "-2.75", "1/3", "1/0", "nan", "inf", "-inf", "1e6", "1e308", "1e-9", "1e9999999", "1e-9999999", "1_0", "+4", "٣", "²",
    " 5 ", "0x10", "3+2", "2+", "--",
)
TEXTS = (
    "", " ", "\t\n", "x", "start", "stop", "continue", "yes", "none", "percussion", "H", "mf", "sfz", "crescendo", "D.S. al Coda",
    "To Coda", "Fine", "D.C.", "straight mute", "open", "Trumpet in Bb 1", "Alto Sax 2", "Drum Set", "=1+1", "../../x", "a/b\\c:*?", "🎺",
    "\u202etxet\u202c", "e\u0301\u0327", "\u0085\u2028", "<b>&amp;", "{0}%s[bold]", "\ufffd", "A" * 70_000, RAW, f"a{RAW}b",
)
Mutation = Callable[[etree._Element, random.Random], None]


class _TooSlowError(BaseException):
    """A case took longer than it may."""


class _BrokenError(Exception):
    """A stage came back, but what it promised does not hold."""


# -- healthy scores ---------------------------------------------------------------------------------------


def _cut(data: bytes, first: int, bars: int, parts: tuple[int, ...]) -> bytes:
    """Some parts and bars of a score; the attributes of the first bar stay."""
    root = etree.fromstring(data)
    kept = [part for n, part in enumerate(root.findall("part")) if n in parts]
    names = {part.get("id") for part in kept}
    for element in [*root.findall("part"), *root.iterfind("part-list/score-part")]:
        parent = element.getparent()
        if parent is not None and element.get("id") not in names:
            parent.remove(element)
    for part in kept:
        measures = part.findall("measure")
        start = measures[0].find("attributes")
        for measure in [m for n, m in enumerate(measures) if not first <= n < first + bars]:
            part.remove(measure)
        if start is not None and len(part) and part[0].find("attributes") is None:
            part[0].insert(0, start)
    return etree.tostring(root, xml_declaration=True, encoding="UTF-8")


@cache
def healthy() -> tuple[tuple[str, bytes], ...]:
    """Name and bytes of every score that mutations start from."""
    demo = DEMO.read_bytes()
    found = [("demo reeds", _cut(demo, 8, 8, (0, 1, 2, 4))), ("demo brass", _cut(demo, 24, 8, (5, 6, 7, 9, 16)))]
    found += [(f"planted {seed}", _cut(plant_chart(seed)[0], 0, 10, (0, 1, 2, 3, 7))) for seed in (1, 2)]
    tune = "D4/8 F4/8> r/4 G4/4.~ G4/8 A4/8t B4/8t C5/8t D5/4^ C5/8( A4/8) G4/4F r/8 F4/8! E4/4- D4/4, r/4 D4/1"
    band = {"Trumpet 1": tune, "Trumpet 2": tune, "Trumpet 3": transposed(tune, -4), "Tenor Sax 1": transposed(tune, -12)}
    found.append(("tune", score_xml({name: part_xml(text) for name, text in band.items()})))
    home = Path((find_spec("music21") or sys.exit("the package music21 is missing")).origin or "").parent
    for path in [home / "musicxml" / "lilypondTestSuite" / f"{name}.xml" for name in LIBRARY]:
        if path.exists():
            found.append((path.stem, path.read_bytes()))
    found += [(name, (home / "corpus" / name).read_bytes()) for name in ARCHIVES if (home / "corpus" / name).exists()]
    return tuple(found)


# -- harm to the tree -------------------------------------------------------------------------------------


def _inner(root: etree._Element, rng: random.Random) -> etree._Element | None:
    """Any element but the root; often one of the kinds that the reader counts with."""
    wanted = rng.choice(("*", "*", "note", "measure", "duration", "attributes", "direction", "notations", "pitch", "part"))
    found = [e for e in root.iter(wanted if wanted == "*" else f"{{*}}{wanted}") if e is not root]
    return rng.choice(found) if found else None


def _drop(root: etree._Element, rng: random.Random) -> None:
    element = _inner(root, rng)
    if element is not None and (parent := element.getparent()) is not None:
        parent.remove(element)


def _repeat(root: etree._Element, rng: random.Random) -> None:
    element = _inner(root, rng)
    if element is not None and (parent := element.getparent()) is not None:
        for _ in range(rng.choice((1, 1, 2, 5))):
            parent.insert(parent.index(element), copy.deepcopy(element))


def _shuffle(root: etree._Element, rng: random.Random) -> None:
    element = _inner(root, rng)
    if element is not None and len(element) > 1:
        children = list(element)
        rng.shuffle(children)
        element[:] = children


def _move(root: etree._Element, rng: random.Random) -> None:
    element, target = _inner(root, rng), _inner(root, rng)
    if element is not None and target is not None and target not in element.iter():
        target.insert(rng.randint(0, len(target)), element)


def _graft(root: etree._Element, rng: random.Random) -> None:
    element, target = _inner(root, rng), _inner(root, rng)
    if element is not None and target is not None:
        target.insert(rng.randint(0, len(target)), copy.deepcopy(element))


def _swap(root: etree._Element, rng: random.Random) -> None:
    tag = rng.choice(("part", "measure", "note", "score-part", "direction"))
    found = list(root.iter(f"{{*}}{tag}"))
    if len(found) > 1:
        one, other = rng.sample(found, 2)
        if one not in other.iter() and other not in one.iter():
            one[:], other[:] = list(other), list(one)


def _text(root: etree._Element, rng: random.Random) -> None:
    found = [e for e in root.iter("*") if len(e) == 0 and (e.text or "").strip()]
    if found:
        chosen = rng.choice(found)
        if rng.random() < 0.4:
            tag = rng.choice(sorted({str(e.tag) for e in found}))
            chosen = rng.choice([e for e in found if e.tag == tag])
        chosen.text = rng.choice(NUMBERS if rng.random() < 0.6 else TEXTS)


def _text_everywhere(root: etree._Element, rng: random.Random) -> None:
    tags = sorted({str(e.tag) for e in root.iter("*") if len(e) == 0 and (e.text or "").strip()})
    if tags:
        tag, text = rng.choice(tags), rng.choice(NUMBERS + TEXTS)
        for element in root.iter(tag):
            element.text = text


def _attribute(root: etree._Element, rng: random.Random) -> None:
    found = [e for e in root.iter("*") if e.attrib]
    if found:
        element = rng.choice(found)
        name = rng.choice(sorted(str(key) for key in element.attrib))
        if rng.random() < 0.2:
            del element.attrib[name]
        else:
            element.set(name, rng.choice(NUMBERS if rng.random() < 0.5 else TEXTS))


def _rename(root: etree._Element, rng: random.Random) -> None:
    element = _inner(root, rng)
    if element is not None:
        element.tag = rng.choice(("note", "rest", "chord", "grace", "cue", "backup", "forward", "direction", "measure", "part", "unpitched",
                                  "notations", "sound", "barline", "{urn:x}note", "x"))


def _part_list(root: etree._Element, rng: random.Random) -> None:
    listed = root.find("{*}part-list")
    if listed is None:
        return
    if rng.random() < 0.4:
        root.remove(listed)
        return
    ids = [e.get("id") or "" for e in listed]
    for element in [*listed, *root.iterfind("{*}part")]:
        if rng.random() < 0.5:
            element.set("id", rng.choice([*ids, "", "P1", "no such part"]))


def _add(root: etree._Element, rng: random.Random) -> None:
    """A piece of plausible notation where it may not belong."""
    target = _inner(root, rng)
    number, text = rng.choice(NUMBERS), rng.choice(TEXTS)
    piece = rng.choice((
        "<note><grace/><pitch><step>C</step><octave>5</octave></pitch></note>", "<note><pitch/></note>", "<note/>", "<note> </note>",
        "<backup><duration>@</duration></backup>", "<forward><duration>@</duration></forward>", "<note><rest/><duration>@</duration></note>",
        "<attributes><divisions>@</divisions></attributes>", "<attributes><time><beats>@</beats><beat-type>8</beat-type></time></attributes>",
        "<attributes><transpose><chromatic>@</chromatic><octave-change>@</octave-change></transpose></attributes>",
        "<attributes><measure-style><multiple-rest>@</multiple-rest></measure-style><staves>@</staves></attributes>",
        "<direction><direction-type><words>#</words></direction-type><offset>@</offset><staff>@</staff></direction>",
        "<direction><direction-type><wedge type='crescendo' number='1'/></direction-type></direction>",
        "<direction><direction-type><dynamics><p/><other-dynamics>#</other-dynamics></dynamics></direction-type></direction>",
        "<direction><direction-type><metronome><beat-unit>#</beat-unit><per-minute>@</per-minute></metronome></direction-type></direction>",
        "<barline><ending number='@' type='start'/><repeat direction='backward' times='9'/></barline>", "<sound tempo='@'/>",
        "<harmony><root><root-step>#</root-step><root-alter>@</root-alter></root><kind>#</kind></harmony>",
        "<notations><slur type='start' number='@'/><articulations><accent/><x>#</x></articulations></notations>",
        "<notehead parentheses='no'>slash</notehead>", "<!--<note>--><?x </note>?>", "<type>#</type>", "<tie type='start'/>",
    ))
    if target is not None:
        made = etree.fromstring(f"<r>{piece.replace('@', number)}</r>")
        for element in made.iter("*"):
            element.text = text if element.text == "#" else element.text
        for child in list(made):
            target.insert(rng.randint(0, len(target)), child)


ON_TREE: tuple[Mutation, ...] = (_drop, _drop, _repeat, _shuffle, _move, _graft, _swap, _text, _text, _text_everywhere, _attribute, _attribute,
                                 _rename, _part_list, _add, _add)


# -- harm to bytes and archives ---------------------------------------------------------------------------


def _flip(data: bytes, rng: random.Random) -> bytes:
    out = bytearray(data)
    for _ in range(rng.choice((1, 3, 20))):
        out[rng.randrange(len(out))] = rng.choice((0, 9, 10, 34, 38, 47, 60, 62, 127, 255, rng.randrange(256)))
    return bytes(out)


def _harm_bytes(data: bytes, rng: random.Random) -> bytes:
    kind = rng.choice(("flip", "cut", "splice", "double", "junk", "crlf", "space"))
    at, to = sorted((rng.randrange(len(data)), rng.randrange(len(data))))
    if kind == "flip":
        return _flip(data, rng)
    if kind in ("cut", "splice", "double"):
        return data[:to] if kind == "cut" else data[:at] + data[to:] if kind == "splice" else data[:to] + data[at:]
    if kind == "junk":
        return rng.choice((b"\n", b"\x00", b"junk", b"\xef\xbb\xbf")) + data + rng.choice((b"", b"\x00", b"<x/>", b"\n\n"))
    return data.replace(b"\n", b"\r\n") if kind == "crlf" else data.replace(b"><", b"\t>\r<").replace(b"\t>", b" >")


def _recode(root: etree._Element, rng: random.Random) -> bytes:
    """The same text in another encoding; declaration, byte order mark and truth need not agree."""
    text = etree.tostring(root, encoding="unicode")
    truth = rng.choice(("utf-8", "utf-16-le", "utf-16-be", "latin-1", "cp1252", "ascii", "utf-32-le", "cp037"))
    said = rng.choice((truth, truth, "UTF-16", "utf-8", "ISO-8859-1", "shift_jis", "klingon", "rot13", ""))
    marks = {"utf-8": b"\xef\xbb\xbf", "utf-16-le": b"\xff\xfe", "utf-16-be": b"\xfe\xff"}
    declared = f'<?xml version="1.0" encoding="{said}"?>\n' if said else ""
    mark = marks.get(truth, b"") if rng.random() < 0.6 else rng.choice((b"", *marks.values()))
    return mark + (declared + text).encode(truth, "xmlcharrefreplace")


def _zipped(data: bytes, rng: random.Random) -> bytes:
    out = io.BytesIO()
    member = rng.choice(("score.xml", "a.musicxml", "sub/é.xml", "../up.xml", "/top.xml", "x.pdf", "META-INF/s.xml"))
    full = member if rng.random() < 0.8 else rng.choice(("missing.xml", "", "../../etc/passwd", "META-INF/container.xml"))
    with zipfile.ZipFile(out, "w", rng.choice((zipfile.ZIP_DEFLATED, zipfile.ZIP_STORED, zipfile.ZIP_BZIP2, zipfile.ZIP_LZMA))) as made:
        if rng.random() < 0.8:
            made.writestr("META-INF/container.xml", f'<container><rootfiles><rootfile full-path="{full}"/></rootfiles></container>')
        made.writestr(member, data)
        made.writestr(zipfile.ZipInfo("folder/"), b"")
    return out.getvalue()


def make_case(number: int) -> tuple[str, bytes, str]:
    """Name of the score and what was done to it, the harmed bytes, and a suffix for the file."""
    rng = random.Random(number)
    name, data = rng.choice(healthy())
    steps: list[str] = []
    if name.endswith(".mxl"):
        if rng.random() < 0.4:
            return f"{name}: archive", rng.choice((_flip, _harm_bytes))(data, rng), ".mxl"
        document = zipfile.ZipFile(io.BytesIO(data))
        data = document.read(next(n for n in document.namelist() if not n.startswith("META-INF")))
    if rng.random() < 0.8:
        root = etree.fromstring(data)
        for mutation in rng.choices(ON_TREE, k=rng.choice((1, 1, 2, 3, 5))):
            mutation(root, rng)
            steps.append(mutation.__name__.strip("_"))
        if rng.random() < 0.12:
            data = _recode(root, rng)
            steps.append("recode")
        else:
            data = etree.tostring(root.getroottree() if rng.random() < 0.8 else root, xml_declaration=True, encoding="UTF-8")
        data = data.replace(RAW.encode(), rng.choice(RAW_BYTES))
    if not steps or rng.random() < 0.05:
        data = _harm_bytes(data, rng)
        steps.append("bytes")
    if rng.random() < 0.12:
        data = _zipped(data, rng)
        steps.append("zip")
        if rng.random() < 0.3:
            data = _flip(data, rng)
    return f"{name}: {', '.join(steps)}", data, ".mxl" if "zip" in steps else rng.choice((".musicxml", ".xml"))


# -- the stages -------------------------------------------------------------------------------------------


def _sound(chart: Chart) -> list[tuple[object, ...]]:
    return [(n.part, n.onset, n.duration, n.pitch, n.sounding, n.tie_start, n.tie_stop, n.voice) for part in chart.parts for n in part.notes]


def run_stages(path: Path) -> None:
    """Everything up to the results as JSON. Raises what the stages raise, or _BrokenError."""
    before = path.read_bytes()
    document = open_document(path)
    chart = read_chart(document)
    together = find_passages(chart)
    plan = plan_passages(chart, together)
    marking = mark_chart(chart, together, plan)
    splices = splices_for(document, marking.edits, marking.dropped)
    marked = apply_splices(document.data, splices)
    try:
        again = parse_document(path, marked, archive=document.archive, member=document.member)
        after = read_chart(again)
    except SectionprepError as error:
        raise _BrokenError(f"the marked score is refused: {error}") from error
    if _sound(after) != _sound(chart):
        raise _BrokenError("marking changed notes")
    if undo_splices(marked, splices) != document.data:
        raise _BrokenError("the original does not come back")
    if document.archive is not None:
        whole = packed(document, marked)
        with zipfile.ZipFile(io.BytesIO(whole)) as archive:
            if archive.read(document.member) != marked:
                raise _BrokenError("the archive does not hold the marked score")
    findings = run_checks(after, find_passages(after))
    results = (passages_json(chart, together), plan_json(chart, plan), findings_json(after, findings), changes_json(chart, marking))
    json.dumps(results, ensure_ascii=False, allow_nan=False).encode("utf-8")
    if path.read_bytes() != before:
        raise _BrokenError("the input file was changed")


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
        return f"FINDING {type(error).__name__} at {Path(last.filename).name}:{last.lineno}", traceback.format_exc()
    finally:
        signal.alarm(0)
    return "worked", ""


def main() -> int:
    """Run the cases and say what came of them."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--cases", type=int, default=300)
    parser.add_argument("--seed", type=int, default=0, help="number of the first case")
    parser.add_argument("--only", type=int, help="run this case alone")
    parser.add_argument("--keep", type=Path, help="folder for the files of findings")
    given = parser.parse_args()
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, resource.getrlimit(resource.RLIMIT_AS)[1]))
    numbers = range(given.seed, given.seed + given.cases) if given.only is None else (given.only,)
    outcomes: Counter[str] = Counter()
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        for number in numbers:
            what, data, suffix = make_case(number)
            path = Path(folder) / f"case{suffix}"
            path.write_bytes(data)
            outcome, trace = judge(path)
            outcomes[outcome] += 1
            if trace and (outcomes[outcome] <= 3 or given.only is not None):
                print(f"seed {number}: {what}\n{trace[-1800:]}")
                if given.keep:
                    given.keep.mkdir(parents=True, exist_ok=True)
                    (given.keep / f"case_{number}{suffix}").write_bytes(data)
                    (given.keep / f"case_{number}.txt").write_text(f"{what}\n{trace}", encoding="utf-8")
    for outcome, count in outcomes.most_common():
        print(f"{count:6}  {outcome}")
    print(f"{len(numbers)} cases in {time.monotonic() - began:.1f} s")
    return int(any(outcome.startswith("FINDING") for outcome in outcomes))


if __name__ == "__main__":
    sys.exit(main())
