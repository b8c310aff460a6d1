"""What a reader would call wrong on a drawn line or a printed part, found from ink and boxes.

Distances in hundredths of a millimetre. Two signs collide when their ink boxes overlap by more than
TOLERANCE both ways; they nearly do (a near miss) when less than NEAR of white is between two signs
that are read as words are. Slanted and curved ink is cut into short pieces first. Ledger lines,
staff lines and bar lines are meant to be crossed.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import pairwise
from typing import NamedTuple

from sectionprep.drawing.engraver.part import Engraving
from sectionprep.drawing.scene.chord_symbols import split
from sectionprep.drawing.scene.ink import Box, Curve, Glyph, Ink, Polygon, System, Text
from sectionprep.drawing.scene.line_extras import Extra
from sectionprep.drawing.text import fonts

TOLERANCE = 15.0  # judgement: below this the eye sees two things that touch, not one blot
NEAR = 50.0  # half a millimetre between words: judgement of readers
WORDS = 40.0  # between two sung syllables: less reads as one word; judgement
SAID = 99.0  # between two syllables that we put under notes: a millimetre, as players asked for
STUB = 600.0  # a hairpin shorter than this that begins before the line's first note
FLUSH = 100.0  # a millimetre from a bar line: what ends there ends with the bar; judgement
FROM_ITS_BAR = 1300.0  # how far left of its bar words may begin; as page_edge.py lets them
NUMBER = 150.0  # beside the number of a long rest: closer, it reads as a digit; judgement
NARROW = 400.0  # a bar narrower than this cannot be counted; judgement
STRAYED = 4.0  # staves: a slur so high is none of one staff; judgement
AT = 400.0  # from its note: no slur ends further from it; judgement
KINDS = {
    "artic": "articulation",
    "fermata": "fermata",
    "dynam": "dynamic",
    "hairpin": "hairpin",
    "breath": "breath",
    "dir": "words",
    "tempo": "words",
    "reh": "rehearsal mark",
    "repeatMark": "road map",
    "voltaBracket": "ending",
    "tupletNum": "tuplet number",
    "notehead": "head",
    "accid": "accidental",
    "stem": "stem",
    "flag": "flag",
    "beam": "beam",
    "rest": "rest",
    "mRest": "rest",
    "multiRest": "rest",
    "slur": "slur",
    "tie": "tie",
    "clef": "clef",
    "lv": "tie",
    "gliss": "slide",
    "meterSig": "meter",
    "keyAccid": "key",
    "syl": "lyric",
    "fb": "figured bass",
}
BODIES = frozenset(
    {
        "head",
        "accidental",
        "stem",
        "flag",
        "beam",
        "rest",
        "slur",
        "tie",
        "clef",
        "slide",
        "meter",
        "key",
    }
)
_READ = frozenset(
    {"words", "rehearsal mark", "road map", "chord", "number", "syllable", "dynamic", "lyric"}
    | {"fermata"}
)  # what must stand apart to be read
_OUTSIDE = frozenset({"words", "road map", "dynamic", "chord", "syllable"})
_SOLID = frozenset({"head", "accidental", "flag", "clef"})
_NEVER = {
    frozenset(pair)
    for pair in (("accidental", "head"), ("clef", "head"), ("clef", "flag"), ("clef", "accidental"))
}
_MEANT = {  # pairs that touch in all good engraving
    frozenset(pair)
    for pair in (
        ("tuplet number", "beam"),
        ("ending", "words"),
        ("jazz", "head"),
        ("articulation", "slur"),
    )
}
_MEANT |= {frozenset((kind,)) for kind in ("lyric", "ending", "figured bass", "tuplet number")}
# of a treble clef's outline in the engraver's font: the tail begins on the lowest line, a space
# under the place of the clef, and ends so far to the right, as a share of the whole
_TREBLE, _TO_TAIL, _TAIL = frozenset({"E050", "E052", "E053"}), 252.0, 0.77
_LETTERS = re.compile(r"\w")
_WITH_TAILS = re.compile(r"[gjpqyQ,;()\[\]]")


class Fault(NamedTuple):
    """One fault. kind: what is wrong; signs: which; part, line (from 1; 0 of a whole part); box."""

    kind: str
    signs: tuple[str, str]
    part: str
    line: int
    box: Box

    @property
    def kinds(self) -> tuple[str, str]:
        """The signs, in the order of the alphabet."""
        return self.signs


class Sign(NamedTuple):
    """A piece of a sign: what it is, its box, whose it is, and of which sign it is a piece."""

    kind: str
    box: Box
    owner: str
    one: str


def kind_of(ink: Ink) -> str:
    """What a reader calls this ink; "" for what is no sign."""
    return next((KINDS[c] for c in reversed(ink.classes) if c in KINDS), "")


def _ink_box(ink: Ink) -> Box:
    """The box of the ink itself: letters without tails end on their line."""
    if isinstance(ink.shape, Text) and not _WITH_TAILS.search(ink.shape.words):
        return ink.box[0], ink.box[1], ink.box[2], ink.shape.y
    return ink.box


def pieces(ink: Ink) -> Iterator[Box]:
    """The ink's box, or boxes along it where it is slanted or curved."""
    if isinstance(ink.shape, Curve):
        points = [p for _, pts in ink.shape.segments for p in pts]
        half = len(points) // 2 or 1
        curve = points[: half + 1] if len(points) >= 4 else points
        dense = [_bezier(curve, t / 12) for t in range(13)] if len(curve) == 4 else curve
        for a, b in pairwise(dense):
            yield min(a[0], b[0]), min(a[1], b[1]), max(a[0], b[0]), max(a[1], b[1])
    elif isinstance(ink.shape, Glyph) and ink.shape.code in _TREBLE:
        (x0, y0, x1, y1), neck = ink.box, ink.shape.y + _TO_TAIL * ink.shape.size
        yield x0, y0, x1, neck
        yield x0, neck, x0 + _TAIL * (x1 - x0), y1
    elif isinstance(ink.shape, Polygon) and ink.box[2] - ink.box[0] > 200:
        yield from _along(sorted(ink.shape.points))
    else:
        yield _ink_box(ink)


def _along(points: Sequence[tuple[float, float]]) -> Iterator[Box]:
    """Boxes along a slanted shape between its left and its right end."""
    x0, x1 = points[0][0], points[-1][0]
    left = [y for x, y in points if x <= x0 + 1]
    right = [y for x, y in points if x >= x1 - 1]
    for n in range(12):
        shares = (n / 12, (n + 1) / 12)
        tops = [min(left) + (min(right) - min(left)) * t for t in shares]
        lows = [max(left) + (max(right) - max(left)) * t for t in shares]
        width = x1 - x0
        yield x0 + width * shares[0], min(tops), x0 + width * shares[1], max(lows)


def _bezier(p: Sequence[tuple[float, float]], t: float) -> tuple[float, float]:
    u = 1 - t
    x, y = (
        u**3 * p[0][k] + 3 * u * u * t * p[1][k] + 3 * u * t * t * p[2][k] + t**3 * p[3][k]
        for k in (0, 1)
    )
    return x, y


def signs_of(system: System, extras: Iterable[Extra]) -> list[Sign]:
    """Every piece of every sign of a line."""
    found = [
        Sign(
            kind, box, ink.owner, ink.group or (f"{kind} {ink.owner}" if ink.owner else f"ink {n}")
        )
        for n, ink in enumerate(system.ink)
        if (kind := kind_of(ink))
        for box in pieces(ink)
    ]
    return found + [Sign(extra.kind, extra.box, "", f"extra {n}") for n, extra in enumerate(extras)]


def overlap(a: Box, b: Box) -> Box | None:
    """What two boxes share, where it is more than the tolerance both ways."""
    x0, y0, x1, y1 = max(a[0], b[0]), max(a[1], b[1]), min(a[2], b[2]), min(a[3], b[3])
    wide = x1 - x0 > min(TOLERANCE, (a[2] - a[0]) / 2, (b[2] - b[0]) / 2)
    high = y1 - y0 > min(TOLERANCE, (a[3] - a[1]) / 2, (b[3] - b[1]) / 2)
    return (x0, y0, x1, y1) if wide and high else None


def _may_touch(a: Sign, b: Sign) -> bool:
    """True for two pieces that are one sign, or that touch in all good engraving."""
    same_note = bool(a.owner) and a.owner == b.owner
    return (
        a.one == b.one
        or frozenset((a.kind, b.kind)) in _MEANT
        or (same_note and b.kind in BODIES and a.kind != "articulation")
        or (same_note and a.kind == b.kind)
    )


def collisions(part: str, line: int, signs: Sequence[Sign]) -> list[Fault]:
    """Signs that run into each other or into the notes; of one kind, too."""
    found: dict[tuple[str, str, int], Fault] = {}
    for a, b in _near_pairs(signs, 0.0):
        shared = None if _may_touch(a, b) else overlap(a.box, b.box)
        if shared is not None:
            names = (min(a.kind, b.kind), max(a.kind, b.kind))
            place = (*names, round(shared[0] / 200))
            found.setdefault(place, Fault("collision", names, part, line, shared))
    return list(found.values())


def near_misses(part: str, line: int, signs: Sequence[Sign]) -> list[Fault]:
    """Words and other signs that are read one by one, with less than half a millimetre between
    them."""
    found: dict[tuple[str, str], Fault] = {}
    read = [sign for sign in signs if sign.kind in _READ]
    for a, b in _near_pairs(read, NEAR):
        if _may_touch(a, b) or overlap(a.box, b.box):
            continue
        aside = max(a.box[0], b.box[0]) - min(a.box[2], b.box[2])
        below = max(a.box[1], b.box[1]) - min(a.box[3], b.box[3])
        one_row = a.kind == b.kind == "dynamic" and abs(a.box[3] - b.box[3]) < 5
        if one_row and aside > 5:
            continue  # "sf p" reads as one sign
        if max(aside, below) < NEAR - 1:
            names = (min(a.kind, b.kind), max(a.kind, b.kind))
            one = (min(a.one, b.one), max(a.one, b.one))
            found.setdefault(one, Fault("near miss", names, part, line, a.box))
    return list(found.values())


def _near_pairs(signs: Sequence[Sign], within: float) -> Iterator[tuple[Sign, Sign]]:
    """Signs, and what stands within so much of them from the left to the right; the sign first,
    where the other is a body."""
    ordered = sorted(signs, key=lambda sign: sign.box[0])
    for n, a in enumerate(ordered):
        for b in ordered[n + 1 :]:
            if b.box[0] > a.box[2] + within:
                break
            if a.kind not in BODIES:
                yield a, b
            elif b.kind not in BODIES:
                yield b, a


def run_together(
    part: str, line: int, system: System, extras: Sequence[Extra], ours: bool
) -> list[Fault]:
    """Syllables side by side with so little white between them that they read as one word. ours:
    those of the line itself are what we say under notes, not what is sung."""
    rows: dict[tuple[str, int], list[Box]] = {}
    for ink in system.ink:
        shape = ink.shape
        if kind_of(ink) == "lyric" and isinstance(shape, Text) and _LETTERS.search(shape.words):
            rows.setdefault(("syllable" if ours else "lyric", round(shape.y)), []).append(ink.box)
    for extra in extras:
        if extra.kind == "syllable":
            rows.setdefault(("syllable", round(extra.box[3])), []).append(extra.box)
    return [
        Fault("run together", (kind, kind), part, line, b)
        for (kind, _), row in rows.items()
        for a, b in pairwise(sorted(row))
        if b[0] - a[2] < (SAID if kind == "syllable" else WORDS)
    ]


def stubs(part: str, line: int, system: System) -> list[Fault]:
    """Ends of hairpins left over at the beginning of a line, before its first note."""
    first = min((spot.x for spot in system.heads.values()), default=0.0)
    return [
        Fault("stub", ("hairpin", ""), part, line, ink.box)
        for ink in system.ink
        if "hairpin" in ink.classes and ink.box[2] < first and ink.box[2] - ink.box[0] < STUB
    ]


def in_rest_numbers(part: str, line: int, system: System, signs: Sequence[Sign]) -> list[Fault]:
    """Signs that stand beside the number of a long rest as if they were a digit of it."""
    numbers = [
        ink.box
        for ink in system.ink
        if "multiRest" in ink.classes and ink.box[3] < system.staff_top + 50
    ]
    found: dict[str, Fault] = {}
    for x0, y0, x1, y1 in numbers:
        for sign in signs:
            a, b, c, d = sign.box
            middle = (b + d) / 2
            if sign.kind in _READ and a < x1 + NUMBER and x0 - NUMBER < c and y0 < middle < y1:
                fault = Fault("in a rest's number", (sign.kind, "rest"), part, line, sign.box)
                found.setdefault(sign.one, fault)
    return list(found.values())


def over_wrong_bars(
    part: str, line: int, system: System, bars: Mapping[str, int], places: Mapping[str, int]
) -> list[Fault]:
    """Words that begin outside their bar (and, if they end where it ends, do not end there, or are
    longer than two bars and do not end at its bar line, as a sentence of the road map does).
    bars: index of each drawn bar, by id; places: of the bar in which each sign stands."""
    edges: dict[int, tuple[float, float]] = {}
    for bar, left, right in system.bar_edges:
        if bar in bars:
            old = edges.get(bars[bar], (left, right))
            edges[bars[bar]] = min(left, old[0]), max(right, old[1])
    groups: dict[str, Box] = {}
    for ink in system.ink:
        if ink.group in places and kind_of(ink) == "words":
            a, b, c, d = groups.get(ink.group, ink.box)
            box = ink.box
            groups[ink.group] = min(a, box[0]), min(b, box[1]), max(c, box[2]), max(d, box[3])
    found = []
    for name, box in groups.items():
        left, right = edges.get(places[name], (box[0], box[2]))
        begins = left - FROM_ITS_BAR <= box[0] < right
        short = box[2] - box[0] < 2 * (right - left) or right - FLUSH < box[2]
        ends = left < box[2] <= right + FLUSH and short
        if not begins and not ends:
            found.append(Fault("over the wrong bar", ("words", ""), part, line, box))
    return found


def in_staves(part: str, line: int, system: System, signs: Sequence[Sign]) -> list[Fault]:
    """Words and dynamics that stand on the lines of a staff."""
    tops = sorted(system.staves)
    high = system.staff_bottom - tops[-1] if tops else 0.0
    found: dict[str, Fault] = {}
    for sign in signs:
        middle = (sign.box[1] + sign.box[3]) / 2
        if sign.kind in _OUTSIDE and any(
            top - TOLERANCE < middle < top + high + TOLERANCE for top in tops
        ):
            found.setdefault(
                sign.one, Fault("in the staff", (sign.kind, "staff"), part, line, sign.box)
            )
    return list(found.values())


def unreadable(part: str, line: int, system: System) -> list[Fault]:
    """Chord symbols with a letter that no font has. One in words is printed as a box and said on
    the sheet: the file's own, and not counted here."""
    return [
        Fault("unreadable", ("chord", ""), part, line, (spot.x, spot.y, spot.x, spot.y))
        for name, spot in system.chords.items()
        if any(
            fonts.lacking(str(piece), fonts.BOLD)
            for piece in split(system.chord_texts.get(name, ""))
        )
    ]


def strayed(part: str, line: int, system: System) -> list[Fault]:
    """High slurs of which an end stands at no note: torn from it, or drawn to another player's. A
    pianist's go from staff to staff, and end at notes."""
    tops = sorted(system.staves) or [system.staff_top]
    most = STRAYED * (system.staff_bottom - tops[-1])
    notes = [ink.box for ink in system.ink if kind_of(ink) in ("head", "stem", "beam")]
    return [
        Fault("strayed", ("slur", ""), part, line, ink.box)
        for ink in system.ink
        if kind_of(ink) == "slur" and ink.box[3] - ink.box[1] > most > 0
        if not all(any(_beside(end, box) for box in notes) for end in _ends(ink))
    ]


def _ends(ink: Ink) -> tuple[tuple[float, float], ...]:
    """Both ends of a curve."""
    assert isinstance(ink.shape, Curve)
    points = [point for _, points in ink.shape.segments for point in points]
    return points[0], points[len(points) // 2]


def _beside(end: tuple[float, float], box: Box) -> bool:
    x, y = end
    return box[0] - AT < x < box[2] + AT and box[1] - AT < y < box[3] + AT


def narrow_bars(part: str, line: int, system: System) -> list[Fault]:
    """Bars too narrow to be counted."""
    return [
        Fault("narrow bar", ("bar", ""), part, line, (left, system.staff_top, right, 0.0))
        for _, left, right in system.bar_edges
        if right - left < NARROW
    ]


def notes_on_notes(part: str, line: int, signs: Sequence[Sign]) -> list[Fault]:
    """Accidentals and clefs on the heads or flags of other notes. Accidentals on each other are not
    looked at: their boxes overlap where they stand as close as they should."""
    found: dict[tuple[str, str, int], Fault] = {}
    bodies = sorted((s for s in signs if s.kind in _SOLID), key=lambda sign: sign.box[0])
    for n, a in enumerate(bodies):
        for b in bodies[n + 1 :]:
            if b.box[0] > a.box[2]:
                break
            if frozenset((a.kind, b.kind)) not in _NEVER or a.one == b.one:
                continue
            shared = overlap(a.box, b.box)
            if shared is not None:
                names = (min(a.kind, b.kind), max(a.kind, b.kind))
                place = (*names, round(shared[0] / 200))
                found.setdefault(place, Fault("collision", names, part, line, shared))
    return list(found.values())


def line_faults(
    part: str,
    line: int,
    system: System,
    extras: Sequence[Extra],
    engraving: Engraving | None,
    *,
    ours: bool = False,
) -> list[Fault]:
    """Everything wrong on one line. engraving: of which it is, if that is known; ours: the words
    under its notes are what we say to them, not what is sung."""
    signs = signs_of(system, extras)
    found = [
        *collisions(part, line, signs),
        *near_misses(part, line, signs),
        *run_together(part, line, system, extras, ours),
        *stubs(part, line, system),
        *in_rest_numbers(part, line, system, signs),
        *in_staves(part, line, system, signs),
        *narrow_bars(part, line, system),
        *strayed(part, line, system),
        *unreadable(part, line, system),
        *notes_on_notes(part, line, signs),
    ]
    if engraving is not None:
        bars = {bar.id: bar.index for bar in engraving.bars}
        places = {name: key[1] for name, key in engraving.signs.items() if isinstance(key[1], int)}
        found += over_wrong_bars(part, line, system, bars, places)
    return found


def economy(part: str, per_line: Sequence[int], per_page: Sequence[int]) -> list[Fault]:
    """A bar alone on the last line, a line alone on the last page."""
    found = []
    nowhere = (0.0, 0.0, 0.0, 0.0)
    if len(per_line) > 1 and per_line[-1] == 1:
        found.append(Fault("economy", ("one bar", "last line"), part, 0, nowhere))
    if len(per_page) > 1 and per_page[-1] == 1:
        found.append(Fault("economy", ("one line", "last page"), part, 0, nowhere))
    return found
