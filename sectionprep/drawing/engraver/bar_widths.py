"""How wide the bars of a part are by nature, so that lines can be broken before they are drawn.

Only the engraver knows how wide it will draw a bar. But bars of one kind (the same rhythm, the same
signs that take room) come out equally wide, and a band that moves together is full of them: each
kind is laid out once, whatever part it stands in.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import cached_property

from sectionprep.drawing.scene.drawing import natural_widths

_MEASURE = re.compile(r"<measure\b([^>]*)>(.*?)</measure>", re.DOTALL)
_ID = re.compile(r' xml:id="([^"]+)"')
_SCORE_DEF = re.compile(r"<scoreDef\b.*?</scoreDef>", re.DOTALL)
_CLEF = re.compile(r"<clef\b[^>]*>")
_BARLINE = re.compile(r' (left|right)="([a-z]+)"')
#: signs over and under the staff: they push nothing aside but the beat they stand at
_LIGHT = re.compile(
    r"<(slur|dynam|hairpin|dir|reh|breath|caesura|fermata|trill|turn|mordent|gliss|mNum|repeatMark)\b"
    r"(?:[^>]*/>|.*?</\1>)",
    re.DOTALL,
)
_STAMP = re.compile(r' tstamp="(\d+(?:\.\d+)?)"')
_END_STAMP = re.compile(r' tstamp2="(\d{1,4})m\+(\d+(?:\.\d+)?)"')
_TIE = re.compile(r'<tie\b[^>]*? startid="#([^"]+)" endid="#([^"]+)"[^>]*/>')
_NOTE_ID = re.compile(r'<note\b[^>]*? xml:id="([^"]+)"')
_NAMES = re.compile(r' (?:xml:id|n|tie|accid\.ges|label|trans\.diat|trans\.semi)="[^"]*"')
_PITCH = re.compile(r' (?:oct|pname)="[^"]*"')
_PITCH_MATTERS = re.compile(
    r'<(?:chord|accid|graceGrp)\b| (?:accid|grace)="|dur="(?:16|32|64)"|</layer><layer\b'
)
_BEAM = re.compile(r"<beam\b.*?</beam>", re.DOTALL)
_FLAGGED = re.compile(r'<note\b(?=[^>]* dur="8")[^>]*? oct="(\d)" pname="([a-g])"')
_STEPS = "cdefgab"
_PIECE = 100  # bars that are laid out at a time; judgement
_STAFF = re.compile(r'<staff\b[^>]*? n="(\d+)"[^>]*>(.*?)</staff>', re.DOTALL)
_MOST = 20_000  # kinds that are remembered: some megabytes

Kind = tuple[object, ...]
_known: dict[Kind, float] = {}  # widths of bars, and the room of clef and key, by what they hold


class _Bars:
    """The bars of a part in the engraver's notation, and what each is like."""

    def __init__(self, text: str, size: float) -> None:
        self.size = size
        self.found = list(_MEASURE.finditer(text))
        first = _SCORE_DEF.search(text)
        self.head = first[0] if first else ""
        clefs = _CLEF.findall(text)
        # syllables reach into the bars after theirs; and which way a stem points is simple only
        # under one clef
        self.plain = len(clefs) == 1 and "<verse" not in text
        self.middle = {"G2": 34, "F4": 22, "C3": 28, "C4": 26}.get(
            "".join(re.findall(r' (?:shape|line|dis)="(\w+)"', clefs[0])) if clefs else ""
        )
        self.signatures = [
            (bool(n) and _SCORE_DEF.search(text, self.found[n - 1].end(), m.start())) or None
            for n, m in enumerate(self.found)
        ]
        self.names = [name[1] if (name := _ID.search(m[1])) else "" for m in self.found]
        self.barlines = [tuple(_BARLINE.findall(m[1])) for m in self.found]
        self.stamps = self._stamps()

    def _stamps(self) -> list[str]:
        """The last beat of each bar at which a light sign begins or ends: it may lie behind the
        notes of a short bar, and the engraver makes room for it."""
        found: list[set[str]] = [set() for _ in self.found]
        for n, m in enumerate(self.found):
            if "tstamp" in m[2]:
                found[n].update(_STAMP.findall(m[2]))
                for bars, beat in _END_STAMP.findall(m[2]):
                    if n + int(bars) < len(found):
                        found[n + int(bars)].add(beat)
        return [max(stamps, key=float, default="") for stamps in found]

    def heavy(self, n: int) -> tuple[str, Kind]:
        """What takes room in a bar, and which of its notes are tied to each other: a tie wants room
        too."""
        body = self.found[n][2]
        if body.endswith("</staff>") and not self.stamps[n]:
            return body, ()
        notes = {name: place for place, name in enumerate(_NOTE_ID.findall(body))}
        ties = [m for m in _TIE.finditer(body) if m[1] in notes and m[2] in notes]
        signs = [m[0] for m in ties]
        if self.stamps[n]:
            signs.append(f'<dynam staff="1" tstamp="{self.stamps[n]}">p</dynam>')
        return _TIE.sub("", _LIGHT.sub("", body)) + "".join(signs), tuple(
            (notes[m[1]], notes[m[2]]) for m in ties
        )

    def kind(self, n: int) -> Kind | None:
        """What makes a bar as wide as it is; None for bars that must be laid out where they
        stand."""
        if not self.plain or self.signatures[n]:
            return None
        body, ties = self.heavy(n)
        body = _NAMES.sub("", _TIE.sub("", body))
        flags: Kind = ()
        if not _PITCH_MATTERS.search(body):
            loose = _FLAGGED.findall(_BEAM.sub("", body)) if 'dur="8"' in body else []
            heights = [7 * int(octave) + _STEPS.index(step) for octave, step in loose]
            flags = (
                tuple(heights)
                if self.middle is None
                else tuple(height >= self.middle for height in heights)
            )
            body = _PITCH.sub("", body)
        return (self.signs if n == 0 else self.size), body, flags, ties, *self.barlines[n : n + 2]

    @property
    def signs(self) -> Kind:
        """What stands at the head of a line."""
        return self.size, _NAMES.sub("", self.head)

    def pieces(self, bars: Iterable[int]) -> Iterator[str]:
        """These bars in excerpts: a long line takes the engraver more than its share of time."""
        ordered = sorted(bars)
        for n in range(0, max(len(ordered), 1), _PIECE):
            yield self.excerpt(ordered[n : n + _PIECE])

    @cached_property
    def changes(self) -> list[tuple[int, tuple[str, ...]]]:
        """The bars in which clefs change or signatures begin, and what: staves, or "" for all."""
        return [
            (n, (*(("",) if self.signatures[n] else ()), *staves))
            for n, m in enumerate(self.found)
            if (staves := tuple(s for s, body in _STAFF.findall(m[2]) if "<clef" in body))
            or self.signatures[n]
        ]

    def held(self, first: int) -> set[int]:
        """The last bar before this one in which each clef changed, and a signature began."""
        last = {what: n for n, whats in self.changes if n < first for what in whats}
        return {*last.values()}

    def excerpt(self, bars: Sequence[int]) -> str:
        """These bars alone, in the engraver's notation, each beside those that its width depends
        on."""
        wanted = {0}
        if bars and not self.plain:
            wanted |= {min(bars) - 1} | self.held(min(bars))
        for n in bars:
            wanted |= {n, n - 1, n + 1} if self.signatures[n] or self.barlines[n] else {n}
            if n + 1 < len(self.found) and (self.signatures[n + 1] or self.barlines[n + 1]):
                wanted |= {n + 1, n + 2}
        wanted.add(
            max(wanted) + 1
        )  # words that run over the end of the line would make the last bar wider
        parts = []
        for n in sorted(w for w in wanted if 0 <= w < len(self.found)):
            signature = self.signatures[n]
            parts.append(
                (signature[0] if signature else "")
                + f"<measure{self.found[n][1]}>{self.heavy(n)[0]}</measure>"
            )
        return (
            '<mei xmlns="http://www.music-encoding.org/ns/mei"><music><body><mdiv><score>'
            f"{self.head}<section>{''.join(parts)}</section></score></mdiv></body></music></mei>"
        )


def bar_widths(
    text: str, size: float, names: Sequence[str], draw: Callable[[str], str]
) -> tuple[dict[str, float], float]:
    """Widths of the named bars, by name, in hundredths of a millimetre, and the room that clef and
    key take. text: a part in the engraver's notation, without white space between elements; size:
    of its staff, in millimetres; draw: lays out such notation on one endless line, as SVG. Bars
    that cannot be laid out are left out."""
    part = _Bars(text, size)
    numbers = {name: n for n, name in enumerate(part.names) if name}
    kinds = {name: part.kind(numbers[name]) for name in names if name in numbers}
    if len(_known) > _MOST:
        _known.clear()
    new = {
        kind: name
        for name, kind in reversed(kinds.items())
        if kind is not None and kind not in _known
    }
    alone = [name for name, kind in kinds.items() if kind is None]
    drawn: dict[str, float] = {}
    if new or alone or part.signs not in _known:
        head = 0.0
        for piece in part.pieces(numbers[name] for name in (*alone, *new.values())):
            found, head = natural_widths(draw(piece))
            if not found:
                return {}, head
            drawn |= {name: width for name, width in found.items() if name not in drawn}
        _known[part.signs] = head
        _known.update((kind, drawn[name]) for kind, name in new.items() if name in drawn)
    widths = {
        name: drawn.get(name) if kind is None else _known.get(kind) for name, kind in kinds.items()
    }
    return {name: width for name, width in widths.items() if width is not None}, _known[part.signs]
