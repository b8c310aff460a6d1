"""Small charts for tests, written in a shorthand and read through the real reader.

A part is a string of notes: pitch, "/", length (1 2 4 8 16), "." for a dot, "t" for a triplet, then
"~" for a tie and marks > ^ . - ( ) as in "D4/8 F4/8> r/4 G4/4.~". Bars fill up by themselves;
`pickup` is the length of the first bar in quarters.
"""

from __future__ import annotations

import re
from collections.abc import Container, Iterator
from fractions import Fraction
from pathlib import Path
from xml.sax.saxutils import escape

from sectionprep.music.chart import Chart
from sectionprep.musicxml.document import Document, parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.passages import Passage, Together

DIV = 24
CHORD = "<chord/><pitch>"
_TOKEN = re.compile(r"(?:(r)|([A-G])([#b]?)(-?\d))/(\d+)(\.?)(t?)(~?)(.*)$")
_MARKS = {
    ">": "accent",
    "^": "strong-accent",
    "!": "staccato",
    "-": "tenuto",
    "F": "falloff",
    ",": "breath-mark",
}
_TYPES = {"1": "whole", "2": "half", "4": "quarter", "8": "eighth", "16": "16th"}


def _note(token: str, slur_open: list[bool]) -> tuple[int, str]:
    match = _TOKEN.match(token)
    assert match, token
    rest, step, sign, octave, length, dot, triplet, tie, marks = match.groups()
    ticks = (
        Fraction(4 * DIV, int(length))
        * (Fraction(3, 2) if dot else 1)
        * (Fraction(2, 3) if triplet else 1)
    )
    assert ticks.denominator == 1, token
    out = "<note>"
    if rest:
        out += "<rest/>"
    else:
        alter = {"#": "<alter>1</alter>", "b": "<alter>-1</alter>", "": ""}[sign]
        out += f"<pitch><step>{step}</step>{alter}<octave>{octave}</octave></pitch>"
    out += (
        f"<duration>{int(ticks)}</duration>@TIE@<voice>1</voice><type>{_TYPES[length]}</type>"
        + ("<dot/>" if dot else "")
    )
    if triplet:
        out += (
            "<time-modification><actual-notes>3</actual-notes><normal-notes>2"
            "</normal-notes></time-modification>"
        )
    inside = ""
    if ")" in marks:
        inside += '<slur type="stop" number="1"/>'
    if "(" in marks:
        inside += '<slur type="start" number="1"/>'
    names = [_MARKS[c] for c in marks if c in _MARKS]
    if names:
        inside += "<articulations>" + "".join(f"<{n}/>" for n in names) + "</articulations>"
    out += (f"<notations>{inside}</notations>" if inside else "") + "</note>"
    return int(ticks), out + ("~" if tie else "")


def part_xml(
    text: str,
    *,
    pickup: int = 0,
    beats: int = 4,
    unit: int = 4,
    transpose: tuple[int, int] = (0, 0),
    fifths: int = 0,
    first: str = "",
    signs: dict[int, str] | None = None,
) -> str:
    """The measures of one part. signs: XML to put before the n-th note (from 0)."""
    bar_ticks = beats * DIV * 4 // unit
    measures: list[str] = []
    room = pickup * DIV or bar_ticks
    used, notes, tied = 0, [], False
    attributes = (
        f"<attributes><divisions>{DIV}</divisions><key><fifths>{fifths}</fifths></key>"
        f"<time><beats>{beats}</beats><beat-type>{unit}</beat-type></time>"
    )
    if transpose != (0, 0):
        octave = -1 if transpose[1] <= -12 else 0
        attributes += (
            f"<transpose><diatonic>{transpose[0] - 7 * octave}</diatonic>"
            f"<chromatic>{transpose[1] - 12 * octave}</chromatic>"
            + (f"<octave-change>{octave}</octave-change>" if octave else "")
            + "</transpose>"
        )
    attributes += "</attributes>" + first

    def close() -> None:
        number = len(measures) + (0 if pickup else 1)
        head = attributes if not measures else ""
        implicit = ' implicit="yes"' if pickup and not measures else ""
        measures.append(f'<measure number="{number}"{implicit}>{head}{"".join(notes)}</measure>')

    for n, token in enumerate(text.split()):
        ticks, xml = _note(token, [])
        ties = ('<tie type="stop"/>' if tied else "") + (
            '<tie type="start"/>' if xml.endswith("~") else ""
        )
        tied = xml.endswith("~")
        xml = xml.removesuffix("~").replace("@TIE@", ties)
        notes.append((signs or {}).get(n, "") + xml)
        used += ticks
        assert used <= room, f"{token} runs over the bar line in {text!r}"
        if used == room:
            close()
            room, used, notes = bar_ticks, 0, []
    if notes:
        notes.append(f"<note><rest/><duration>{room - used}</duration><voice>1</voice></note>")
        close()
    return "".join(measures)


def shared_staff(first: str, second: str, *, chords: Container[int] = ()) -> str:
    """Measures of two players on one staff, the second's notes in voice 2, or, in the bars (from 0)
    of `chords`, in the chords of one voice, where both must have one rhythm."""
    bars = [re.findall(r"<measure.*?</measure>", part_xml(line)) for line in (first, second)]
    made = []
    for bar, (upper, lower) in enumerate(zip(*bars, strict=True)):
        if bar in chords:
            below = iter(re.findall(r"<note>.*?</note>", lower))

            def chord(match: re.Match[str], below: Iterator[str] = below) -> str:
                note = next(below)
                return match[0] + ("" if "<rest/>" in note else note.replace("<pitch>", CHORD))

            made.append(re.sub(r"<note>.*?</note>", chord, upper))
            continue
        notes = "".join(re.findall(r"<note>.*?</note>", lower))
        notes = notes.replace("<voice>1</voice>", "<voice>2</voice>")
        length = sum(int(d) for d in re.findall(r"<duration>(\d+)", notes))
        back = f"<backup><duration>{length}</duration></backup>"
        made.append(upper.replace("</measure>", f"{back}{notes}</measure>"))
    return "".join(made)


def score_xml(
    parts: dict[str, str], *, head: str = "", names: dict[str, str] | None = None
) -> bytes:
    """A partwise score from part name to measures (of `part_xml`)."""
    listed = "".join(
        f'<score-part id="P{n}"><part-name>{escape(name)}</part-name></score-part>'
        for n, name in enumerate(parts, 1)
    )
    body = "".join(f'<part id="P{n}">{xml}</part>' for n, xml in enumerate(parts.values(), 1))
    return (
        f'<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise '
        f'version="4.0">{head}<part-list>{listed}</part-list>{body}</score-partwise>\n'.encode()
    )


def document(parts: dict[str, str], **options: object) -> Document:
    """Shorthand parts as a document."""
    return parse_document(
        Path("test.musicxml"), score_xml({k: part_xml(v, **options) for k, v in parts.items()})
    )  # type: ignore[arg-type]


def chart(parts: dict[str, str], **options: object) -> Chart:
    """Shorthand parts as a chart."""
    return read_chart(document(parts, **options))


def all_together(made: Chart, *, scope: str = "ensemble") -> Together:
    """One passage of all parts from the first note to the last, led by the part that comes first by
    name: for tests of what is done with passages, whatever the finder finds."""
    tones = [tone for line in made.lines for tone in line]
    lead = min(
        (part for part in made.parts if made.lines[part.index]), key=lambda part: part.name
    ).index
    passage = Passage(
        id="P1",
        texture="soli",
        start=min(t.onset for t in tones),
        end=max(t.end for t in tones),
        lead=lead,
        lead_why="first by name",
        parts=tuple(part.index for part in made.parts if made.lines[part.index]),
        attacks=tuple(t.onset for t in made.lines[lead]),
        confidence=1.0,
        scope=scope,
    )
    return Together(passages=(passage,), bars=())


def transposed(text: str, semitones: int) -> str:
    """The shorthand, moved by semitones (spelled with sharps)."""
    names = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"]

    def move(match: re.Match[str]) -> str:
        step, sign, octave = match.groups()
        midi = names.index(step) + {"#": 1, "b": -1, "": 0}[sign] + 12 * int(octave) + semitones
        return f"{names[midi % 12]}{midi // 12}/"

    return re.sub(r"(?<![\w#])([A-G])([#b]?)(-?\d)/", move, text)
