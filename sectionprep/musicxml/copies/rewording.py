"""What the engraver draws only when it is written in another way: frames, string numbers, stress,
plungers, and on which side of the staff a direction stands.

Works on the copy that the engraver is given; the director's file keeps its own.
"""

from __future__ import annotations

import copy
import re
from collections.abc import Iterator

from lxml import etree

from sectionprep.musicxml.copies.dashes import join_dashes
from sectionprep.musicxml.copies.enclosures import enclose, mark_enclosures
from sectionprep.musicxml.copies.undrawn import DRAWN_HEADS, GIVEN
from sectionprep.musicxml.copies.unprinted import take_out
from sectionprep.musicxml.numbers import decimal

#: words that speak to a player of sounds, not of an instrument: a tilde, a letter, numbers
#: ("~C7,0")
_PLAYBACK = re.compile(r"\s*(~\s*[A-Za-z]\s*-?\d+(\s*,\s*-?\d+)*\s*)+", re.ASCII)
_STRESS = dict(zip(("stress", "unstress"), sorted(GIVEN), strict=True))
_BOTTOM_LINE = -40  # tenths of a space from the top line of five
# directions of words at one place: so many may stand over each other; more than these no person and
# no scanner has left there; judgements
_HEAP, _MOUNTAIN = 4, 200
_TIME = frozenset({"note", "backup", "forward", "attributes", "barline"})
_ALONE = frozenset({"rehearsal", "octave-shift", "pedal", "bracket", "principal-voice"})
_ROAD_SIGNS = frozenset({"segno", "coda"})
_PEDALS = {"change": "start", "resume": "start", "discontinue": "stop"}
_OPENING, _CLOSING = ("(", "["), (")", "]", ",", ".")
_MUTE_WORDS = {"on": "con sord.", "off": "senza sord."}


def reword(measure: etree._Element) -> int:
    """Rewrite one copied measure; how many playback instructions were taken out of it."""
    taken = _take_out_playback(measure)
    _free_signs_of_barlines(measure)
    if measure.find("direction") is not None:
        join_dashes(measure)
        _say_as_words(measure)
        _part_signs(measure)
        _part_pedals(measure)
        _set_words_off(measure)
        mark_enclosures(measure)
        _take_sides(measure)
        _gather_heaps(measure)
        _say_tempo_once(measure)
    for technical in list(measure.iter("technical")):
        _rewrite_technical(technical)
    for articulations in list(measure.iter("articulations")):
        _rewrite_stress(articulations)
    return taken


def write_plainly(measure: etree._Element) -> None:
    """What the engraver would draw as something else."""
    _write_out_repeats(measure)
    for head in measure.iterfind("note/notehead"):
        if (head.text or "").strip() not in DRAWN_HEADS:  # arrows would be slashes
            head.text = "normal"


def _write_out_repeats(measure: etree._Element) -> None:
    """The engraver knows the sign for one bar and draws it for any number; where it means more, the
    notes print."""
    for repeat in list(measure.iter("measure-repeat")):
        around = repeat.getparent()
        if (
            around is not None
            and repeat.get("type") == "start"
            and (repeat.text or "").strip() != "1"
        ):
            around.remove(repeat)
            if not len(around):
                take_out(around)


def _take_sides(measure: etree._Element) -> None:
    """What names no side of the staff stands where the file has drawn it: its height counts in
    tenths of a space from the top line (MusicXML 4.0, default-y; the engraver does not look at it).
    Between the lines neither side is meant; the heading of a movement stands above."""
    for direction in measure.iterchildren("direction"):
        if direction.get("placement"):
            continue
        signs = direction.iterfind("direction-type/*")
        y = next((y for sign in signs if (y := decimal(sign.get("default-y"))) is not None), 0)
        if y > 0 or direction.get("directive") == "yes":
            direction.set("placement", "above")
        elif y < _BOTTOM_LINE:
            direction.set("placement", "below")


def _gather_heaps(measure: etree._Element) -> None:
    """Many words one by one at one place and side of a staff (a scanner's leavings, say) are read
    as one text."""
    heap: list[etree._Element] = []
    for element in [*measure, None]:
        if element is not None and element.tag == "direction" and _is_plain_words(element):
            if heap and _side(heap[0]) != _side(element):
                _gather(heap)
                heap = []
            heap.append(element)
        elif element is None or element.tag in _TIME or element.tag == "direction":
            _gather(heap)
            heap = []


def _side(direction: etree._Element) -> tuple[str | None, str | None]:
    return direction.get("placement"), direction.findtext("staff")


def _say_tempo_once(measure: etree._Element) -> None:
    """A tempo that stands twice at one place is printed once."""
    seen: set[str] = set()
    for element in list(measure):
        if element.tag in _TIME:
            seen.clear()
        elif element.tag == "direction" and element.find("direction-type/metronome") is not None:
            signs = [sign for kind in element.findall("direction-type") for sign in kind.iter()]
            said = " ".join(f"{sign.tag} {(sign.text or '').strip()}" for sign in signs)
            if said in seen:
                measure.remove(element)
            seen.add(said)


def _is_plain_words(direction: etree._Element) -> bool:
    signs = direction.findall("direction-type/*")
    alone = all(child.tag in ("direction-type", "staff", "voice") for child in direction)
    return alone and bool(signs) and all(sign.tag == "words" for sign in signs)


def _gather(heap: list[etree._Element]) -> None:
    """Write all that these directions say into the first of them, where they are too many."""
    if not _HEAP < len(heap) <= _MOUNTAIN:
        return
    first, *others = (word for direction in heap for word in direction.iter("words"))
    first.text = " ".join(" ".join((word.text or "").split()) for word in (first, *others))
    for word in others:
        take_out(word)


def _take_out_playback(measure: etree._Element) -> int:
    count = 0
    for words in list(measure.iter("words")):
        if _PLAYBACK.fullmatch(words.text or ""):
            count += 1
            take_out(words)
    return count


def _free_signs_of_barlines(measure: etree._Element) -> None:
    """A segno or coda that is part of a bar line becomes a direction where the bar line stands."""
    for barline in list(measure.iterchildren("barline")):
        for sign in [e for e in barline if e.tag in ("segno", "coda")]:
            barline.remove(sign)
            direction = etree.Element("direction", placement="above")
            etree.SubElement(direction, "direction-type").append(sign)
            barline.addprevious(direction)


def _part_signs(measure: etree._Element) -> None:
    """The engraver reads some signs only where a direction begins with them: each gets one of its
    own. Segno and coda stay among words ("D.S. 𝄋 al Coda"), where it draws them."""
    for direction in list(measure.iterchildren("direction")):
        signs = direction.findall("direction-type/*")
        tags = [sign.tag for sign in signs]
        alone = _ALONE if "words" in tags else _ALONE | _ROAD_SIGNS
        left = len(signs)
        for n, sign in enumerate(signs):
            second = sign.tag == "metronome" and "metronome" in tags[:n]
            if left > 1 and (sign.tag in alone or second):
                _give_own_direction(sign, direction)
                left -= 1


def _give_own_direction(sign: etree._Element, direction: etree._Element) -> None:
    twin = copy.copy(direction)
    for child in list(twin):
        if child.tag not in ("offset", "voice", "staff"):
            twin.remove(child)
    take_out(sign)
    kind = etree.Element("direction-type")
    kind.append(sign)
    twin.insert(0, kind)
    direction.addprevious(twin)


def _part_pedals(measure: etree._Element) -> None:
    """At a change of pedal the engraver loses what follows: it is said as an end and a beginning. A
    line that continues needs no sign."""
    for direction in list(measure.iterchildren("direction")):
        for pedal in direction.findall("direction-type/pedal"):
            kind = pedal.get("type", "")
            if kind == "continue":
                take_out(pedal)
            elif kind == "change":
                end = copy.deepcopy(direction)
                for sign in end.iter("pedal"):
                    sign.set("type", "stop")
                direction.addprevious(end)
            pedal.set("type", _PEDALS.get(kind, kind))


def _set_words_off(measure: etree._Element) -> None:
    """Words beside a dynamic in one direction ("mf cresc."): the engraver sets white as the file
    has it, and without any takes the dynamic for letters. Brackets stay close."""
    for kind in measure.iterfind("direction/direction-type"):
        before, after = kind.getprevious(), kind.getnext()
        for words in kind.findall("words"):
            text = words.text or ""
            if _is_dynamic(before) and not text.lstrip().startswith(_CLOSING):
                text = f" {text.lstrip()}"
            if _is_dynamic(after) and not text.rstrip().endswith(_OPENING):
                text = f"{text.rstrip()} "
            words.text = text


def _is_dynamic(kind: etree._Element | None) -> bool:
    return kind is not None and kind.find("dynamics") is not None


def _say_as_words(measure: etree._Element) -> None:
    """Mutes of strings and directions of the copyist's own are words to the player."""
    for element in list(measure.iter("string-mute", "other-direction")):
        says = (
            _MUTE_WORDS.get(element.get("type", ""))
            if element.tag == "string-mute"
            else " ".join((element.text or "").split())
        )
        if not says or element.get("print-object") == "no":
            take_out(element)
            continue
        for name in list(element.attrib):
            del element.attrib[name]
        element.tag, element.text = "words", says


def _rewrite_technical(technical: etree._Element) -> None:
    """String numbers become fingerings in circles, except in tablature; the open plunger the ring
    it looks like."""
    fretted = technical.find("fret") is not None
    for string in list(technical.iterchildren("string")):
        if not fretted and (number := (string.text or "").strip()):
            string.tag, string.text = "fingering", enclose(number, "circle")
    for plunger in list(technical.iterchildren("open", "harmon-mute")):
        closed = "".join(_closed(plunger))
        plunger.tag = {"": "open-string", "no": "open-string", "yes": "stopped"}.get(
            closed, "half-muted"
        )
        for child in list(plunger):
            plunger.remove(child)


def _closed(plunger: etree._Element) -> Iterator[str]:
    yield from ((e.text or "").strip() for e in plunger.iterchildren("harmon-closed"))


def _rewrite_stress(articulations: etree._Element) -> None:
    """The engraver reads signs by their SMuFL names, but only as technical ones."""
    for name, sign in _STRESS.items():
        for element in list(articulations.iterchildren(name)):
            technical = etree.Element("technical")
            etree.SubElement(technical, "other-technical", smufl=sign).text = name
            articulations.remove(element)
            articulations.addnext(technical)
