"""One part out of a score, as a small score of its own for the engraver.

Notes keep their address as id ("n123"), so that what is drawn can be tied back to the chart. Signs
that concern everybody (tempo, rehearsal marks, road map) are copied from the part that carries
them.
"""

from __future__ import annotations

import copy
import re
from bisect import bisect_left
from collections.abc import Callable, Mapping
from functools import cache
from typing import NamedTuple, cast

from lxml import etree

from sectionprep.music.wording import any_of
from sectionprep.musicxml.copies.dashes import take_out_lone_dashes
from sectionprep.musicxml.copies.endings import write_endings
from sectionprep.musicxml.copies.hairpins import end_at_bar_line, endless
from sectionprep.musicxml.copies.jumps import jumps_at_the_end
from sectionprep.musicxml.copies.mending import Mender, close_lines
from sectionprep.musicxml.copies.pickup import write_pickup_rests
from sectionprep.musicxml.copies.restated import Restated
from sectionprep.musicxml.copies.rewording import reword, write_plainly
from sectionprep.musicxml.copies.slash_bars import SlashBars
from sectionprep.musicxml.copies.slurs import end_slurs
from sectionprep.musicxml.copies.tablature import Tablature
from sectionprep.musicxml.copies.taming import tame
from sectionprep.musicxml.copies.technique import words_in_time
from sectionprep.musicxml.copies.ties import end_ties
from sectionprep.musicxml.copies.transposing import WrittenPart
from sectionprep.musicxml.copies.undrawn import (
    FRETS,
    ODD_CHORDS,
    OPEN_HAIRPINS,
    OPEN_OCTAVES,
    OPEN_SLURS,
    PLAYBACK,
    TIES_FROM_NOTHING,
    TIES_TO_NOTHING,
    Undrawn,
)
from sectionprep.musicxml.copies.unprinted import take_out, take_out_unprinted
from sectionprep.musicxml.copies.verses import number_verses
from sectionprep.musicxml.document import Document, tag_of
from sectionprep.musicxml.slashes import has_slashes
from sectionprep.settings import load_toml

SYSTEM_WORDS = re.compile(
    r"\b(d\.?\s?s\.?|d\.?\s?c\.?|dal segno|da capo|to coda|al coda|fine)(?![a-z])", re.IGNORECASE
)
_DROPPED = ("print", "link", "bookmark", "listening", "grouping")


def note_id(address: int) -> str:
    """The id under which a note is drawn."""
    return f"n{address}"


def extract_part(
    document: Document,
    part_id: str,
    occurrence: int = 0,
    *,
    written: WrittenPart | None = None,
    words: Mapping[int, str] | None = None,
    reminders: Mapping[int, str] | None = None,
    finish: Callable[[int, etree._Element], None] | None = None,
    clef: str = "G2",
    courtesy: bool = False,
    undrawn: Undrawn | None = None,
) -> bytes:
    """A partwise score with one part, ready for the engraver. occurrence: which of parts with equal
    ids. written: rewrites a concert-pitch part as its player reads it. words: text to print above
    notes, by address. reminders: dynamics to print in parentheses under notes. finish: called with
    the index and the copy of each measure. clef: where the file states none. courtesy: add
    accidentals that remind. undrawn: takes up what will not be drawn."""
    measures = measures_of(document, part_id, occurrence)
    top = measures_of(document, None, 0)
    score = etree.Element("score-partwise", version="4.0")
    part_list = etree.SubElement(score, "part-list")
    listed = etree.SubElement(part_list, "score-part", id="P1")
    etree.SubElement(listed, "part-name").text = ""
    part = etree.SubElement(score, "part", id="P1")
    slashes, staves = SlashBars(possible=any(map(has_slashes, measures))), 1
    keyless = stated_in(document, part_id, occurrence).has_no_pitches(clef)
    mender = Mender(fresh=written is not None, courtesy=courtesy, beams=not document.shows_beams)
    restated = Restated()
    tablature = Tablature(measures, clef=clef, possible=document.may_have_tablature)
    undrawn = undrawn if undrawn is not None else Undrawn()
    for n, measure in enumerate(measures):
        copied = copy_measure(measure, document.addresses)
        copied.tag = "measure"
        copied.set("number", measure.get("number") or str(n + 1))
        if n < len(top) and top[n] is not measure:
            _add_system_signs(copied, top[n])
        jumps_at_the_end(copied)
        for _ in range(tame(copied)):
            undrawn.add(ODD_CHORDS, n)
        for _ in range(tablature.rewrite(copied)):
            undrawn.add(FRETS, n)
        for _ in range(reword(copied)):
            undrawn.add(PLAYBACK, n)
        undrawn.look(copied, n)
        take_out_lone_dashes(copied)
        write_plainly(copied)
        said = (copied.findtext("attributes/staves") or "").strip()
        staves = int(said) if said.isdecimal() else staves
        if staves > 1:
            _over_the_top(copied)
        elif n == 0:
            state_clef(copied, clef)
        if keyless:
            take_out_keys(copied)
        restated.rewrite(copied)
        if n == 0:
            write_pickup_rests(copied)
        slashes.rewrite(copied)
        if written is not None:
            written.rewrite(copied)
        mender.mend(copied)
        if words:
            _add_words(copied, words)
        if reminders:
            _remind(copied, reminders)
        if finish is not None:
            finish(n, copied)
            mender.settle(copied)
        mender.beam(copied)
        if len(part):
            end_at_bar_line(part[-1], copied)
        part.append(copied)
    words_in_time(list(part))
    write_endings(list(part))
    number_verses(part)
    for n in endless(part):
        undrawn.add(OPEN_HAIRPINS, n)
    for n in close_lines(list(part)):
        undrawn.add(OPEN_OCTAVES, n)
    for n in end_slurs(list(part)):
        undrawn.add(OPEN_SLURS, n)
    loose = zip((TIES_TO_NOTHING, TIES_FROM_NOTHING), end_ties(list(part)), strict=True)
    for what, bars in loose:
        for n in bars:
            undrawn.add(what, n)
    return etree.tostring(score, xml_declaration=True, encoding="UTF-8")


def measures_of(document: Document, part_id: str | None, occurrence: int) -> list[etree._Element]:
    """The measures of one part, partwise or timewise; None takes the first part."""
    known = document.found_measures
    if (part_id, occurrence) not in known:
        known[part_id, occurrence] = _measures_in(document.root, part_id, occurrence)
    return known[part_id, occurrence]


class Stated(NamedTuple):
    """Those of a part's measures that state attributes, few of many: their indices, and the signs
    of all clefs in them."""

    measures: list[etree._Element]
    indices: list[int]
    clefs: frozenset[str]

    def before(self, first: int) -> list[etree._Element]:
        """Those before this measure (its index)."""
        return self.measures[: bisect_left(self.indices, first)]

    def has_no_pitches(self, clef: str) -> bool:
        """Whether all clefs of the part are of percussion. clef: where it states none."""
        return (self.clefs or {clef}) == {"percussion"}


def stated_in(document: Document, part_id: str | None, occurrence: int) -> Stated:
    """What a part states, looked for once."""
    known: dict[tuple[str | None, int], Stated] = document.found_stated
    if (part_id, occurrence) not in known:
        found = [
            (n, measure)
            for n, measure in enumerate(measures_of(document, part_id, occurrence))
            if measure.find("{*}attributes") is not None
        ]
        stating = [measure for _, measure in found]
        signs = (sign for one in stating for sign in one.iterfind("{*}attributes/{*}clef/{*}sign"))
        known[part_id, occurrence] = Stated(
            stating, [n for n, _ in found], frozenset((sign.text or "").strip() for sign in signs)
        )
    return known[part_id, occurrence]


def _measures_in(
    root: etree._Element, part_id: str | None, occurrence: int
) -> list[etree._Element]:
    if tag_of(root) == "score-partwise":
        parts = [p for p in root if tag_of(p) == "part" and part_id in (None, p.get("id") or "")]
        chosen = parts[min(occurrence, len(parts) - 1)]
        return [m for m in chosen if tag_of(m) == "measure"]
    found = []
    for measure in root:
        if tag_of(measure) == "measure":
            parts = [
                p for p in measure if tag_of(p) == "part" and part_id in (None, p.get("id") or "")
            ]
            if parts:
                chosen = parts[min(occurrence, len(parts) - 1)]
                chosen.set("number", measure.get("number") or "")
                if measure.get("implicit"):
                    chosen.set("implicit", measure.get("implicit") or "no")
                found.append(chosen)
    return found


def copy_measure(measure: etree._Element, addresses: dict[int, int]) -> etree._Element:
    """A measure without namespaces and print hints; its notes carry their address as id."""
    copied = copy.deepcopy(measure)
    _make_plain(copied)
    for original, twin in zip(measure.iter("{*}note"), copied.iter("note"), strict=True):
        twin.set("id", note_id(addresses[id(original)]))
    for element in list(copied.iterchildren(*_DROPPED)):
        copied.remove(element)
    take_out_unprinted(copied)
    for name in set(copied.attrib) - {"number", "implicit"}:  # one breaks the engraver down
        del copied.attrib[name]
    for style in list(copied.iter("measure-style")):
        if style.find("multiple-rest") is not None:
            parent = style.getparent()
            if parent is not None:
                parent.remove(style)
    return copied


_NAMED = etree.XPath("descendant-or-self::*[@id or namespace-uri()]")


def _make_plain(copied: etree._Element) -> None:
    """Take namespaces and ids away; the ids to come are ours."""
    spaces = False
    for element in cast(list[etree._Element], _NAMED(copied)):
        element.attrib.pop("id", "")
        if element.tag[0] == "{":
            element.tag = tag_of(element)
            spaces = True
    if spaces:
        etree.cleanup_namespaces(copied)


def _is_for_everybody(direction: etree._Element) -> bool:
    for element in direction.iter():
        tag = tag_of(element)
        if tag in ("rehearsal", "segno", "coda", "metronome"):
            return True
        if tag == "words" and SYSTEM_WORDS.search(element.text or ""):
            return True
    return False


def _only_words(direction: etree._Element) -> str:
    """What a direction says that holds nothing but words which name a style."""
    words = [" ".join((e.text or "").split()).lower() for e in direction.iter("{*}words")]
    others = [
        e
        for kind in direction.iterchildren("{*}direction-type")
        for e in kind
        if tag_of(e) != "words"
    ]
    said = " ".join(words)
    return said if words and not others and _style_words().search(said) else ""


@cache
def _style_words() -> re.Pattern[str]:
    """Words that name a style: other words beside a tempo mark ("to Flute") are for one player."""
    return any_of(
        word
        for style in load_toml("shared/styles.toml").values()
        for word in (*style["words"], *style["hints"])
    )


def _sign_key(direction: etree._Element) -> str:
    return " ".join(
        f"{tag_of(e)}:{(e.text or '').strip().lower()}"
        for e in direction.iter()
        if tag_of(e) in ("rehearsal", "segno", "coda", "metronome", "words")
    )


def _add_system_signs(measure: etree._Element, top: etree._Element) -> None:
    if top.find("{*}direction") is None:
        return
    own = {_sign_key(d) for d in measure if d.tag == "direction"}
    own_kinds = {tag_of(e) for d in measure if d.tag == "direction" for e in d.iter()}
    at_start = 0
    sounded = False
    said = {
        " ".join((e.text or "").split()).lower()
        for d in measure.iterchildren("direction")
        for e in d.iter("words")
    }
    tempo_here = any(
        next(d.iter("{*}metronome"), None) is not None for d in top.iterchildren("{*}direction")
    )
    for element in top:
        tag = tag_of(element)
        if tag == "note":
            sounded = True
        style = tempo_here and not sounded and tag == "direction" and _only_words(element)
        if tag != "direction" or not (_is_for_everybody(element) or (style and style not in said)):
            continue
        kinds = {tag_of(e) for e in element.iter()} & {"rehearsal", "segno", "coda", "metronome"}
        if _sign_key(element) in own or kinds & own_kinds:
            continue
        twin = copy.deepcopy(element)
        _make_plain(twin)
        for inner in [e for e in twin if e.tag in ("staff", "voice")]:
            twin.remove(inner)
        if sounded:
            measure.append(twin)
        else:
            measure.insert(at_start, twin)
            at_start += 1


def _over_the_top(measure: etree._Element) -> None:
    """Signs over a part of several staves that name none belong to its top staff; the engraver puts
    them in between. A tempo that is said on each staff is printed over the top one."""
    said: set[str] = set()
    for direction in list(measure.iterchildren("direction")):
        sound = direction.find("sound[@tempo]")
        if sound is not None or direction.find("direction-type/metronome") is not None:
            key = _sign_key(direction)
            if key in said and direction.findtext("staff", "1").strip() != "1":
                measure.remove(direction)
            said.add(key)
    for direction in measure.iterchildren("direction"):
        if direction.find("staff") is None and direction.get("placement") != "below":
            staff = etree.Element("staff")
            staff.text = "1"
            sound = direction.find("sound")
            if sound is None:
                direction.append(staff)
            else:
                sound.addprevious(staff)


def take_out_keys(measure: etree._Element) -> None:
    """A part without pitches has no key (common practice, no source): many files state the band's
    there, and its signs would stand somewhere beside the staff."""
    for key in measure.findall("attributes/key"):
        take_out(key)


_BEFORE_CLEF = ("divisions", "key", "time", "staves", "part-symbol", "instruments")


def state_clef(measure: etree._Element, clef: str) -> None:
    """Give a first measure a clef ("G2", "percussion") if it has none: without one the engraver
    draws a bare staff."""
    if measure.find("attributes/clef") is not None:
        return
    attributes = measure.find("attributes")
    if attributes is None:
        attributes = etree.Element("attributes")
        measure.insert(0, attributes)
    element = etree.Element("clef")
    etree.SubElement(element, "sign").text = clef.rstrip("0123456789")
    if clef[-1].isdigit():
        etree.SubElement(element, "line").text = clef[-1]
    attributes.insert(sum(child.tag in _BEFORE_CLEF for child in attributes), element)


def _add_words(measure: etree._Element, words: Mapping[int, str]) -> None:
    for note in [e for e in measure if e.tag == "note"]:
        text = words.get(int((note.get("id") or "n-1")[1:]))
        if text:
            direction = etree.Element("direction", placement="above")
            etree.SubElement(etree.SubElement(direction, "direction-type"), "words").text = text
            measure.insert(measure.index(note), direction)


def _remind(measure: etree._Element, reminders: Mapping[int, str]) -> None:
    """Write dynamics in parentheses under notes, over them where words are sung."""
    placement = "below" if next(measure.iter("lyric"), None) is None else "above"
    for note in measure.findall("note"):
        value = reminders.get(int((note.get("id") or "n-1")[1:]))
        if not value:
            continue
        direction = etree.Element("direction", placement=placement)
        for text in ("(", value, ")"):
            kind = etree.SubElement(direction, "direction-type")
            if text in "()":
                etree.SubElement(kind, "words").text = text
            else:
                dynamics = etree.SubElement(kind, "dynamics")
                for name in text.split():
                    etree.SubElement(dynamics, name)
        measure.insert(measure.index(note), direction)
