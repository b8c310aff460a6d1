"""The generator is sound: what it says is planted is in the notes, and nothing else is.

Everything here is read back from the MusicXML, by a reader of this file's own, and counted again
in plain loops; only the bounds are the generator's.
"""

from __future__ import annotations

import subprocess
import sys
from collections import defaultdict
from itertools import combinations, pairwise
from pathlib import Path

import pytest
from charts import KINDS, Passage, Place, Truth, compose, plant_chart
from charts.company import DENSE, NEAR, PAIR, PLAIN, TRIO
from lxml import etree

Q = 24  # divisions of every chart
STEPS = dict(zip("CDEFGAB", (0, 2, 4, 5, 7, 9, 11), strict=True))
Line = dict[int, tuple[int, tuple[int, ...]]]  # onset -> length, sounding pitches
SEEDS = (3, 4, 10)


def lines_of(data: bytes) -> dict[str, list[Line]]:
    """By part name, the line of each voice (of all staves together, for the piano)."""
    root = etree.fromstring(data)
    names = {p.get("id"): p.findtext("part-name") for p in root.iter("score-part")}
    return {names[p.get("id")]: _lines(p) for p in root.iterfind("part")}


def _lines(part: etree._Element) -> list[Line]:
    lines: dict[str, Line] = defaultdict(dict)
    ends: dict[str, int] = {}
    transpose = part.find("measure/attributes/transpose")
    shift = 0
    if transpose is not None:
        octave = int(transpose.findtext("octave-change") or 0)
        shift = int(transpose.findtext("chromatic") or 0) + 12 * octave
    at = bar = onset = 0
    for measure in part.iterfind("measure"):
        furthest = at = bar
        for e in measure:
            length = int(e.findtext("duration") or 0)
            if e.tag == "backup":
                at -= length
            elif e.tag == "note" and e.find("grace") is None:
                voice = "1" if e.find("staff") is not None else e.findtext("voice") or "1"
                chord = e.find("chord") is not None
                onset = onset if chord else at
                at = at if chord else at + length
                _note(e, lines[voice], ends, onset, length, shift)
            furthest = max(furthest, at)
        bar = furthest
    return list(lines.values())


def _note(
    e: etree._Element, line: Line, ends: dict[str, int], onset: int, length: int, shift: int
) -> None:
    if e.find("pitch") is None:
        return
    step, octave = e.findtext("pitch/step") or "", int(e.findtext("pitch/octave") or 0)
    pitch = 12 * octave + 12 + STEPS[step] + int(e.findtext("pitch/alter") or 0) + shift
    if any(t.get("type") == "stop" for t in e.iterfind("tie")):
        first = max((t for t in line if t < onset and pitch in line[t][1]), default=-1)
        if first >= 0:
            line[first] = (onset + length - first, line[first][1])
            return
    before = line.get(onset, (0, ()))
    line[onset] = (max(length, before[0]), (*before[1], pitch))


def ticks(truth: Truth, place: Place) -> int:
    return round(Q * truth.beats(place))


def within(lines: list[Line], p: Passage, truth: Truth) -> list[Line]:
    start, stop = ticks(truth, p.start), ticks(truth, p.end)
    return [{t: n for t, n in line.items() if start <= t < stop} for line in lines]


def near(one: set[int], two: set[int], p: Passage) -> bool:
    """The same onsets, but for as many as there are declared drop-outs."""
    return len(one ^ two) <= sum(d.kind == "drop-out" for d in p.deviations)


def faults(truth: Truth, lines: dict[str, list[Line]]) -> list[str]:
    """What is said to be planted and is not in the notes."""
    out = []
    for n, p in enumerate(truth):
        heard = {m: within(lines[m], p, truth) for m in p.parts}
        leads = [v for v in heard[p.lead] if ticks(truth, p.start) in v]
        out += min((_faults(f"passage {n}", truth, p, lead, heard) for lead in leads), key=len)
        for lead in leads[:1]:
            out += joins_missing(truth, p, lead, lines)
    return out


def _faults(
    name: str, truth: Truth, p: Passage, lead: Line, heard: dict[str, list[Line]]
) -> list[str]:
    out = []
    for part, voices in heard.items():
        if not any(near(set(v), set(lead), p) and fits(v, lead, p) for v in voices):
            out.append(f"{name}: {part} is not with {p.lead}")
    if len(p.parts) < 2 or len(lead) < 4:
        out.append(f"{name} is too small to be one")
    gaps = (b - a - lead[a][0] for a, b in pairwise(sorted(lead)))
    if max(gaps, default=0) > Q:
        out.append(f"{name} rests for more than a beat")
    if max(t + lead[t][0] for t in lead) != ticks(truth, p.end):
        out.append(f"{name} does not end where it is said to")
    return out


def fits(line: Line, lead: Line, p: Passage) -> bool:
    """Unison, or octaves, on all attacks but the declared wrong notes (and their graces)."""
    wrong = sum(d.kind == "wrong note" for d in p.deviations)
    apart = [line[t][1][-1] - lead[t][1][-1] for t in line.keys() & lead.keys()]
    if p.texture == "unison":
        return sum(k != 0 for k in apart) <= wrong
    if p.texture == "octaves":
        return sum(k % 12 != 0 for k in apart) <= wrong
    return True


def joins_missing(truth: Truth, p: Passage, lead: Line, lines: dict[str, list[Line]]) -> list[str]:
    out = []
    for j in p.joins:
        start, stop = ticks(truth, j.start), ticks(truth, j.end)
        theirs = {t for t in lead if start <= t < stop}
        voices = [{t: n for t, n in v.items() if start <= t < stop} for v in lines[j.part]]
        if not any(near(set(v), theirs, p) for v in voices):
            out.append(f"{j.part} does not join")
        bars = (stop - start) / Q / max(truth.bar_beats)
        if j.part in p.parts or (bars < 4 if j.doubles else bars > 2):
            out.append(f"{j.part} joins for {bars:g} bars")
    return out


# ---- coincidences, counted again
Spans = list[tuple[str, set[str], int, int]]  # the joiner if any, all parts, from, to


def spans_of(truth: Truth) -> Spans:
    """All that is said to be together; of a join, the joiner with each of the others."""
    out: Spans = []
    for p in truth:
        out.append(("", set(p.parts), ticks(truth, p.start), ticks(truth, p.end)))
        for j in p.joins:
            out.append((j.part, {*p.parts, j.part}, ticks(truth, j.start), ticks(truth, j.end)))
    for o in truth.others:
        out.append(("", set(o.parts), ticks(truth, o.start), ticks(truth, o.end)))
    return out


def declared(spans: Spans, *parts: str) -> list[tuple[int, int]]:
    """Where some two of these parts are said to be together."""
    return [
        (start, stop)
        for joiner, members, start, stop in spans
        if len(members & set(parts)) > 1 and (not joiner or joiner in parts)
    ]


def shared_weights(rows: list[set[int]], spans: list[tuple[int, int]]) -> list[tuple[float, int]]:
    """Weight of each run of columns shared by all rows outside the spans, and its first tick."""
    out, run, first, gap, before = list[tuple[float, int]](), 0.0, 0, 9, 0.0
    columns = sorted(set.union(*rows))
    for t, after in zip(columns, [*columns[1:], -1], strict=True):
        shared = all(t in row for row in rows)
        inside = any(a <= t < b for a, b in spans)
        if shared and not inside:
            first = t if run == 0 else first
            run += PLAIN if after - t == Q // 2 else 1.0
            out.append((run, first))
            if gap == 1 and len(rows) == 2 and run + before > DENSE:
                out.append((99.0, first))
        else:
            gap, before = (1, run) if run and not inside else (9, 0.0)
            run = 0.0
    return out


def coincidences(truth: Truth, lines: dict[str, list[Line]]) -> list[str]:
    """Runs of shared attacks beyond the bounds, between parts not said to be together."""
    single = {n: set(v[0]) for n, v in lines.items() if len(v) == 1 and v[0]}
    out, close, spans = list[str](), list[tuple[str, str]](), spans_of(truth)
    for one, two in combinations(single, 2):
        runs = shared_weights([single[one], single[two]], declared(spans, one, two))
        heaviest, tick = max(runs, default=(0.0, 0))
        out += [f"{one}, {two} at {tick}: {heaviest:g}"] if heaviest > PAIR + 1e-9 else []
        close += [(one, two)] if heaviest > TRIO else []
    for pair in close:
        for third in single.keys() - set(pair):
            parts = (*pair, third)
            runs = shared_weights([single[n] for n in parts], declared(spans, *parts))
            heaviest, tick = max(runs, default=(0.0, 0))
            out += [f"{', '.join(parts)} at {tick}: {heaviest:g}"] if heaviest > TRIO + 1e-9 else []
    return out


def blurred_edges(truth: Truth, lines: dict[str, list[Line]]) -> list[str]:
    """Passages whose members mostly strike together on one of the two nearest columns beside."""
    out, spans = list[str](), spans_of(truth)
    for n, p in enumerate(truth):
        if any(len(lines[m]) > 1 for m in p.parts):
            continue
        start, stop = ticks(truth, p.start), ticks(truth, p.end)
        rows = [set(lines[m][0]) for m in p.parts]
        every = sorted(set.union(*rows))
        beside = [t for t in every if start - NEAR <= t < start][-2:]
        beside += [t for t in every if stop <= t < stop + NEAR][:2]
        most = max(1, len(rows) // 2)
        for t in beside:
            together = any(a <= t < b for a, b in declared(spans, *p.parts))
            if sum(t in row for row in rows) > most and not together:
                out.append(f"passage {n} at {t}")
    return out


@pytest.fixture(scope="module", params=SEEDS)
def dense(request: pytest.FixtureRequest) -> tuple[Truth, dict[str, list[Line]]]:
    data, truth = plant_chart(request.param, kind="dense")
    return truth, lines_of(data)


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", range(12))
def test_what_is_planted_is_in_the_notes(seed: int, kind: str) -> None:
    data, truth = plant_chart(seed, kind=kind)
    assert len(truth) >= 4
    assert faults(truth, lines_of(data)) == []


def test_strangers_never_go_along_for_long(dense: tuple[Truth, dict[str, list[Line]]]) -> None:
    assert coincidences(*dense) == []
    assert blurred_edges(*dense) == []


def test_an_undeclared_copy_and_a_false_truth_are_noticed() -> None:
    """Otherwise the tests above could not fail."""
    data, truth = plant_chart(0, kind="dense")
    lines = lines_of(data)
    p = next(p for p in truth if len(p.parts) < 6 and not p.joins)
    stranger = next(n for n in truth.parts if n not in p.parts and "Trumpet" in n)
    copied = within(lines[p.lead], p, truth)[0]
    assert coincidences(truth, {**lines, stranger: [copied]}) != []
    assert faults(truth, {**lines, p.parts[-1]: lines[stranger]}) != []
    early = {t - Q // 2: n for t, n in within(lines[p.lead], p, truth)[0].items()}
    assert blurred_edges(truth, {**lines, **{m: [early] for m in p.parts}}) != []


@pytest.mark.parametrize("rate", ["sparse", "medium", "busy", "running"])
def test_lines_coincide_as_chance_would_have_it(rate: str) -> None:
    """Two horns outside of passages share attacks about as often as how busy they are in that place
    of the bar lets expect: copies would make it more, a generator that evades others less."""
    seen = expected = 0.0
    for seed in (1, 3):
        data, truth = plant_chart(seed, kind="dense", rate=rate)
        lines = {n: set(v[0]) for n, v in lines_of(data).items() if len(v) == 1}
        a, b = chance(truth, lines)
        seen, expected = seen + a, expected + b
    assert 0.8 < seen / expected < 1.2


def chance(truth: Truth, lines: dict[str, set[int]]) -> tuple[float, float]:
    """Shared attacks of horns outside of whatever is planted, and how many there should be."""
    horns = [n for n in lines if any(w in n for w in ("Sax", "Alto", "Tenor", "Trumpet", "Bone"))]
    bars = [round(Q * sum(truth.bar_beats[:n])) for n in range(len(truth.bar_beats))]
    open_bars = {n: set(bars) for n in horns}
    for _, names, start, stop in spans_of(truth):
        for name in names & set(horns):
            open_bars[name] -= {b for b in bars if b < stop and start < b + 4 * Q}
    seen = expected = 0.0
    for one, two in combinations(horns, 2):
        both = sorted(open_bars[one] & open_bars[two])
        for place in range(0, 4 * Q, 2):
            a = [b + place in lines[one] for b in both]
            c = [b + place in lines[two] for b in both]
            seen += sum(x and y for x, y in zip(a, c, strict=True))
            expected += sum(a) * sum(c) / max(1, len(both))
    return seen, expected


def test_the_lines_decide_nothing_about_the_passages() -> None:
    """Passages, members and their notes are the same whatever is played around them."""
    charts = [plant_chart(5, kind="dense", rate=rate) for rate in ("sparse", "running")]
    planted = []
    for data, truth in charts:
        lines = lines_of(data)
        planted.append(
            [
                (p.texture, p.parts, p.start, p.end, p.joins, within(lines[p.lead], p, truth)[0])
                for p in truth
            ]
        )
    assert planted[0] == planted[1]
    assert charts[0][0].count(b"<pitch>") < charts[1][0].count(b"<pitch>")


def test_everything_that_was_missing_occurs() -> None:
    """Within thirty seeds each kind of difficulty is planted more than once."""
    traits: dict[str, int] = defaultdict(int)
    for seed in range(30):
        truth = compose(seed, kind="dense").truth()
        for trait in {t for p in truth for t in p.traits}:
            traits[trait] += 1
        traits["two on a staff"] += any(c in n for n in truth.parts for c in "&/,")
    wanted = (
        *("riff", "pad under it", "chance joiner", "real joiner", "overlapping answer"),
        *("trade in mid-bar", "pick-up", "tutti out of a line", "two on a staff"),
        *(f"{rate} lines around" for rate in ("sparse", "medium", "busy", "running", "mixed")),
    )
    assert {t: traits[t] for t in wanted if traits[t] < 2} == {}


@pytest.mark.parametrize("kind", KINDS)
def test_a_chart_is_valid_musicxml(kind: str, schema: etree.XMLSchema) -> None:
    """Against the schema of MusicXML 4.0; seed 10 has two trumpets on one staff."""
    for seed in (0, 10):
        schema.assertValid(etree.fromstring(plant_chart(seed, kind=kind)[0]))


def test_the_same_seed_gives_the_same_bytes_in_another_process() -> None:
    code = "import sys, hashlib; from charts import plant_chart\n"
    code += "for k in ('ordinary', 'dense'):\n"
    code += "    print(hashlib.sha256(plant_chart(2, kind=k)[0]).hexdigest())"
    said = {
        subprocess.run(
            [sys.executable, "-c", code],
            cwd=Path(__file__).parent,
            env={"PYTHONHASHSEED": salt},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for salt in ("1", "2")
    }
    assert len(said) == 1
