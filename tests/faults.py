"""Consistent marks for planted charts, and faults planted among them, for measuring the checks.

`mark_up` puts the same marks at the same moments in every part of every passage; `plant_faults`
then spoils single parts and says where. Charts for this come from `plant_chart(seed,
deviations=False)`: a deviation there would be a fault that nobody planted.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import partial
from itertools import pairwise

from charts import Passage, Place, Truth
from lxml import etree

Element = etree._Element
LENGTHS = ("whole", "half", "quarter", "eighth", "16th")
OPPOSITE = {"staccato": "tenuto", "tenuto": "staccato", "strong-accent": "tenuto"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Fault:
    """`also`: further places where a finding about this fault may stand; `whole_part`: in any
    bar."""

    kind: str
    part: str
    bar: int
    beat: float
    detail: str
    texture: str
    size: int
    also: tuple[Place, ...] = ()
    whole_part: bool = False

    @property
    def places(self) -> tuple[Place, ...]:
        return (Place(self.bar, self.beat), *self.also)


@dataclass(slots=True)
class Note:
    """A sounding note: its written (tied) pieces, its moment in quarters from the start, its
    length."""

    pieces: list[Element]
    onset: Fraction
    length: Fraction
    place: Place

    @property
    def head(self) -> Element:
        return self.pieces[0]

    @property
    def pitch(self) -> tuple[str, ...]:
        return tuple(self.head.findtext(f"pitch/{tag}", "0") for tag in ("step", "alter", "octave"))

    @property
    def articulations(self) -> list[Element]:
        return [
            a for a in self.head.iterfind("notations/articulations/*") if a.tag != "breath-mark"
        ]


class Score:
    """The tree, and the sounding notes of the first voice of every part."""

    def __init__(self, data: bytes) -> None:
        self.root = etree.fromstring(data, etree.XMLParser(load_dtd=False, no_network=True))
        names = {
            p.get("id"): p.findtext("part-name", "")
            for p in self.root.iterfind("part-list/score-part")
        }
        self.parts = {names[p.get("id")]: p for p in self.root.iterfind("part")}
        self.notes = {name: _notes(part) for name, part in self.parts.items()}

    def within(self, part: str, truth: Truth, passage: Passage) -> list[Note]:
        start, end = truth.beats(passage.start) - 1e-6, truth.beats(passage.end) - 1e-6
        return [n for n in self.notes[part] if start <= float(n.onset) < end]

    def at(self, part: str, onset: Fraction) -> Note | None:
        return next((n for n in self.notes[part] if n.onset == onset), None)

    def data(self) -> bytes:
        return etree.tostring(self.root.getroottree(), xml_declaration=True, encoding="UTF-8")


def _notes(part: Element) -> list[Note]:
    out: list[Note] = []
    divisions, bar_start = 1, Fraction(0)
    for index, measure in enumerate(part.iterfind("measure")):
        at, longest = Fraction(0), Fraction(0)
        for element in measure:
            divisions = int(element.findtext("divisions", str(divisions)))
            step = Fraction(int(element.findtext("duration", "0")), divisions)
            if element.tag in ("backup", "forward"):
                at += step if element.tag == "forward" else -step
            if (
                element.tag != "note"
                or element.find("grace") is not None
                or element.find("chord") is not None
            ):
                continue
            first = element.findtext("voice", "1") == "1" and element.find("pitch") is not None
            if first and any(t.get("type") == "stop" for t in element.iterfind("tie")) and out:
                out[-1].pieces.append(element)
                out[-1].length += step
            elif first:
                out.append(Note([element], bar_start + at, step, Place(index, float(at) + 1)))
            at += step
            longest = max(longest, at)
        bar_start += longest
    return out


# ---- putting marks in
def _under(parent: Element, tag: str, before: Iterable[str] = ()) -> Element:
    """The first child of this name, made if missing, in front of the named siblings."""
    found = parent.find(tag)
    if found is None:
        found = etree.Element(tag)
        later = [i for i, child in enumerate(parent) if child.tag in before]
        parent.insert(later[0] if later else len(parent), found)
    return found


def _notations(note: Element) -> Element:
    return _under(note, "notations", ("lyric", "play", "listen"))


def _articulate(note: Element, mark: str) -> None:
    element = etree.SubElement(_under(_notations(note), "articulations"), mark)
    if mark == "strong-accent":
        element.set("type", "up")
    if mark == "breath-mark":
        element.text = "comma"


def _put(note: Note, mark: str) -> None:
    _articulate(note.head, mark)


def _slur(note: Element, end: str) -> None:
    element = etree.Element("slur", type=end, number="1")
    _notations(note).insert(0 if end == "stop" else len(_notations(note)), element)


def _direct(note: Element, kind: str, **attributes: str) -> None:
    """A direction just in front of the note and its grace notes: a dynamic by its name, or a
    wedge."""
    direction = etree.Element("direction", placement="below")
    holder = etree.SubElement(direction, "direction-type")
    if kind == "wedge":
        etree.SubElement(holder, "wedge", dict(attributes))
    else:
        etree.SubElement(etree.SubElement(holder, "dynamics"), kind)
    before = note
    while (previous := before.getprevious()) is not None and previous.find("grace") is not None:
        before = previous
    direction.tail = note.tail
    before.addprevious(direction)


def mark_up(musicxml_bytes: bytes, truth: Truth, seed: int) -> bytes:
    """The chart with the same accents, dots, lines, slurs, dynamics, hairpin and breath in all
    members."""
    rng, score = random.Random(f"marks {seed}"), Score(musicxml_bytes)
    for passage in truth:
        _mark_passage(score, truth, passage, rng)
    for name, notes in score.notes.items():  # every part begins with a dynamic
        starts = [truth.beats(p.start) for p in truth if name in p.parts]
        if notes and float(notes[0].onset) not in starts:
            _direct(notes[0].head, "mf")
    return score.data()


def _mark_passage(score: Score, truth: Truth, passage: Passage, rng: random.Random) -> None:
    lead = score.within(passage.lead, truth, passage)
    rows = {p: {n.onset: n for n in score.within(p, truth, passage)} for p in passage.parts}
    onsets = [n.onset for n in lead if all(n.onset in row for row in rows.values())]

    def everywhere(onset: Fraction, put: Callable[[Note], None]) -> None:
        for row in rows.values():
            put(row[onset])

    gap = {a.onset: b.onset - a.onset - a.length for a, b in pairwise(lead)}
    dynamic = rng.choice(("p", "mp", "mf", "f", "ff"))
    everywhere(onsets[0], lambda n: _direct(n.head, dynamic))
    for i, note in enumerate(lead):
        mark = _likely_mark(lead, i, gap.get(note.onset, Fraction(1)), rng)
        if mark and note.onset in onsets:
            everywhere(note.onset, partial(_put, mark=mark))
    for begin, end in _slurs(rows, lead, gap, rng):
        everywhere(begin, lambda n: _slur(n.head, "start"))
        everywhere(end, lambda n: _slur(n.head, "stop"))
    if len(onsets) >= 8:
        first = rng.randrange(1, len(onsets) - 5)
        kind = rng.choice(("crescendo", "diminuendo"))
        everywhere(onsets[first], lambda n: _direct(n.head, "wedge", type=kind, number="1"))
        stop = onsets[first + rng.randint(3, 4)]
        everywhere(stop, lambda n: _direct(n.head, "wedge", type="stop", number="1"))
    single = [o for o in onsets[1:-1] if all(len(row[o].pieces) == 1 for row in rows.values())]
    rests = [o for o in single if gap.get(o)] or [
        n.onset for n in lead if n.length >= 1 and n.onset in single
    ]
    if rests:
        everywhere(rng.choice(rests), lambda n: _articulate(n.head, "breath-mark"))


def _likely_mark(lead: list[Note], i: int, gap: Fraction, rng: random.Random) -> str:
    """What a horn player would expect there, with some chance: short before a rest, accent on a
    push."""
    note, off = lead[i], lead[i].onset.denominator != 1
    kinds: tuple[str, ...]
    if note.length <= Fraction(1, 2) and gap > 0:
        kinds, odds = ("staccato", "strong-accent"), 0.7
    elif off and note.length >= 1:
        kinds, odds = ("accent", "accent", "strong-accent"), 0.7
    elif note.length >= 1:
        kinds, odds = ("tenuto", "staccato", "accent"), 0.5
    else:
        kinds, odds = ("accent", "tenuto"), 0.12
    return rng.choice(kinds) if rng.random() < odds else ""


def _slurs(
    rows: dict[str, dict[Fraction, Note]],
    lead: list[Note],
    gap: dict[Fraction, Fraction],
    rng: random.Random,
) -> list[tuple[Fraction, Fraction]]:
    """Slurs over two to four notes without a rest, a tie or a repeated pitch in any part; never
    touching."""
    out: list[tuple[Fraction, Fraction]] = []
    i = 0
    while i < len(lead) - 1:
        j = i + rng.randint(1, 3)
        group = [n.onset for n in lead[i : j + 1]]
        whole = j < len(lead) and all(gap[o] == 0 for o in group[:-1])
        for row in rows.values():
            notes = [row[o] for o in group if o in row]
            pairs = pairwise(notes)
            whole = whole and len(notes) == len(group) and all(len(n.pieces) == 1 for n in notes)
            whole = whole and all(a.pitch != b.pitch for a, b in pairs)
        if whole and rng.random() < 0.3:
            out.append((group[0], group[-1]))
            i = j + 1
        else:
            i += 1
    return out


# ---- spoiling
@dataclass(slots=True)
class Spot:
    """Where a fault may go: a part that is not the lead, and its notes in the passage."""

    score: Score
    passage: Passage
    part: str
    notes: list[Note]
    rng: random.Random
    bars: list[int]  # where the passage has faults already

    def taken(self, note: Note) -> bool:
        return any(abs(b - note.place.bar) < 2 for b in self.bars)

    def some(self, wanted: Callable[[Note], bool], *, inner: bool = False) -> Note | None:
        notes = [
            n
            for n in (self.notes[1:-1] if inner else self.notes)
            if not self.taken(n) and wanted(n)
        ]
        return self.rng.choice(notes) if notes else None

    def fault(self, kind: str, note: Note, detail: str, *also: Place) -> Fault:
        return Fault(
            kind=kind,
            part=self.part,
            bar=note.place.bar,
            beat=note.place.beat,
            detail=detail,
            texture=self.passage.texture,
            size=len(self.passage.parts),
            also=also,
        )


def _missing_mark(spot: Spot) -> Fault | None:
    note = spot.some(lambda n: bool(n.articulations))
    if note is None:
        return None
    gone = spot.rng.choice(note.articulations)
    _drop(gone)
    return spot.fault("missing mark", note, f"{gone.tag} taken away")


def _missing_breath(spot: Spot) -> Fault | None:
    note = spot.some(lambda n: n.head.find("notations/articulations/breath-mark") is not None)
    if note is None:
        return None
    _drop(next(note.head.iterfind("notations/articulations/breath-mark")))
    return spot.fault("missing breath", note, "breath mark taken away")


def _extra_mark(spot: Spot) -> Fault | None:
    note = spot.some(lambda n: n.head.find("notations/articulations") is None)
    if note is None:
        return None
    mark = spot.rng.choice(("accent", "staccato", "tenuto", "strong-accent"))
    _articulate(note.head, mark)
    return spot.fault("extra mark", note, f"{mark} added")


def _contradiction(spot: Spot) -> Fault | None:
    note = spot.some(lambda n: any(a.tag in OPPOSITE for a in n.articulations))
    if note is None:
        return None
    old = next(a for a in note.articulations if a.tag in OPPOSITE)
    _articulate(note.head, OPPOSITE[str(old.tag)])
    _drop(old)
    return spot.fault("contradicting mark", note, f"{old.tag} became {OPPOSITE[str(old.tag)]}")


def _wrong_note(spot: Spot) -> Fault | None:
    note = spot.some(lambda n: True, inner=True)
    if note is None or spot.passage.texture == "soli":
        return None
    old = int(note.head.findtext("pitch/alter", "0"))
    new = old + (spot.rng.choice((-1, 1)) if old == 0 else -1 if old > 0 else 1)
    for piece in note.pieces:
        pitch = next(piece.iterfind("pitch"))
        for alter in pitch.findall("alter"):
            pitch.remove(alter)
        if new:
            alter = etree.Element("alter")
            alter.text = str(new)
            pitch.insert(1, alter)
    before = (
        "time-modification",
        "stem",
        "notehead",
        "notehead-text",
        "staff",
        "beam",
        "notations",
        "lyric",
    )
    _under(note.head, "accidental", before).text = {-1: "flat", 0: "natural", 1: "sharp"}[new]
    return spot.fault("wrong note", note, f"written alteration {old} became {new}")


def _half_length(spot: Spot) -> Fault | None:
    note = spot.some(lambda n: len(n.pieces) == 1 and _can_shorten(n.head), inner=True)
    if note is None:
        return None
    kept = _shorten(note.head)
    return spot.fault("half-length note", note, f"{note.length} became {kept}", _later(note, kept))


def _early_release(spot: Spot) -> Fault | None:
    note = spot.notes[-1]
    if spot.taken(note) or (len(note.pieces) == 1 and not _can_shorten(note.head)):
        return None
    if len(note.pieces) == 1:
        kept = _shorten(note.head)
    else:
        last = note.pieces.pop()
        kept = note.length - note.length * int(last.findtext("duration", "0")) / sum(
            int(p.findtext("duration", "0")) for p in (*note.pieces, last)
        )
        for tie in (*last.findall("tie"), *last.findall("notations"), *last.findall("accidental")):
            last.remove(tie)
        last.replace(next(last.iterfind("pitch")), etree.Element("rest"))
        for beam in last.findall("beam"):
            last.remove(beam)
        for path in ("tie", "notations/tied"):
            for tie in [t for t in note.pieces[-1].iterfind(path) if t.get("type") == "start"]:
                _drop(tie)
    last_bar = spot.passage.end
    return spot.fault(
        "early release", note, f"{note.length} became {kept}", _later(note, kept), last_bar
    )


def _missing_dynamic(spot: Spot) -> Fault | None:
    note = spot.notes[0]
    direction = _direction_before(note.head, "dynamics")
    if direction is None or spot.taken(note):
        return None
    _drop(direction)
    return spot.fault("missing dynamic", note, "dynamic at the start taken away")


def _missing_hairpin(spot: Spot) -> Fault | None:
    note = spot.some(lambda n: _wedge(n, "crescendo", "diminuendo") is not None)
    if note is None:
        return None
    stop = next(
        (n for n in spot.notes if n.onset > note.onset and _wedge(n, "stop") is not None), None
    )
    for direction in (
        _wedge(note, "crescendo", "diminuendo"),
        _wedge(stop, "stop") if stop else None,
    ):
        if direction is not None:
            _drop(direction)
    return spot.fault(
        "missing hairpin", note, "hairpin taken away", *([stop.place] if stop else [])
    )


def _shifted_slur(spot: Spot) -> Fault | None:
    """The start one note later or the stop one note later or earlier, over notes that touch no
    other slur."""
    end = spot.rng.choice(("start", "stop"))
    note = spot.some(lambda n: n.head.find(f"notations/slur[@type='{end}']") is not None)
    if note is None:
        return None
    i = next(k for k, n in enumerate(spot.notes) if n is note)
    for k in spot.rng.sample((i - 1, i + 1), 2):
        if not 0 <= k < len(spot.notes):
            continue
        other = spot.notes[k]
        gap = abs(other.onset - note.onset) - (note.length if k > i else other.length)
        if other.head.find("notations/slur") is None and gap == 0 and len(other.pieces) == 1:
            _drop(next(note.head.iterfind(f"notations/slur[@type='{end}']")))
            _slur(other.head, end)
            way = "later" if k > i else "earlier"
            return spot.fault("shifted slur", note, f"{end} one note {way}", other.place)
    return None


KINDS: dict[str, Callable[[Spot], Fault | None]] = {
    "missing mark": _missing_mark,
    "extra mark": _extra_mark,
    "contradicting mark": _contradiction,
    "wrong note": _wrong_note,
    "half-length note": _half_length,
    "missing dynamic": _missing_dynamic,
    "missing hairpin": _missing_hairpin,
    "missing breath": _missing_breath,
    "shifted slur": _shifted_slur,
    "early release": _early_release,
}


def plant_faults(musicxml_bytes: bytes, truth: Truth, seed: int) -> tuple[bytes, list[Fault]]:
    """Up to one fault of each kind, never in a passage's lead, two bars or more apart in a passage;
    in every third chart one part is also transposed wrongly (and gets no other fault)."""
    rng, score = random.Random(f"faults {seed}"), Score(musicxml_bytes)
    faults: list[Fault] = []
    spoilt = _wrong_transposition(score, truth, rng) if seed % 3 == 0 else None
    faults += [spoilt] if spoilt else []
    used: dict[int, list[int]] = {}
    kinds = rng.sample(list(KINDS), len(KINDS))
    for kind in kinds:
        spots = [(n, p, m) for n, p in enumerate(truth) for m in p.parts if m != p.lead]
        spots = [s for s in spots if not (spoilt and spoilt.part in s[1].parts)]
        rng.shuffle(spots)
        for n, passage, part in spots:
            bars = used.setdefault(n, [])
            spot = Spot(score, passage, part, score.within(part, truth, passage), rng, bars)
            fault = KINDS[kind](spot)
            if fault:
                bars += [p.bar for p in fault.places]
                faults.append(fault)
                break
    return score.data(), sorted(faults, key=lambda f: (f.bar, f.beat, f.part))


def _wrong_transposition(score: Score, truth: Truth, rng: random.Random) -> Fault | None:
    """Takes the transposition away, or leaves that of another instrument, where a unison shows
    it."""
    lines = [p for p in truth if p.texture != "soli" and len(p.parts) > 2]
    heard = {m: p for p in lines for m in p.parts if m != p.lead}
    parts = [
        m for m in heard if score.parts[m].find("measure/attributes/transpose/diatonic") is not None
    ]
    if not parts:
        return None
    part = rng.choice(sorted(parts))
    transpose = next(score.parts[part].iterfind("measure/attributes/transpose"))
    flat = transpose.findtext("chromatic") == "-9"
    if rng.random() < 0.6 or transpose.findtext("chromatic") not in ("-2", "-9"):
        _drop(transpose)
        detail = "no transposition"
    else:
        for tag, value in (
            ("diatonic", "-1" if flat else "-5"),
            ("chromatic", "-2" if flat else "-9"),
        ):
            next(transpose.iterfind(tag)).text = value
        detail = "transposition of another instrument"
    passage = heard[part]
    return Fault(
        kind="wrong transposition",
        part=part,
        bar=0,
        beat=1.0,
        detail=detail,
        texture=passage.texture,
        size=len(passage.parts),
        also=(passage.start,),
        whole_part=True,
    )


# ---- small surgery
def _drop(element: Element) -> None:
    """Takes an element out, its white space too, and any emptied articulations or notations around
    it."""
    parent = element.getparent()
    if parent is None:
        return
    parent.remove(element)
    if len(parent) == 0 and parent.tag in ("articulations", "notations"):
        _drop(parent)


def _direction_before(note: Element, kind: str) -> Element | None:
    previous = note.getprevious()
    while previous is not None and (
        previous.tag == "direction" or previous.find("grace") is not None
    ):
        if previous.find(f"direction-type/{kind}") is not None:
            return previous
        previous = previous.getprevious()
    return None


def _wedge(note: Note, *types: str) -> Element | None:
    direction = _direction_before(note.head, "wedge")
    found = direction.find("direction-type/wedge") if direction is not None else None
    return direction if found is not None and found.get("type") in types else None


def _can_shorten(note: Element) -> bool:
    return note.findtext("type") in LENGTHS[:3] and note.find("time-modification") is None


def _shorten(note: Element) -> Fraction:
    """Half of the value (a dotted note loses its dot), a rest for what is gone; returns quarters
    left."""
    kind, dot = note.findtext("type", ""), note.find("dot")
    half = LENGTHS[LENGTHS.index(kind) + 1]
    whole = int(note.findtext("duration", "0"))
    kept = whole * 2 // 3 if dot is not None else whole // 2
    if dot is not None:
        note.remove(dot)
    else:
        next(note.iterfind("type")).text = half
    next(note.iterfind("duration")).text = str(kept)
    rest = etree.fromstring(
        f"<note><rest/><duration>{whole - kept}</duration>"
        f"<voice>{note.findtext('voice', '1')}</voice><type>{half}</type></note>"
    )
    rest.tail = note.tail
    note.addnext(rest)
    return Fraction(4, 2 ** LENGTHS.index(kind if dot is not None else half))


def _later(note: Note, kept: Fraction) -> Place:
    """The moment when the shortened note stops, counted in the bar of its start."""
    return Place(note.place.bar, note.place.beat + float(kept))
