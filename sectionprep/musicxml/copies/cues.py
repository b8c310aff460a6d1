"""Cues: the last bar before an entry after a long rest shows, small and named, what another part
plays there."""

from __future__ import annotations

import copy
from dataclasses import dataclass

from lxml import etree

from sectionprep.music.pitch import Pitch, Transposition
from sectionprep.musicxml.copies.part import measures_of
from sectionprep.musicxml.copies.transposing import respell, show_accidental
from sectionprep.musicxml.document import Document, tag_of

_KEPT = ("pitch", "rest", "duration", "tie", "type", "dot", "time-modification", "beam")


@dataclass(frozen=True, slots=True, kw_only=True)
class Cue:
    """One cue: in which bar (index), from which part, what it is called, both transpositions and
    the reader's key."""

    bar: int
    part_id: str
    occurrence: int
    label: str
    source: Transposition
    target: Transposition
    fifths: int
    octaves: int = 0


def add_cue(measure: etree._Element, document: Document, cue: Cue) -> None:
    """Replace the rests of a silent measure by cue notes in a first voice, its rest in a second."""
    source = measures_of(document, cue.part_id, cue.occurrence)
    if cue.bar >= len(source):
        return
    notes = [
        _small(n, cue, document.addresses[id(n)])
        for n in source[cue.bar]
        if tag_of(n) == "note" and first_voice(n)
    ]
    own = [n for n in measure if n.tag == "note"]
    if not notes or any(n.find("pitch") is not None for n in own):
        return
    _tie(notes)
    scale = divisions_at(source, cue.bar)
    total = 0
    state: dict[tuple[str, int], float] = {}
    for note in notes:
        total += int(float(note.findtext("duration") or 0))
        pitch = note.find("pitch")
        if pitch is not None:
            written = Pitch(
                pitch.findtext("step") or "C",
                float(pitch.findtext("alter") or 0),
                int(pitch.findtext("octave") or 4),
            )
            show_accidental(note, written, cue.fifths, state)
    at = measure.index(own[0]) if own else len(measure)
    for old in own:
        measure.remove(old)
    for old in [e for e in measure if e.tag in ("backup", "forward")]:
        measure.remove(old)
    block: list[etree._Element] = []
    if scale:
        attributes = etree.Element("attributes")
        etree.SubElement(attributes, "divisions").text = scale
        block.append(attributes)
    words = etree.Element("direction", placement="above")
    etree.SubElement(etree.SubElement(words, "direction-type"), "words").text = f"cue: {cue.label}"
    block += [words, *notes]
    backup = etree.Element("backup")
    etree.SubElement(backup, "duration").text = str(total)
    rest = etree.Element("note")
    etree.SubElement(rest, "rest", measure="yes")
    etree.SubElement(rest, "duration").text = str(total)
    etree.SubElement(rest, "voice").text = "2"
    block += [backup, rest]
    for n, element in enumerate(block):
        measure.insert(at + n, element)


def _tie(notes: list[etree._Element]) -> None:
    """Ties inside the bar are drawn. A note held over from the bar before is not struck here: it is
    a rest of the cue. One that is held on into the next bar rings on."""
    open_: etree._Element | None = None
    for note in notes:
        kinds = {tie.get("type") for tie in note.findall("tie")}
        joined = open_ is not None and "stop" in kinds and _sounds(open_) == _sounds(note)
        if joined and open_ is not None:
            tied(open_, "start")
            tied(note, "stop")
        elif "stop" in kinds:
            _be_silent(note)
        elif open_ is not None:
            tied(open_, "let-ring")
        open_ = note if "start" in kinds and note.find("rest") is None else None
    if open_ is not None:
        tied(open_, "let-ring")


def _sounds(note: etree._Element) -> tuple[str | None, ...]:
    return tuple(note.findtext(f"pitch/{name}") for name in ("step", "alter", "octave"))


def tied(note: etree._Element, kind: str) -> None:
    """Draw an end of a tie at a note."""
    notations = note.find("notations")
    if notations is None:
        notations = etree.SubElement(note, "notations")
    etree.SubElement(notations, "tied", type=kind)


def _be_silent(note: etree._Element) -> None:
    for name in ("pitch", "tie", "cue", "beam"):
        for child in note.findall(name):
            note.remove(child)
    note.insert(0, etree.Element("rest"))
    note.attrib.pop("id")


def first_voice(note: etree._Element) -> bool:
    """True for what is shown of a part in a cue: no chord tones, graces or second voices."""
    tags = {tag_of(c): c for c in note}
    voice = tags.get("voice")
    return not ({"grace", "cue", "chord"} & set(tags)) and (
        voice is None or (voice.text or "1").strip() == "1"
    )


def divisions_at(source: list[etree._Element], bar: int) -> str:
    """The divisions that the durations of a part's bar (by index) count in; "" where unsaid."""
    for measure in reversed(source[: bar + 1]):
        stated = [
            child.text or ""
            for attributes in measure.iterchildren("{*}attributes")
            for child in attributes.iterchildren("{*}divisions")
        ]
        if stated:
            return stated[-1].strip()
    return ""


def cue_id(address: int) -> str:
    """The id under which a note is drawn as a cue in another part."""
    return f"cue{address}"


def _small(note: etree._Element, cue: Cue, address: int) -> etree._Element:
    small = etree.Element("note", id=cue_id(address))
    if not any(tag_of(c) == "rest" for c in note):
        etree.SubElement(small, "cue")
    for child in note:
        if tag_of(child) not in _KEPT:
            continue
        twin = copy.deepcopy(child)
        for inner in twin.iter():
            if isinstance(inner.tag, str):
                inner.tag = tag_of(inner)
        twin.tail = None
        if twin.tag == "pitch":
            _shift(twin, cue)
        if twin.tag == "type":
            voice = etree.SubElement(small, "voice")
            voice.text = "1"
            twin.set("size", "cue")
        small.append(twin)
    return small


def make_small(part: etree._Element) -> None:
    """Make every note of a copied part small."""
    for note in part.iter("note"):
        if note.find("pitch") is None or note.find("grace") is not None:
            continue
        for tie in note.findall("tie"):  # a cue note does not sound; what is drawn stays
            note.remove(tie)
        note.insert(0, etree.Element("cue"))
        for kind in note.findall("type"):
            kind.set("size", "cue")


def _shift(element: etree._Element, cue: Cue) -> None:
    written = Pitch(
        (element.findtext("step") or "C").strip(),
        float(element.findtext("alter") or 0),
        int(element.findtext("octave") or 4) + cue.octaves,
    )
    target = respell(cue.target.written_pitch(cue.source.sounding_pitch(written)))
    for child in list(element):
        element.remove(child)
    etree.SubElement(element, "step").text = target.step
    if target.alter:
        etree.SubElement(element, "alter").text = f"{target.alter:g}"
    etree.SubElement(element, "octave").text = str(target.octave)
