"""What the part list says: who there is, what they are called, and the measures of each."""

from __future__ import annotations

from typing import NamedTuple

from lxml import etree

from sectionprep.errors import NotAScore, OverLimit
from sectionprep.music.chairs import Clues
from sectionprep.music.chart import Part, Remark
from sectionprep.music.naming import clean_name, spoken_name
from sectionprep.musicxml.document import Document, tag_of
from sectionprep.musicxml.reading.elements import child_of, number_of
from sectionprep.settings import Limits

_NAME = 200  # characters of a name that are read: a judgement, far above any part's name


class Source(NamedTuple):
    """A part as the file has it: its id, its line of the part list, its measures."""

    id: str
    listed: etree._Element | None
    measures: list[etree._Element]


def sources_of(document: Document, limits: Limits, remarks: list[Remark]) -> list[Source]:
    """The parts in the order of the part list. remarks: is told what had to be settled. Raises
    NotAScore or OverLimit."""
    root, where = document.root, str(document.path)
    listed = _part_list(document, remarks)
    names = dict(reversed(listed))
    if tag_of(root) == "score-partwise":
        found = [
            (p.get("id") or "", [m for m in p if tag_of(m) == "measure"])
            for p in root
            if tag_of(p) == "part"
        ]
    else:
        found = _turn_timewise(root)
    if not found:
        raise NotAScore("it has no parts.", where=where, remedy="Export the whole score.")
    if len(found) > limits.parts:
        raise OverLimit(
            f"has {len(found)} parts; the limit is {limits.parts}.",
            where=where,
            remedy="Raise it with --max-parts if you trust the file.",
        )
    if not listed:
        remarks.append(Remark(where="part list", what="is missing; parts are numbered"))
    positions = {key: n for n, (key, _) in enumerate(listed)}
    found.sort(key=lambda pair: positions.get(pair[0], len(positions)))
    return [Source(key, names.get(key), measures) for key, measures in found]


def _part_list(
    document: Document, remarks: list[Remark]
) -> list[tuple[str, etree._Element | None]]:
    listed = list(document.root.iter("{*}score-part"))
    order = [(e.get("id") or "", e) for e in listed]
    known = {key for key, _ in order}
    if len(known) != len(order):
        remarks.append(Remark(where="part list", what="two parts carry the same id; read in order"))
    return [*order]


def _turn_timewise(root: etree._Element) -> list[tuple[str, list[etree._Element]]]:
    turned: dict[str, list[etree._Element]] = {}
    for measure in root:
        if tag_of(measure) != "measure":
            continue
        for part in measure:
            if tag_of(part) == "part":
                turned.setdefault(part.get("id") or "", []).append(part)
    return list(turned.items())


class PartNames(NamedTuple):
    """What the part list says of a part: name, abbreviation, sound id, General MIDI program
    from 1."""

    name: str = ""
    short: str = ""
    sound: str = ""
    program: int | None = None


def names_of(listed: etree._Element | None) -> PartNames:
    """What a line of the part list says; nothing where there is none."""
    if listed is None:
        return PartNames()
    name, short = (_name_in(child_of(listed, tag)) for tag in ("part-name", "part-abbreviation"))
    sound = ""
    program: int | None = None
    for element in listed.iter():
        tag = tag_of(element)
        if tag == "instrument-sound" and not sound:
            sound = (element.text or "").strip()
        elif tag == "midi-program" and program is None:
            program = number_of(element, 0) or None
        elif tag == "instrument-name" and not name:
            name = _name_in(element)
    return PartNames(name or short, short, sound[:_NAME], program)


def _name_in(element: etree._Element | None) -> str:
    return clean_name(element.text)[:_NAME].strip() if element is not None else ""


def evidence_of(part: Part, said: PartNames, group: str, measures: list[etree._Element]) -> Clues:
    """What tells who plays a part. measures: none where nobody sings."""
    clef = part.clefs[0][1] if part.clefs else ""
    return Clues(
        name=spoken_name(said.name, group),
        abbreviation=said.short,
        group=group,
        sound=said.sound,
        program=said.program,
        transposition=part.transposition_at(0) if part.transpositions else None,
        clef=clef,
        percussion=clef.startswith("percussion"),
        sings=any(next(measure.iter("{*}lyric"), None) is not None for measure in measures),
    )


def groups_of(root: etree._Element) -> dict[int, str]:
    """The name of the innermost named group around each score-part, by the `id()` of its
    element."""
    found: dict[int, str] = {}
    opened: dict[str, str] = {}  # by number, in the order of their beginnings
    for element in next(root.iter("{*}part-list"), ()):
        if tag_of(element) == "part-group":
            number = element.get("number") or "1"
            opened.pop(number, None)
            if element.get("type") == "start":
                opened[number] = _name_in(child_of(element, "group-name"))
        elif tag_of(element) == "score-part":
            found[id(element)] = next((name for name in reversed(opened.values()) if name), "")
    return found
