"""What has to be changed in the engraver's own notation (MEI) before it draws a part.

Silent bars become one long rest, lines break where layout says, words get the size they should
have.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import cast

from lxml import etree

from sectionprep.drawing.engraver.twice import said_once
from sectionprep.drawing.proof.drawn_heads import Told
from sectionprep.drawing.text.lettering import SHRUNK
from sectionprep.musicxml.copies.jumps import CODA, SAYS_JUMP, TO_CODA

_NS = "http://www.music-encoding.org/ns/mei"
_M = f"{{{_NS}}}"
_ID = "{http://www.w3.org/XML/1998/namespace}id"
_HELP = re.compile(
    r"^(cue: |hits: \d|(soli|unis\.|octaves|8v[ab]|15m[ab]|[+-]\d octaves)"
    r"( of |, lead | with |: you lead)|\(\d+\)$|band out\b)"
)
_COUNT = re.compile(r"\(\d+\)")
_SILENT = frozenset({f"{_M}{name}" for name in ("mRest", "rest", "space", "mSpace", "multiRest")})
_REST, _IN_LAYERS = f"{_M}mRest", f"{_M}staff/{_M}layer/*"
_START_ONLY = frozenset(
    {f"{_M}{name}" for name in ("reh", "tempo", "repeatMark", "dir", "dynam", "mNum")}
)

#: lines of a page, as the engraver draws it: whatever goes over several notes it looks up in all of
#: the page that it has drawn (750 hairpins on one page of 375 lines: 3.8 s, on pages of 16: 1.0)
LINES = 16
#: characters: words over the last bar of a line make the engraver widen it, at the cost of all
#: other bars; long ones beyond measure
_LONG_WORDS = 28

_CROSSING = etree.XPath("//m:note[@staff] | //m:chord[@staff]", namespaces={"m": _NS})
_STEPS = {"8": 7, "15": 14, "22": 21}  # scale steps of an octave line
_SIGNS = frozenset({"slur", "breath", "hairpin", "dynam", "dir"})
SignKey = tuple[str, str] | tuple[str, int, float]


@dataclass(slots=True)
class MeiBar:
    """One drawn bar: index of its first bar in the chart and how many it stands for. section: a
    letter stands over it; glued: not to be parted from the bar before; coda: the coda begins; rest:
    it holds a rest of the bar alone; sung: it has syllables; time: it stands for bars of time."""

    element: etree._Element
    index: int
    bars: int = 1
    section: bool = False
    glued: bool = False
    coda: bool = False
    rest: bool = False
    sung: bool = False
    time: bool = False

    @property
    def id(self) -> str:
        """Its id in the drawing."""
        return self.element.get(_ID, "")


class MeiPart:
    """The engraver's notation of one part, with its bars in order. plays: first bar and length of
    what is to be closed up into one bar of time."""

    def __init__(self, text: str, plays: Iterable[tuple[int, int]] = ()) -> None:
        self.root = etree.fromstring(
            text.encode("utf-8"),
            etree.XMLParser(remove_comments=True, remove_pis=True, huge_tree=True),
        )
        self._tidy()
        self.bars = [MeiBar(element, n) for n, element in enumerate(self.root.iter(f"{_M}measure"))]
        self._merge_rests()
        for first, count in plays:
            self._close_time(first, count)
        self._describe()

    def text(self) -> str:
        """The changed notation."""
        return etree.tostring(self.root, encoding="unicode")

    # -- words
    # --------------------------------------------------------------------------------------

    def _tidy(self) -> None:
        for element in list(self.root.iter(f"{_M}expansion", f"{_M}label", f"{_M}labelAbbr")):
            if element.getparent().tag != f"{_M}verse":  # there it is the number of the verse
                _take_out(element)
        for silent in list(self.root.iter(f"{_M}tempo", f"{_M}dir")):
            if not _text(silent).strip():  # a tempo that is only heard would part a long rest
                _take_out(silent)
        for measure in self.root.iter(f"{_M}measure"):
            if measure.get("left") == "single":  # so would a bar line that is said to be plain
                del measure.attrib["left"]
            said_once(measure)
        for staff in self.root.iter(f"{_M}staffDef"):
            if staff.get("notationtype", "").startswith("tab."):
                # any other number of lines than six is taken for a lute, its strings upside down
                staff.set("notationtype", "tab.guitar")
        for tempo in self.root.iter(f"{_M}tempo"):
            for rend in tempo.iter(f"{_M}rend"):
                if rend.get("glyph.auth"):
                    rend.set("fontsize", "72%")
            first = tempo.find(f"{_M}rend")
            if first is not None and not first.get("glyph.auth") and first.text:
                first.text = first.text.rstrip() + "\u00a0\u00a0"
        for words in self.root.iter(f"{_M}dir"):
            self._small_words(words)
            _sign_jump(words)
        for words in self.root.iter(f"{_M}dir", f"{_M}tempo"):
            if len(_text(words)) > _LONG_WORDS:
                _shrink(words)
        for clef in list(self.root.iter(f"{_M}clef")):
            _before_graces(clef)

    def _small_words(self, words: etree._Element) -> None:
        plain = _text(words).strip()
        if (plain.startswith("off ") and len(plain) < 12) or _HELP.match(plain):
            for child in list(words):
                words.remove(child)
            rend = etree.SubElement(words, f"{_M}rend", {"fontsize": "80%"})
            rend.text = plain
            words.text = None

    # -- rests
    # --------------------------------------------------------------------------------------

    def _is_silent(self, measure: etree._Element) -> bool:
        layers = list(measure.iter(f"{_M}layer"))
        return all(all(child.tag in _SILENT for child in layer) for layer in layers)

    def _has_signs(self, measure: etree._Element) -> bool:
        return any(child.tag not in (f"{_M}staff", f"{_M}mNum") for child in measure)

    def _may_start(self, measure: etree._Element) -> bool:
        for child in measure:
            if child.tag == f"{_M}staff":
                continue
            late = float(child.get("tstamp") or 1) > 1
            if child.tag not in _START_ONLY or late:
                return False
        return True

    def _merge_rests(self) -> None:
        kept: list[MeiBar] = []
        run: MeiBar | None = None
        for bar in self.bars:
            measure = bar.element
            silent = self._is_silent(measure)
            if (
                silent
                and run is not None
                and self._follows(run.element, measure)
                and not self._has_signs(measure)
            ):
                run.bars += 1
                if measure.get("right"):
                    run.element.set("right", measure.get("right") or "")
                _take_out(measure)
                if run.element.get("right"):
                    run = None
                continue
            kept.append(bar)
            startable = silent and self._may_start(measure) and self._full_bar(measure)
            run = bar if startable and not measure.get("right") else None
        for bar in kept:
            if bar.bars > 1:
                self._long_rest(bar)
            elif all(child.tag == _REST for child in bar.element.iterfind(_IN_LAYERS)):
                bar.rest = True
                # else the engraver makes a bar of uncertain length as narrow as the rest itself
                bar.element.attrib.pop("metcon", "")
        self.bars = kept

    def _full_bar(self, measure: etree._Element) -> bool:
        return measure.get("metcon") != "false"

    def _follows(self, before: etree._Element, measure: etree._Element) -> bool:
        """Neighbours under one parent with no change of key, time or clef between them."""
        return (
            not measure.get("left") and self._full_bar(measure) and measure.getprevious() is before
        )

    def _long_rest(self, bar: MeiBar) -> None:
        for layer in bar.element.iter(f"{_M}layer"):
            for child in list(layer):
                layer.remove(child)
            etree.SubElement(layer, f"{_M}multiRest", {"num": str(bar.bars)})

    # -- time
    # ---------------------------------------------------------------------------------------

    def _close_time(self, first: int, count: int) -> None:
        """Of bars that hold the same slashes only the first is left, and how many it stands for is
        said over it; nothing is done where a sign stands in one of the others."""
        run = [bar for bar in self.bars if first <= bar.index < first + count]
        if len(run) != count or not all(self._goes_on(a, b) for a, b in pairwise(run)):
            return
        head, *others = run
        words = etree.SubElement(head.element, f"{_M}dir", place="above", staff="1", tstamp="1")
        words.text = f"play {count}"
        if others and others[-1].element.get("right"):
            head.element.set("right", others[-1].element.get("right") or "")
        for bar in others:
            _take_out(bar.element)
        head.bars, head.time = count, True
        self.bars = [bar for bar in self.bars if bar not in others]

    def _goes_on(self, before: MeiBar, bar: MeiBar) -> bool:
        """Whether a bar is written as the one before, which it follows, and has no sign of its own
        but a count."""
        signs = [e for e in bar.element if e.tag not in (f"{_M}staff", f"{_M}mNum")]
        counted = all(e.tag == f"{_M}dir" and _COUNT.fullmatch(_text(e).strip()) for e in signs)
        ends = before.element.get("right")
        alike = _written(before.element) == _written(bar.element)
        return counted and alike and not ends and self._follows(before.element, bar.element)

    @property
    def closed(self) -> frozenset[int]:
        """Index of each bar that is not drawn, since the one before stands for it."""
        time = [bar for bar in self.bars if bar.time]
        return frozenset(n for bar in time for n in range(bar.index + 1, bar.index + bar.bars))

    # -- breaks
    # -------------------------------------------------------------------------------------

    def _describe(self) -> None:
        for n, bar in enumerate(self.bars):
            bar.section = any(child.tag == f"{_M}reh" for child in bar.element)
            bar.sung = next(bar.element.iter(f"{_M}verse"), None) is not None
            parent = bar.element.getparent()
            if parent is not None and parent.tag == f"{_M}ending" and n:
                bar.glued = parent.find(f"{_M}measure") is not bar.element
        codas = [bar for bar in self.bars[1:] if _begins_coda(bar.element)]
        for bar in codas[-1:]:
            bar.section = bar.coda = True

    def set_breaks(self, starts: Collection[int]) -> None:
        """Begin a line at each of these bars (positions in `bars`; the first is 0), replacing
        earlier breaks. The first gets a page break: without any break the engraver would break
        where it likes. So does each sixteenth: see `LINES`."""
        for element in list(self.root.iter(f"{_M}sb", f"{_M}pb")):
            _take_out(element)
        for n, at in enumerate(sorted(starts)):
            target = self.bars[at].element
            parent = target.getparent()
            if (
                parent is not None
                and parent.tag == f"{_M}ending"
                and parent.find(f"{_M}measure") is target
            ):
                target = parent
            target.addprevious(etree.Element(f"{_M}{'sb' if n % LINES else 'pb'}"))

    @cached_property
    def signs(self) -> dict[str, SignKey]:
        """Id of each slur, breath, hairpin, dynamic and word, and what it is and where: (name, id
        of the note it starts at) or (name, index of its bar, beat)."""
        found: dict[str, SignKey] = {}
        for bar in self.bars:
            for child in bar.element:
                name = child.tag.removeprefix(_M)
                if name not in _SIGNS:
                    continue
                start = (child.get("startid") or "").lstrip("#")
                found[child.get(_ID, "")] = (
                    (name, start) if start else (name, bar.index, float(child.get("tstamp") or 1))
                )
        return found

    @cached_property
    def told(self) -> Told:
        """What ties, octave lines, crossing notes and marks over notes belong to."""
        ties = {
            tie.get(_ID, ""): (_name(tie.get("startid")), _name(tie.get("endid")))
            for tie in self.root.iter(f"{_M}tie")
        }
        crossing: dict[str, int] = {}
        for element in cast(list[etree._Element], _CROSSING(self.root)):
            for note in element.iter(f"{_M}note"):
                staff = note.get("staff") or element.get("staff")
                crossing.setdefault(note.get(_ID, ""), _number(staff))
        octaves = {}
        for line in self.root.iter(f"{_M}octave"):
            steps = _STEPS.get(line.get("dis", "8"), 7)
            way = -1 if line.get("dis.place") == "below" else 1
            octaves[line.get(_ID, "")] = (_number(line.get("staff")), way * steps)
        accidentals = self.root.iter(f"{_M}accid")
        marks = frozenset(e.get(_ID, "") for e in accidentals if e.get("onstaff") == "false")
        return Told(ties, crossing, octaves, marks)

    @cached_property
    def chords(self) -> dict[str, str]:
        """Id of each chord symbol and its plain text; figured bass is the engraver's."""
        return {
            e.get(_ID, ""): _text(e).strip()
            for e in self.root.iter(f"{_M}harm")
            if e.find(f"{_M}fb") is None
        }


def _sign_jump(words: etree._Element) -> None:
    """A jump ends where its bar ends; "To Coda" carries the sign that it sends the player to."""
    said = _text(words)
    if not SAYS_JUMP.search(said):
        return
    if TO_CODA.search(said) and CODA not in said:
        inner = next(words.iter(f"{_M}rend"), words)
        inner.text = f"{inner.text or ''}\u00a0\u00a0"
        etree.SubElement(words, f"{_M}rend", {"glyph.auth": "smufl"}).text = CODA
    if words.find(f".//{_M}rend[@halign]") is None:
        around = etree.Element(f"{_M}rend", halign="right")
        around.text, words.text = words.text, None
        around.extend(list(words))
        words.append(around)


def _begins_coda(measure: etree._Element) -> bool:
    """A coda sign at a bar's beginning, where no words say that one goes from there to the coda."""
    marks = measure.findall(f"{_M}repeatMark[@func='coda']")
    at_start = any(float(mark.get("tstamp") or 1) <= 1 for mark in marks)
    return at_start and not any(TO_CODA.search(_text(e)) for e in measure.iter(f"{_M}dir"))


def _shrink(words: etree._Element) -> None:
    """Write words so small that they take no room; lettering.py makes them as large again."""
    for rend in list(words.iter(f"{_M}rend")):
        size = float(rend.get("fontsize", "100%").removesuffix("%"))
        rend.set("fontsize", f"{size / SHRUNK:g}%")
    bare = [(words, words.text), *((child, child.tail) for child in words)]
    for at, text in bare:
        if not text or not text.strip():
            continue
        rend = etree.Element(f"{_M}rend", {"fontsize": f"{100 / SHRUNK:g}%"})
        rend.text = text.replace(" ", "\u00a0", 1) if text.startswith(" ") else text
        if at is words:
            words.text = None
            words.insert(0, rend)
        else:
            at.tail = None
            at.addnext(rend)


def _number(staves: str | None) -> int:
    """The first of the staves that a sign names."""
    return int((staves or "1").split()[0])


def _is_grace(element: etree._Element) -> bool:
    """A grace note, or a beam of nothing else."""
    notes = list(element) if element.tag == f"{_M}beam" else [element]
    return all(note.get("grace") for note in notes)


def _name(link: str | None) -> str:
    return (link or "").lstrip("#")


def _before_graces(clef: etree._Element) -> None:
    """A clef stands to the left of the grace notes of its moment: they must be written under it."""
    before = clef.getprevious()
    while before is not None and _is_grace(before):
        before.addprevious(clef)
        before = clef.getprevious()


def _written(measure: etree._Element) -> list[tuple[str, list[tuple[str, str]], str]]:
    """All that stands on the staves of a bar, by whatever ids."""
    inside = (e for staff in measure.iterchildren(f"{_M}staff") for e in staff.iter())
    return [
        (
            str(e.tag),
            sorted((str(name), str(value)) for name, value in e.attrib.items() if name != _ID),
            (e.text or "").strip(),
        )
        for e in inside
    ]


def _take_out(element: etree._Element) -> None:
    parent = element.getparent()
    if parent is not None:
        parent.remove(element)


def _text(element: etree._Element) -> str:
    """All text in an element."""
    return "".join(str(piece) for piece in element.itertext())
