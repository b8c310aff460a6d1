"""Reads the engraver's drawing as a player would: which note heads stand in which bar, and what
each of them says.

Nothing here knows the score. A head's pitch is worked out from what stands on the paper: its
height, the clef in front of it, the key signature, the accidentals before it in its bar, octave
lines, and the ties that lead to it.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

_TOKEN = re.compile(
    r'<g (?:id="([^"]*)" )?class="([^" ]*)(?: id-([^" ]*))?[^"]*"[^>]*>'
    r'|<use [^>]*?href="#([0-9A-F]{4})[^"]*" transform="translate\((-?[\d.]+), (-?[\d.]+)\)'
)
_LINE = re.compile(r'<path d="M(-?[\d.]+) -?[\d.]+ L(-?[\d.]+) ')
_LONG = re.compile(
    r'(?:<polygon [^>]*/>)+<rect x="(-?[\d.]+)" y="(-?[\d.]+)" height="(-?[\d.]+)"'
)  # a head of four whole notes
_FRET = re.compile(r'<text x="(-?[\d.]+)"')  # of tablature: a number instead of a head
_LINES = re.compile(
    r'<path d="M-?[\d.]+ (-?[\d.]+) L[^>]*/><path d="M-?[\d.]+ (-?[\d.]+) L'
)  # the first two of a staff
_USE = re.compile(r"<use [^>]*?translate\((-?[\d.]+)")
_SIGNATURE = re.compile(r'<g (?:id="[^"]*" )?class="keyAccid"><use [^>]*?translate\((-?[\d.]+)')

# SMuFL code points (W3C Community Group, SMuFL 1.4: tables "Clefs", "Noteheads", "Standard
# accidentals" and others), from memory
_CLEFS = {  # the scale step, counted from C0, that stands at a clef's height
    "E050": 32,
    "E051": 18,
    "E052": 25,
    "E053": 39,
    "E054": 46,
    "E055": 25,
    "E056": 25,
    "E057": 25,
    "E07A": 32,
    "E05C": 28,
    "E05D": 21,
    "E07B": 28,
    "E062": 24,
    "E063": 10,
    "E064": 17,
    "E065": 31,
    "E066": 38,
    "E07C": 24,
}
_ACCIDENTALS = {
    "E260": -1.0,
    "E261": 0.0,
    "E262": 1.0,
    "E263": 2.0,
    "E264": -2.0,
    "E265": 3.0,
    "E266": -3.0,
    "E267": -1.0,
    "E268": 1.0,
    "E269": 2.0,
    "E270": -0.5,
    "E271": -1.5,
    "E272": 0.5,
    "E273": -0.5,
    "E274": 1.5,
    "E275": 0.5,
    "E276": 2.5,
    "E277": 1.5,
    "E280": -0.5,
    "E281": -1.5,
    "E282": 0.5,
    "E283": 1.5,
}
_HEADS = (
    ("E0A0", "E0F4"),
    ("E0F7", "E10F"),
    ("E110", "E13F"),
    ("E150", "E1AF"),
    ("E1B0", "E1CF"),
    ("E937", "E94F"),
)
_REPEATS = ("mRpt", "mRpt2", "multiRpt", "beatRpt", "halfmRpt")


@dataclass(frozen=True, slots=True)
class Told:
    """What lines and signs of a drawing belong to, by their ids: which heads a tie joins, on which
    staff a head stands that belongs to a voice of another, on which staff an octave line is and
    how many scale steps it counts, and which accidentals are marks over a note and none of its
    own. Whether they are drawn at all, and where, only the drawing says."""

    ties: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    staves: Mapping[str, int] = field(default_factory=dict)
    octaves: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    marks: Collection[str] = ()


class DrawnHead(NamedTuple):
    """A note head on the paper. name: id of its note; staff: from 1; x: hundredths of a millimetre
    from the left of its line; line: which line of music, from 0; place: scale steps from C0,
    None where no clef gives it one (tablature, percussion); alter: semitones that are read with
    it, None for a sign we cannot read and on a staff without any clef; signed: an accidental
    says so (its own, one before it in its bar, or that of the head it is tied to), not the key
    signature alone; voice: number of the voice of its bar, in the order of the drawing."""

    name: str
    bar: int
    staff: int
    line: int
    x: float
    place: int | None
    alter: float | None
    signed: bool = False
    voice: int = 0


@dataclass(frozen=True, slots=True)
class Drawn:
    """All heads of a drawing, in no order; repeats: bars (by index) that are drawn as a sign of
    repetition; half: half the distance of two staff lines, in hundredths of a millimetre."""

    heads: tuple[DrawnHead, ...]
    repeats: frozenset[int]
    half: float


class _Sign(NamedTuple):
    """What stands on a staff, to be read from left to right. kind: clef, key (a signature begins),
    sharp (of a signature), accidental, head."""

    x: float
    kind: str
    y: float = 0.0
    glyph: str = ""
    name: str = ""
    own: float | None = None
    known: bool = True
    voice: int = 0


@dataclass(slots=True)
class _Staff:
    """What holds on one staff of a line. clef: (scale step, height), None where its heads have no
    pitch; half: half the distance of two lines; bare: no clef at all."""

    half: float
    bare: bool = True
    clef: tuple[int, float] | None = None
    key: dict[int, float] = field(default_factory=dict)

    def place(self, y: float) -> int:
        """The scale step, counted from C0, that stands at a height under the clef."""
        step, height = self.clef or (0, 0.0)
        return step + round((height - y) / self.half)


class _Octave(NamedTuple):
    staff: int
    left: float
    right: float
    steps: int


class _Reader:
    """Walks through a drawing once. half: half the distance of two staff lines, in hundredths of a
    millimetre; bars: the index of each drawn measure by its id."""

    def __init__(self, bars: Mapping[str, int], half: float, told: Told) -> None:
        self.bars, self.half, self.told = bars, half, told
        self.heads: list[DrawnHead] = []
        self.repeats: set[int] = set()
        self.alters: dict[str, tuple[float | None, bool]] = {}
        self.ties: dict[
            str, str
        ] = {}  # id of the head a tie leads to, and of the head it comes from
        self.line = -2  # before the first line; that one is 0
        self._begin_line()
        self._begin(-1)

    def _begin_line(self) -> None:
        self.line += 1
        self.staves: dict[int, _Staff] = {}
        self.octaves: list[_Octave] = []
        self.first = len(self.heads)  # of this line

    def _begin(self, bar: int) -> None:
        self.bar = bar
        self.signs: dict[int, list[_Sign]] = {}
        self.staff = self.voice = 0
        self.halves: dict[int, float] = {}

    # -- taking signs up -------------------------------------------------------------------------

    def read(self, page: str) -> None:
        """Take up a page."""
        kind, name = "", ""
        head: _Sign | None = None
        home = 1
        layer = False
        for token in _TOKEN.finditer(page):
            glyph = token[4]
            if glyph is None:
                kind = token[2]
                if kind == "note":
                    self._put(home, head)
                    name, head = token[1] or "", None
                    home = self.told.staves.get(name, self.staff)
                    fret = _FRET.match(page, token.end())
                    if fret:
                        head = _Sign(float(fret[1]), "head", name=name, voice=self.voice)
                elif kind == "measure":
                    self._put(home, head)
                    head = None
                    self._end_measure()
                    self._begin(self.bars.get(token[1] or "", -1))
                elif kind == "staff":
                    self._put(home, head)
                    head, layer = None, False
                    self.staff += 1
                    lines = _LINES.match(page, token.end())
                    if lines:
                        self.halves[self.staff] = (float(lines[2]) - float(lines[1])) / 2
                elif kind == "layer":
                    layer = True
                    self.voice += 1
                elif kind == "system":
                    self._put(home, head)
                    head = None
                    self._end_measure()
                    self._end_line()
                    self._begin_line()
                    self._begin(-1)
                elif kind == "keySig":
                    self._signature(page, token.end(), layer)
                elif kind == "notehead":
                    long = _LONG.match(page, token.end())
                    if long:
                        head = _Sign(
                            float(long[1]),
                            "head",
                            float(long[2]) + float(long[3]) / 2,
                            name=name,
                            voice=self.voice,
                        )
                elif kind == "accid":
                    kind = "mark" if token[1] in self.told.marks else kind
                elif kind == "tie":
                    ends = self.told.ties.get(token[1] or "")
                    if ends and page.startswith("<path", token.end()):
                        self.ties[ends[1]] = ends[0]
                elif kind == "octave":
                    line = token[1] or token[3]  # the latter where it goes on in another line
                    if line in self.told.octaves:
                        self._octave(*self.told.octaves[line], page, token.end())
                elif kind in _REPEATS:
                    self.repeats.add(self.bar)
            elif kind == "notehead":
                if head is None and _is_head(glyph):
                    head = _Sign(
                        float(token[5]), "head", float(token[6]), glyph, name, voice=self.voice
                    )
            elif kind == "accid":
                head = self._with_accidental(head, glyph, float(token[5]), home)
            elif kind == "clef":
                self._add(self.staff, _Sign(float(token[5]), "clef", float(token[6]), glyph))
            elif kind == "keyAccid":
                self._add(self.staff, _Sign(float(token[5]), "sharp", float(token[6]), glyph))
        self._put(home, head)
        self._end_measure()
        self._end_line()
        self._begin(-1)

    def _put(self, staff: int, head: _Sign | None) -> None:
        if head is not None:
            self._add(staff, head)

    def _add(self, staff: int, sign: _Sign) -> None:
        self.signs.setdefault(staff, []).append(sign)

    def _with_accidental(self, head: _Sign | None, glyph: str, x: float, home: int) -> _Sign | None:
        """An accidental is its head's own, and from where it stands it holds for all that follows
        in its bar."""
        if head is None or glyph in (
            "E26A",
            "E26B",
            "E26C",
            "E26D",
        ):  # parentheses and brackets around one
            return head
        alter = _ACCIDENTALS.get(glyph)
        self._add(home, _Sign(x, "accidental", head.y, own=alter))
        return head._replace(own=alter, known=alter is not None)

    def _signature(self, page: str, at: int, layer: bool) -> None:
        """A signature begins: it replaces the one before. One without signs stands where it stands
        in the drawing: before all notes, or after them."""
        first = _SIGNATURE.match(page, at)
        nowhere = float("inf") if layer else float("-inf")
        x = float(first[1]) - 1 if first else nowhere
        self._add(self.staff, _Sign(x, "key"))

    def _octave(self, staff: int, steps: int, page: str, at: int) -> None:
        end = page.find("</g>", at)
        edges = [float(use[1]) for use in _USE.finditer(page, at, end)]
        for line in _LINE.finditer(page, at, end):
            edges += [float(line[1]), float(line[2])]
        if edges:
            self.octaves.append(_Octave(staff, min(edges), max(edges), steps))

    # -- reading them ----------------------------------------------------------------------------

    def _end_measure(self) -> None:
        for number, signs in self.signs.items():
            staff = self.staves.setdefault(number, _Staff(self.half))
            staff.half = self.halves.get(number, staff.half)
            heard: dict[int, float | None] = {}  # accidentals so far in this bar, by height
            for sign in sorted(signs, key=_x):
                if sign.kind == "head":
                    self._head(sign, number, staff, heard)
                elif sign.kind == "accidental":
                    if staff.clef is not None:
                        heard[staff.place(sign.y)] = sign.own
                elif sign.kind == "clef":
                    step = _CLEFS.get(sign.glyph)
                    staff.clef = (step, sign.y) if step is not None else None
                    staff.bare = False
                elif sign.kind == "key":
                    staff.key, heard = {}, {}
                elif staff.clef is not None:
                    staff.key[staff.place(sign.y) % 7] = _ACCIDENTALS.get(sign.glyph, 0.0)

    def _end_line(self) -> None:
        """Heads under or over an octave line are read an octave away; the line may reach into later
        bars."""
        if not self.octaves:
            return
        for n in range(self.first, len(self.heads)):
            head = self.heads[n]
            steps = sum(
                o.steps
                for o in self.octaves
                if o.staff == head.staff and o.left - 1 <= head.x <= o.right + 1
            )
            if steps and head.place is not None:
                self.heads[n] = head._replace(place=head.place + steps)
        self.octaves = []

    def _head(
        self, sign: _Sign, number: int, staff: _Staff, heard: dict[int, float | None]
    ) -> None:
        place = staff.place(sign.y) if staff.clef is not None else None
        alter: float | None = None if staff.bare else 0.0
        signed = False
        if place is not None:
            start = self.ties.get(sign.name)
            if sign.own is not None or not sign.known:
                alter, signed = sign.own, True
            elif start is not None and start in self.alters:
                alter, signed = self.alters[start]
            elif place in heard:
                alter, signed = heard[place], True
            else:
                alter = staff.key.get(place % 7, 0.0)
        self.alters[sign.name] = alter, signed
        self.heads.append(
            DrawnHead(
                sign.name, self.bar, number, self.line, sign.x, place, alter, signed, sign.voice
            )
        )


def _x(sign: _Sign) -> float:
    return sign.x


def _is_head(glyph: str) -> bool:
    return any(first <= glyph <= last for first, last in _HEADS)


def read_drawing(
    pages: Sequence[str], bars: Mapping[str, int], staff_mm: float, told: Told
) -> Drawn:
    """All heads of a drawing. pages: as SVG; bars: the index of each drawn measure by its id;
    staff_mm: height of a staff of five lines, in millimetres; told: what its lines belong to."""
    reader = _Reader(bars, staff_mm * 12.5, told)
    for page in pages:
        reader.read(page)
    return Drawn(tuple(reader.heads), frozenset(reader.repeats), reader.half)
