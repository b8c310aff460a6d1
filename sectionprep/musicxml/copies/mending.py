"""What the engraver misreads, said in a way that it reads right. Works on its copy of one part
only; no note changes.

Each mend has its cause in files that came out with wrong or missing notes; the drawing is proved
afterwards all the same (drawing/proof/as_written.py).
"""

from __future__ import annotations

from collections.abc import Sequence

from lxml import etree

from sectionprep.musicxml.copies.accidentals import Accidentals
from sectionprep.musicxml.copies.beaming import Beamer
from sectionprep.musicxml.copies.timeline import MeasureReader, Stroke, Timeline
from sectionprep.musicxml.copies.tuplets import notations_of, write_tuplets
from sectionprep.musicxml.copies.values import write_values
from sectionprep.musicxml.copies.voices import in_order, one_after_another
from sectionprep.musicxml.note_order import put_in_order
from sectionprep.musicxml.numbers import decimal

_KEY_FOLLOWS = frozenset({"footnote", "level", "divisions"})
_TIME_FOLLOWS = _KEY_FOLLOWS | {"key"}
_NO_VOICES: frozenset[str] = frozenset()
_OCTAVES = frozenset({"8", "15", "22"})


class Mender:
    """Mends measures one after the other. fresh, courtesy: see Accidentals; beams: whether all
    beams are to be made anew; plain: leave nothing to the engraver: every voice written in one
    go, all beams made anew, no octave lines."""

    def __init__(
        self,
        *,
        fresh: bool = False,
        courtesy: bool = False,
        beams: bool = False,
        plain: bool = False,
    ) -> None:
        self.plain, self.all_beams = plain, beams or plain
        self.clock = MeasureReader()
        self.accidentals = Accidentals(fresh=fresh, courtesy=courtesy)
        self.beamer = Beamer()
        self.open: frozenset[tuple[str, str]] = frozenset()  # beams that go on over the bar line
        self.broken = _NO_VOICES
        self.begun, self.staves = False, 1
        self.late: list[etree._Element] = []  # signatures stated at the end of the bar before

    def mend(self, measure: etree._Element) -> None:
        """Change one measure in place."""
        _hide_notes(measure)
        self._signatures(measure)
        timeline = self.clock.read(measure)
        self._move_keys(measure, timeline)
        if timeline.steady:
            write_values(timeline, self.clock.divisions)
        for stroke in timeline.strokes:
            if (
                stroke.staff != "1" and (decimal(stroke.staff) or 1) > self.staves
            ):  # a staff that the part does not have
                stroke.staff = stroke.said["staff"].text = str(self.staves)
            _draw_ties(stroke)
            if stroke.beams and ("chord" in stroke.said or self.plain):
                _drop_beams(stroke)
        for direction in measure.iterchildren("direction"):
            for voice in direction.findall(
                "voice"
            ):  # the engraver would put the notes that follow into that voice
                direction.remove(voice)
        self.accidentals.rewrite(timeline)
        self.broken = _NO_VOICES
        if timeline.plays:
            self._beams(timeline)
            write_tuplets(timeline)
        if self.plain or not in_order(timeline):
            one_after_another(measure, timeline)

    def settle(self, measure: etree._Element) -> None:
        """What was put into a measure may count in other divisions: say the part's own again at its
        end."""
        said = measure.findall("attributes/divisions")
        if said and decimal(said[-1].text) != self.clock.divisions:
            etree.SubElement(etree.SubElement(measure, "attributes"), "divisions").text = str(
                self.clock.divisions
            )

    def beam(self, measure: etree._Element) -> None:
        """Beam a measure where that is needed; the last step, when all else is in it."""
        self.beamer.rewrite(measure, None if self.all_beams else self.broken)

    # -- signatures ------------------------------------------------------------------------------

    def _signatures(self, measure: etree._Element) -> None:
        """State what was stated at the end of the bar before; take out what nobody can mean."""
        stated = list(measure.iterchildren("attributes"))
        for attributes in stated:
            for staves in attributes.findall("staves"):
                count = int(decimal(staves.text) or 0)
                self.staves = max(self.staves, count)
                if count < 1:
                    attributes.remove(staves)
            for details in attributes.findall("staff-details"):
                for size in details.findall(
                    "staff-size"
                ):  # small in the score, not on a sheet of its own
                    details.remove(size)
            self._one_key(attributes)
        self.begun = True
        if self.late:
            signs = {(e.tag, e.get("number")) for attributes in stated for e in attributes}
            for sign in self.late:
                if (sign.tag, sign.get("number")) not in signs:
                    _state(measure, sign)
            self.late = []

    def _one_key(self, attributes: etree._Element) -> None:
        """After the beginning the engraver can only change the key of all staves at once: the first
        staff's. Where another staff should have another, accidentals say so."""
        for key in attributes.findall("key") if self.begun else ():
            if key.get("number") not in (None, "1"):
                attributes.remove(key)
            key.attrib.pop("number", "")

    def _move_keys(self, measure: etree._Element, timeline: Timeline) -> None:
        """The engraver takes a signature for that of the whole bar, wherever in it the signature
        stands."""
        moved: dict[str | None, etree._Element] = {}
        stands = [(when, e) for when, e in timeline.others if e.tag == "attributes"]
        for n, (when, attributes) in enumerate(stands):
            for sign in (
                [*attributes.findall("key"), *attributes.findall("time")] if when or n else ()
            ):
                if when and when >= timeline.end:
                    attributes.remove(sign)
                    self.late.append(sign)
                elif sign.tag == "key":
                    attributes.remove(sign)
                    moved.pop(sign.get("number"), None)  # the last of a bar is the one that stands
                    moved[sign.get("number")] = sign
        for sign in moved.values():
            _state(measure, sign)
        if moved:
            head = next(e for e in measure if e.tag == "attributes")
            timeline.others = [
                (0, head),
                *((when, e) for when, e in timeline.others if e is not head),
            ]

    # -- beams -----------------------------------------------------------------------------------

    def _beams(self, timeline: Timeline) -> None:
        """Take out beams that are broken; they are made anew in the end."""
        self.broken = self._broken_beams(timeline)
        for stroke in timeline.strokes if self.broken else ():
            if stroke.beams and stroke.voice in self.broken:
                _drop_beams(stroke)

    def _broken_beams(self, timeline: Timeline) -> frozenset[str]:
        """Voices with a beam that is begun and never ended, or ended and never begun."""
        begun = dict.fromkeys(self.open, True)
        broken: set[str] = set()
        last: dict[str, Stroke] = {}
        for stroke in timeline.strokes:
            if "grace" in stroke.said or "chord" in stroke.said:
                continue
            last[stroke.voice] = stroke
            for beam in stroke.beams:
                key = (stroke.voice, beam.get("number") or "1")
                kind = (beam.text or "").strip()
                if kind == "begin":
                    if begun.get(key):
                        broken.add(stroke.voice)
                    begun[key] = True
                elif kind in ("continue", "end"):
                    if not begun.get(key):
                        broken.add(stroke.voice)
                    begun[key] = kind == "continue"
            if not stroke.beams and begun.get((stroke.voice, "1")) and "rest" not in stroke.said:
                broken.add(stroke.voice)
        going_on = {key for key, is_open in begun.items() if is_open and key[0] in last}
        for voice, _ in going_on:
            if not last[voice].beams:
                broken.add(voice)
        self.open = frozenset(key for key in going_on if key[0] not in broken)
        return frozenset(broken)


def _state(measure: etree._Element, sign: etree._Element) -> None:
    """Put a signature at the head of a measure, in the place of another of its kind."""
    attributes = next((e for e in measure if e.tag == "attributes"), None)
    first = next((e for e in measure if e.tag == "note"), None)
    if attributes is None or (
        first is not None and measure.index(attributes) > measure.index(first)
    ):
        attributes = etree.Element("attributes")
        measure.insert(0, attributes)
    for old in attributes.findall(sign.tag):
        if old.get("number") == sign.get("number"):
            attributes.remove(old)
    before = _KEY_FOLLOWS if sign.tag == "key" else _TIME_FOLLOWS
    attributes.insert(
        sum(child.tag in before or child.tag == sign.tag for child in attributes), sign
    )


def _hide_notes(measure: etree._Element) -> None:
    """Notes that are not to be printed become rests that are not to be printed; out of a chord they
    are taken."""
    notes = [e for e in measure if e.tag == "note"]
    if not any(note.get("print-object") == "no" for note in notes):
        return
    chords: list[list[etree._Element]] = []
    for note in notes:
        if note.find("chord") is not None and chords:
            chords[-1].append(note)
        else:
            chords.append([note])
    for chord in chords:
        hidden = [note for note in chord if note.get("print-object") == "no"]
        seen = [note for note in chord if note not in hidden]
        if hidden and seen:
            for note in hidden:
                measure.remove(note)
            _lead(seen[0], chord[0])
        elif hidden:
            for note in chord[1:]:
                measure.remove(note)
            if chord[0].find("grace") is not None:
                measure.remove(chord[0])
            else:
                _silence(chord[0])


def _lead(note: etree._Element, before: etree._Element) -> None:
    """Make a member of a chord its first note."""
    for mark in note.findall("chord"):
        note.remove(mark)
    if note is not before and note.find("beam") is None:
        for beam in before.findall("beam"):
            put_in_order(note, beam)


def _silence(note: etree._Element) -> None:
    for child in list(note):
        if child.tag in (
            "pitch",
            "unpitched",
            "tie",
            "accidental",
            "stem",
            "notehead",
            "beam",
            "notations",
            "lyric",
            "cue",
        ):
            note.remove(child)
    if note.find("rest") is None:
        note.insert(0, etree.Element("rest"))


def _draw_ties(stroke: Stroke) -> None:
    """A tie that only sounds (`<tie>`) is drawn, too (`<tied>`): else the note is struck again. A
    note that ends one tie and begins another ends the first before it begins the second: else
    the engraver ties it to itself."""
    if not stroke.ties or "rest" in stroke.said:
        return
    tied = [t for n in stroke.element.iterchildren("notations") for t in n.iterchildren("tied")]
    drawn = [t.get("type") for t in tied]
    missing = [
        kind
        for kind in stroke.ties
        if kind in ("start", "stop") and kind not in drawn and "continue" not in drawn
    ]
    tied += [etree.SubElement(notations_of(stroke), "tied", type=kind) for kind in missing]
    kinds = [t.get("type") for t in tied]
    if "start" in kinds and "stop" in kinds and kinds.index("start") < kinds.index("stop"):
        tied[kinds.index("start")].addprevious(tied[kinds.index("stop")])


def _drop_beams(stroke: Stroke) -> None:
    for beam in stroke.beams:
        if beam.getparent() is stroke.element:
            stroke.element.remove(beam)
    stroke.beams = ()


# -- lines over many bars --------------------------------------------------------------------------


def close_lines(measures: Sequence[etree._Element], *, no_octaves: bool = False) -> list[int]:
    """Take out octave lines that are never closed or of an odd size, and make trill lines of those
    that only ever "continue". Notes keep their pitch: it is then read where it stands. The result:
    index of the measure in which each octave line that went would have begun."""
    _trill_lines(measures)
    return _octave_lines(measures, no_octaves)


def _octave_lines(measures: Sequence[etree._Element], no_octaves: bool) -> list[int]:
    begun: dict[tuple[str, str], etree._Element] = {}
    bad: list[etree._Element] = []
    for measure in measures:
        for shift in measure.iterfind("direction/direction-type/octave-shift"):
            kind = shift.get("type")
            direction = next(shift.iterancestors("direction"), None)
            staff = direction.findtext("staff") or "1" if direction is not None else "1"
            key = (shift.get("number") or "1", staff)
            if kind in ("up", "down"):
                if key in begun:
                    bad.append(begun[key])
                begun[key] = shift
            elif kind == "continue":  # the engraver would begin a second line there
                bad.append(shift)
            elif kind == "stop":
                start = begun.pop(key, None)
                if start is None or no_octaves or (start.get("size") or "8") not in _OCTAVES:
                    bad += [shift] if start is None else [start, shift]
    gone = [*bad, *begun.values()]
    lost = [shift for shift in gone if shift.get("type") in ("up", "down")]
    homes = [next(shift.iterancestors("measure"), None) for shift in lost]
    for shift in gone:
        _take_out_sign(shift)
    return sorted(n for n, measure in enumerate(measures) for home in homes if home is measure)


def _take_out_sign(sign: etree._Element) -> None:
    """Take a sign out of its direction, and the direction with it if nothing else stands in it."""
    kind = sign.getparent()
    direction = kind.getparent() if kind is not None else None
    measure = direction.getparent() if direction is not None else None
    if kind is None or direction is None or measure is None:
        return
    kind.remove(sign)
    if not len(kind):
        direction.remove(kind)
    if direction.find("direction-type") is None:
        measure.remove(direction)


def _trill_lines(measures: Sequence[etree._Element]) -> None:
    """A trill line without beginning begins at its first note, one without end ends at its last;
    one on a single note is taken out."""
    runs: dict[str, list[etree._Element]] = {}
    since: dict[str, int] = {}

    def close(number: str) -> None:
        run = runs.pop(number, [])
        if len(run) < 2:
            for line in run:
                above = line.getparent()
                if above is not None:
                    above.remove(line)
            return
        run[0].set("type", "start")
        run[-1].set("type", "stop")

    for n, measure in enumerate(measures):
        for line in measure.iter("wavy-line"):
            number, kind = line.get("number") or "1", line.get("type")
            if number in runs and (kind == "start" or n - since[number] > 1):
                close(number)
            runs.setdefault(number, []).append(line)
            since[number] = n
            if kind == "stop":
                close(number)
    for number in list(runs):
        close(number)


def plainly(part: bytes) -> bytes:
    """A part for the engraver said once more, as plainly as can be: for a part that was drawn
    wrong."""
    root = etree.fromstring(part, etree.XMLParser(huge_tree=True, resolve_entities=False))
    measures = list(root.iter("measure"))
    mender = Mender(plain=True)
    close_lines(measures, no_octaves=True)
    for measure in measures:
        mender.mend(measure)
        mender.beam(measure)
    return etree.tostring(root, xml_declaration=True, encoding="UTF-8")
