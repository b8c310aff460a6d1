"""A few bars of a few parts as a score of its own, in sounding pitch, for the study pages."""

from __future__ import annotations

import copy
import itertools
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from lxml import etree

from sectionprep.music.pitch import CONCERT, Transposition
from sectionprep.musicxml.copies.cutting import cut_lines
from sectionprep.musicxml.copies.endings import write_endings
from sectionprep.musicxml.copies.hairpins import end_at_bar_line
from sectionprep.musicxml.copies.jumps import TO_CODA, jumps_signed
from sectionprep.musicxml.copies.mending import Mender, close_lines
from sectionprep.musicxml.copies.part import (
    SYSTEM_WORDS,
    copy_measure,
    measures_of,
    state_clef,
    stated_in,
    take_out_keys,
)
from sectionprep.musicxml.copies.restated import Restated
from sectionprep.musicxml.copies.rewording import reword, write_plainly
from sectionprep.musicxml.copies.slash_bars import SlashBars
from sectionprep.musicxml.copies.tablature import Tablature
from sectionprep.musicxml.copies.taming import tame
from sectionprep.musicxml.copies.ties import end_ties
from sectionprep.musicxml.copies.transposing import WrittenPart
from sectionprep.musicxml.copies.verses import number_verses
from sectionprep.musicxml.document import Document, tag_of

KEPT = "\u25b2"  # stands where a sign of weight will be drawn
_LABEL = 32  # letters: a third of a page's width at most; judgement
_ORDER = ("divisions", "key", "time", "staves", "clef", "transpose")


@dataclass(frozen=True, slots=True, kw_only=True)
class Pick:
    """One part of an excerpt: its id (and which of equal ids), the label and a short one for later
    lines, what to add to the written pitch to get the printed one, the clef to print ("" keeps the
    part's own), and the group that a bracket holds together."""

    part_id: str
    occurrence: int
    label: str
    abbreviation: str = ""
    shift: Transposition = CONCERT
    clef: str = ""
    group: str = ""


class Excerpt:
    """A few bars of a few parts, before their lines are broken."""

    def __init__(self, root: etree._Element) -> None:
        self.root = root
        self.measures = next(root.iter("part")).findall("measure")

    def __reduce__(self) -> tuple[object, ...]:
        """It crosses process borders as text."""
        return _read_again, (etree.tostring(self.root),)

    @property
    def labels(self) -> list[str]:
        """The names of its parts as they are printed."""
        return [name.text or "" for name in self.root.iter("part-name")]

    @property
    def sections(self) -> list[bool]:
        """For each bar, whether a section begins there."""
        return [next(measure.iter("rehearsal"), None) is not None for measure in self.measures]

    @property
    def codas(self) -> list[bool]:
        """For each bar, whether the coda begins there, after others."""
        begins = [n for n, measure in enumerate(self.measures) if n and _begins_coda(measure)]
        return [n in begins[-1:] for n in range(len(self.measures))]

    def break_at(self, starts: Sequence[int]) -> None:
        """Begin a line at each of these bars."""
        for n in starts:
            if 0 < n < len(self.measures):
                self.measures[n].insert(0, etree.Element("print", {"new-system": "yes"}))

    def text(self) -> str:
        """All of it, with its lines."""
        return etree.tostring(self.root, encoding="unicode")


def _begins_coda(measure: etree._Element) -> bool:
    """A coda sign before all notes, where no words say that one goes from there to the coda."""
    said = " ".join(words.text or "" for words in measure.iter("words"))
    before = itertools.takewhile(lambda element: element.tag != "note", measure)
    signs = [sign for element in before for sign in element.iterfind("direction-type/coda")]
    return bool(signs) and not TO_CODA.search(said)


def _fitting(label: str) -> str:
    """A label that leaves room for the music beside it."""
    return label if len(label) <= _LABEL else f"{label[:_LABEL].rstrip()}…"


def _read_again(text: bytes) -> Excerpt:
    return Excerpt(etree.fromstring(text, etree.XMLParser(huge_tree=True)))


def extract_excerpt(
    document: Document,
    picks: Sequence[Pick],
    first: int,
    last: int,
    *,
    road_map: bool = False,
    said: Mapping[int, str] | None = None,
    closed: frozenset[int] = frozenset(),
    finish: Callable[[int, int, etree._Element], None] | None = None,
) -> Excerpt:
    """Bars [first, last] (indices) of the picked parts. road_map: keep repeat signs and endings,
    which mean nothing in a few bars. said: a
    syllable for notes, by address; room for a sign of weight is kept under it. closed: bars that
    are left out; no key, clef or metre begins in them. finish: called with the place of each pick,
    a bar and its copy, to put something over it."""
    score = etree.Element("score-partwise", version="4.0")
    part_list = etree.SubElement(score, "part-list")
    for n, pick in enumerate(picks, start=1):
        before, after = (picks[k].group if 0 <= k < len(picks) else "" for k in (n - 2, n))
        if pick.group and pick.group != before and pick.group == after:
            group = etree.SubElement(part_list, "part-group", type="start", number="1")
            etree.SubElement(group, "group-symbol").text = "bracket"
            etree.SubElement(group, "group-barline").text = "yes"
        listed = etree.SubElement(part_list, "score-part", id=f"P{n}")
        etree.SubElement(listed, "part-name").text = _fitting(pick.label)
        etree.SubElement(listed, "part-abbreviation").text = _fitting(
            pick.abbreviation or pick.label
        )
        if pick.group and pick.group == before and pick.group != after:
            etree.SubElement(part_list, "part-group", type="stop", number="1")
    for n, pick in enumerate(picks, start=1):
        part = etree.SubElement(score, "part", id=f"P{n}")
        over = partial(finish, n - 1) if finish is not None else None
        _fill(part, document, pick, first, last, n == 1, road_map, closed, over)
        if said is not None:
            say_under(part, said)
    return Excerpt(score)


def say_under(part: etree._Element, said: Mapping[int, str]) -> None:
    """Put syllables, and room for a sign of weight, under the notes of a copied part in the place
    of the words that it sings. said: by address."""
    for note in part.iter("note"):
        for lyric in note.findall("lyric"):
            note.remove(lyric)
        word = said.get(int((note.get("id") or "n-1")[1:]))
        for number, text in (("1", word), ("2", KEPT)) if word else ():
            lyric = etree.SubElement(note, "lyric", number=number)
            etree.SubElement(lyric, "syllabic").text = "single"
            etree.SubElement(lyric, "text").text = text


def _fill(
    part: etree._Element,
    document: Document,
    pick: Pick,
    first: int,
    last: int,
    is_top: bool,
    road_map: bool,
    closed: frozenset[int],
    finish: Callable[[int, etree._Element], None] | None,
) -> None:
    measures = measures_of(document, pick.part_id, pick.occurrence)
    opposite = Transposition(-pick.shift.diatonic, -pick.shift.chromatic)
    rewrite = WrittenPart(opposite, pick.clef) if pick.shift.chromatic or pick.clef else None
    mender = Mender(fresh=rewrite is not None, beams=not document.shows_beams)
    restated = Restated()
    tablature = Tablature(
        measures, clef=pick.clef, always_notes=True, possible=document.may_have_tablature
    )
    slashes = SlashBars(possible=document.may_have_slashes)
    stated = stated_in(document, pick.part_id, pick.occurrence)
    keyless, before = stated.has_no_pitches(pick.clef), stated.before(first)
    for earlier in before:
        slashes.regions.take(earlier)
    shown = range(first, min(last, len(measures) - 1) + 1)
    begun = 0  # the first bar since bars were left out
    for n in shown:
        if n in closed:
            slashes.regions.take(measures[n])
            if n - 1 not in closed:
                cut_lines(list(part)[begun:])
                begun = len(part)
            continue
        copied = copy_measure(measures[n], document.addresses)
        copied.tag = "measure"
        copied.set("number", measures[n].get("number") or str(n + 1))
        if n == first:
            _open(copied, before, hide_time=road_map)
            if copied.find("attributes/staves") is None:
                state_clef(copied, pick.clef or "G2")
        if keyless:
            take_out_keys(copied)
        _strip(copied, is_top, road_map)
        tame(copied)
        tablature.rewrite(copied)
        reword(copied)
        write_plainly(copied)
        restated.rewrite(copied)
        slashes.rewrite(copied)
        if rewrite is not None:
            rewrite.rewrite(copied)
        mender.mend(copied)
        if finish is not None:
            finish(n, copied)
            mender.settle(copied)
        mender.beam(copied)
        if len(part) > begun:
            end_at_bar_line(part[-1], copied)
        part.append(copied)
    cut_lines(list(part)[begun:])
    close_lines(list(part))
    write_endings(list(part))
    number_verses(part)
    end_ties(list(part))


def unchanging(document: Document, picks: Sequence[Pick], bars: Iterable[int]) -> frozenset[int]:
    """Of these bars (indices) those in which nothing but rests stands in any of the picked parts:
    no key, clef, metre, word or dynamic that a later bar would need."""
    measures = [measures_of(document, pick.part_id, pick.occurrence) for pick in picks]
    return frozenset(
        n
        for n in bars
        if all(
            tag_of(element) in _STILL
            for part in measures
            if n < len(part)
            for element in part[n]
            if isinstance(element.tag, str)
        )
    )


def keeps_its_signs(document: Document, picks: Sequence[Pick], bars: Iterable[int]) -> bool:
    """Whether no key, clef, metre or transposition begins in any of these bars (indices)."""
    measures = [measures_of(document, pick.part_id, pick.occurrence) for pick in picks]
    return not any(
        tag_of(child) in _ORDER
        for n in bars
        for part in measures
        if n < len(part)
        for attributes in part[n].iterchildren("{*}attributes")
        for child in attributes
    )


_STILL = frozenset({"note", "backup", "forward", "print", "barline", "harmony", "sound"})


def _open(measure: etree._Element, before: Sequence[etree._Element], *, hide_time: bool) -> None:
    """Put clef, key, time and divisions that hold at the start in front of the first bar.
    hide_time: do not print a time signature that was printed before."""
    held: dict[tuple[str, str], etree._Element] = {}
    for earlier in before:
        for attributes in earlier.iterchildren("{*}attributes"):
            for child in attributes:
                if tag_of(child) in _ORDER:
                    held[tag_of(child), child.get("number") or ""] = child
    own = next((e for e in measure if e.tag == "attributes"), None)
    if own is None:
        own = etree.Element("attributes")
        measure.insert(0, own)
    stated = {(tag_of(child), child.get("number") or "") for child in own}
    for child in own:
        held[tag_of(child), child.get("number") or ""] = child
    styles = own.findall("measure-style")  # slashes may begin here; they come last
    for child in list(own):
        own.remove(child)
    for name in _ORDER:
        for key in sorted(key for key in held if key[0] == name):
            twin = copy.deepcopy(held[key])
            for inner in twin.iter():
                inner.tag = tag_of(inner)
            if hide_time and name == "time" and key not in stated:
                twin.set("print-object", "no")
            own.append(twin)
    own.extend(styles)


def _strip(measure: etree._Element, is_top: bool, road_map: bool) -> None:
    """Repeat signs and endings mean nothing in an excerpt; words for everybody stand once."""
    for words in measure.iterfind("direction/direction-type/words"):
        kind = words.getparent()
        following = kind.getnext() if kind is not None else None
        if following is not None and following.find("metronome") is not None:
            words.text = (words.text or "").rstrip() + "\u00a0\u00a0"
    jumps_signed(measure)
    for barline in measure.findall("barline") if not road_map else ():
        measure.remove(barline)
    if not is_top:
        for direction in measure.findall("direction"):
            kinds = {tag_of(e) for e in direction.iter()}
            said = " ".join(words.text or "" for words in direction.iter("words"))
            if kinds & {"rehearsal", "segno", "coda", "metronome"} or SYSTEM_WORDS.search(said):
                measure.remove(direction)
