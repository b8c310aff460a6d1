"""Parts that the engraver draws wrong unless they are handed to it in another way: one fault each,
in its shortest form. Made for this purpose after faults met in real files."""

from __future__ import annotations

import random
from xml.sax.saxutils import quoteattr

_HEAD = (
    '<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0"><part-list>'
    '<score-part id="P1"><part-name>{}</part-name></score-part></part-list><part id="P1">'
)
_TREBLE = "<clef><sign>G</sign><line>2</line></clef>"
_GRAND = (
    '<staves>2</staves><clef number="1"><sign>G</sign><line>2</line></clef>'
    '<clef number="2"><sign>F</sign><line>4</line></clef>'
)
_TYPES = {1: "eighth", 2: "quarter", 4: "half", 8: "whole"}


def note(
    pitch: str,
    length: int = 2,
    *,
    voice: int = 1,
    staff: int = 0,
    chord: bool = False,
    sign: str = "",
    tie: str = "",
    kind: str = "",
    after_type: str = "",
    more: str = "",
    attributes: str = "",
) -> str:
    """A note: pitch as in "F#4", length in eighths, and pieces of XML at their places."""
    step, accidental, octave = pitch[0], pitch[1:-1], pitch[-1]
    alter = {"": "", "#": "<alter>1</alter>", "b": "<alter>-1</alter>"}[accidental]
    return (
        f"<note{attributes}>{'<chord/>' * chord}<pitch><step>{step}</step>{alter}"
        f"<octave>{octave}</octave></pitch><duration>{length}</duration>"
        + (f"<tie type={quoteattr(tie)}/>" if tie else "")
        + f"<voice>{voice}</voice><type>{kind or _TYPES[length]}</type>"
        + (f"<accidental>{sign}</accidental>" if sign else "")
        + after_type
        + (f"<staff>{staff}</staff>" if staff else "")
        + more
        + "</note>"
    )


def notes(text: str, **given: object) -> str:
    """Quarter notes."""
    return "".join(note(pitch, **given) for pitch in text.split())  # type: ignore[arg-type]


def opening(
    divisions: int = 2,
    *,
    fifths: int = 0,
    key: str = "",
    clef: str = _TREBLE,
    before_clef: str = "",
) -> str:
    """The signatures of a first bar in four."""
    return (
        f"<attributes><divisions>{divisions}</divisions>"
        f"{key or f'<key><fifths>{fifths}</fifths></key>'}"
        f"<time><beats>4</beats><beat-type>4</beat-type></time>{before_clef}{clef}</attributes>"
    )


def score(*bars: str, name: str = "Piano") -> bytes:
    """A score of one part."""
    body = "".join(f'<measure number="{n}">{bar}</measure>' for n, bar in enumerate(bars, start=1))
    return f"{_HEAD.format(name)}{body}</part></score-partwise>\n".encode()


def back(length: int) -> str:
    return f"<backup><duration>{length}</duration></backup>"


def forward(length: int) -> str:
    return f"<forward><duration>{length}</duration></forward>"


def beam(kind: str) -> str:
    return f'<beam number="1">{kind}</beam>'


def sign(inside: str, more: str = "", placement: str = "above") -> str:
    kind = f"<direction-type>{inside}</direction-type>"
    return f'<direction placement="{placement}">{kind}{more}</direction>'


def _octave(kind: str) -> str:
    return sign(f'<octave-shift type="{kind}" size="8"/>')


def _eighths(text: str, kinds: str) -> str:
    """Eighth notes; one letter of `kinds` each: b, c, e, or a dot for no beam."""
    names = {"b": beam("begin"), "c": beam("continue"), "e": beam("end"), ".": ""}
    return "".join(
        note(pitch, 1, more=names[kind]) for pitch, kind in zip(text.split(), kinds, strict=True)
    )


TRIPLET = (
    "<time-modification><actual-notes>3</actual-notes>"
    "<normal-notes>2</normal-notes></time-modification>"
)
_TRILL = '<notations><ornaments><wavy-line type="continue"/></ornaments></notations>'
_LATE_KEY = "<attributes><key><fifths>0</fifths></key></attributes>"
_D_MAJOR = notes("F#5 C#5 F#5 D5")

#: wrong or missing notes if the engraver takes them as they stand: the proof must see that
WRONG_AS_THEY_STAND = {
    "an accidental without a name": score(
        opening() + note("F#4", after_type="<accidental/>") + notes("G4 A4 B4")
    ),
    "beams on chord members": score(
        opening()
        + note("C4", 1, more=beam("begin"))
        + note("E4", 1, chord=True, more=beam("begin"))
        + note("D4", 1, more=beam("end"))
        + note("F4", 1, chord=True, more=beam("end"))
        + notes("G4 A4 B4")
    ),
    "voices note by note": score(
        opening()
        + "".join(note(f"{step}5") + back(2) + note(f"{step}4", voice=2) for step in "CDEF")
    ),
    "a voice with backups inside": score(
        opening()
        + notes("C5 D5")
        + back(4)
        + note("E4", 4, voice=2)
        + notes("E5 F5")
        + back(4)
        + note("G4", 4, voice=2)
    ),
    "a direction that names another voice": score(
        opening()
        + note("C5", 4)
        + note("D5", 4)
        + back(8)
        + sign("<dynamics><p/></dynamics>", "<voice>1</voice>", "below")
        + note("B3", 8, voice=2)
    ),
    "hidden notes": score(
        opening()
        + note("G4", 8)
        + back(8)
        + "".join(note("C4", 1, voice=2, attributes=' print-object="no"') for _ in range(8))
    ),
    "a hidden note in a chord": score(
        opening() + note("C5", 8, attributes=' print-object="no"') + note("E5", 8, chord=True),
        notes("C4 D4 E4 F4"),
    ),
    "a key at the end of bar 1": score(
        opening(fifths=2) + _D_MAJOR + _LATE_KEY, notes("F4 G4 A4 B4")
    ),
    "a key at the end of a later bar": score(
        opening(fifths=2) + _D_MAJOR, _D_MAJOR + _LATE_KEY, notes("F4 G4 A4 B4")
    ),
    "a key in the middle of a bar": score(
        opening()
        + notes("F4 G4")
        + "<attributes><key><fifths>2</fifths></key></attributes>"
        + notes("F#4 G4"),
        notes("F#4 G4 C#5 C#4"),
    ),
    "two staves that change to different keys": score(
        opening(clef=_GRAND)
        + notes("F4 G4 A4 B4", staff=1)
        + back(8)
        + notes("E3 B3 A3 C3", staff=2, voice=5),
        '<attributes><key number="1"><fifths>1</fifths></key>'
        '<key number="2"><fifths>-3</fifths></key></attributes>'
        + notes("F#4 G4 A4 B4", staff=1)
        + back(8)
        + notes("Eb3 Bb3 Ab3 C3", staff=2, voice=5),
    ),
    "a key of the second staff after the first's notes": score(
        opening(key='<key number="1"><fifths>0</fifths></key>', clef=_GRAND)
        + notes("F4 G4 A4 B4", staff=1)
        + back(8)
        + '<attributes><key number="2"><fifths>2</fifths></key></attributes>'
        + notes("F#3 B3 A3 C#3", staff=2, voice=5)
    ),
    "an octave line that is never closed": score(
        opening() + notes("C4 D4") + _octave("down") + notes("E6 F6"), notes("G6 A6 B6 C6")
    ),
    "a tie that is only heard": score(
        opening() + note("F#4", 8, sign="sharp", tie="start"),
        note("F#4", 4, tie="stop") + note("F#4", 4, sign="sharp"),
    ),
    "ties that are only heard, over three bars": score(
        opening() + note("F#4", 8, sign="sharp", tie="start"),
        note("F#4", 8, tie="start").replace("<tie ", '<tie type="stop"/><tie '),
        note("F#4", 8, tie="stop"),
    ),
    "accidentals missing where others are shown": score(
        opening() + note("F#4", sign="sharp") + notes("F4 C#5 C5"),
        note("F4") + note("G#4", sign="sharp") + notes("Bb4 B4"),
    ),
    "two pitches in one place at one time": score(
        opening()
        + notes("A4")
        + note("F#4", 2, sign="sharp")
        + note("F#4", 4)
        + back(8)
        + note("D4", voice=2)
        + note("F4", 6, voice=2, kind="half", after_type="<dot/>")
    ),
    "a name for an accidental that no version has": score(
        opening()
        + note("Bb4", 8, sign="double-flat").replace("<alter>-1</alter>", "<alter>-2</alter>")
    ),
}
#: drawn without a fault in their notes, but not as they should be, or by good luck: they must go on
#: so
RIGHT_ANYWAY = {
    "stems without heads": score(
        opening()
        + notes("C5 D5")
        + "".join(
            note(p, after_type=f"<notehead{filled}>none</notehead>")
            for p, filled in (("E5", ""), ("F5", ' filled="no"'))
        )
    ),
    "two staves that begin in different keys": score(
        opening(
            key='<key number="1"><fifths>1</fifths></key><key number="2"><fifths>-3</fifths></key>',
            clef=_GRAND,
        )
        + notes("F#4 G4 A4 B4", staff=1)
        + back(8)
        + notes("Eb3 Bb3 Ab3 C3", staff=2, voice=5)
    ),
    "a triplet without a bracket": score(
        opening(3)
        + "".join(note(p, 2, after_type=TRIPLET, kind="quarter") for p in ("C4", "D4", "E4"))
        + note("F4", 6, kind="half")
    ),
    "a beam that is never ended": score(
        opening() + _eighths("C4 D4 E4 F4", "bc..") + notes("G4 A4"), notes("C4 D4 E4 F4")
    ),
    "a beam that is never begun": score(
        opening() + _eighths("C4 D4 E4 F4", ".e.e") + notes("G4 A4"), notes("C4 D4 E4 F4")
    ),
    "a voice that starts later": score(
        opening() + notes("C5 D5 E5 F5"),
        notes("C5 D5 E5 F5") + back(4) + note("G4", 4, voice=2),
        notes("C5 D5 E5 F5") + back(8) + forward(4) + note("G4", 4, voice=2),
    ),
    "one voice that sounds twice at a time": score(
        opening()
        + note("C5", 4)
        + back(4)
        + note("A4", 4)
        + note("D5", 4)
        + back(4)
        + note("G4", 4)
    ),
    "trill lines that only continue": score(
        opening() + note("C5", 8, more=_TRILL), note("C5", 8, more=_TRILL)
    ),
    "a clef at the end of a bar": score(
        opening()
        + notes("C4 D4 E4 F4")
        + "<attributes><clef><sign>F</sign><line>4</line></clef></attributes>",
        notes("C3 D3 E3 F3"),
    ),
    "an octave line that is closed": score(
        opening() + notes("C4 D4") + _octave("down") + notes("E6 F6"),
        notes("G6 A6") + _octave("stop") + notes("B4 C5"),
    ),
}
#: the engraver dies of it
DEADLY = {
    "no staves at all": score(opening(before_clef="<staves>0</staves>") + notes("F4 G4 A4 B4"))
}
#: no way of handing it over helps: the engraver knows octave clefs of one and two octaves
HOPELESS = score(
    opening(
        clef="<clef><sign>G</sign><line>2</line><clef-octave-change>3</clef-octave-change></clef>"
    )
    + notes("C7 D7 E7 F7"),
    notes("C7 D7 E7 F7"),
)


def random_piano(seed: int, bars: int = 8) -> bytes:
    """A piano part in three and four voices that no hand would write: accidentals, ties, chords,
    grace notes, triplets, clefs and keys wherever they fall."""
    draw = random.Random(seed)
    tied: dict[int, str] = {}
    written = []
    for bar in range(bars):
        key = (
            f"<attributes><key><fifths>{draw.randint(-5, 5)}</fifths></key></attributes>"
            if draw.random() < 0.2
            else ""
        )
        body = opening(6, fifths=draw.randint(-5, 5), clef=_GRAND) if bar == 0 else key
        body += (
            _random_voice(draw, 1, 1, (4, 6), tied, clefs=True)
            + back(24)
            + _random_voice(draw, 2, 1, (4, 5), tied)
        )
        body += back(24) + _random_voice(draw, 5, 2, (2, 4), tied)
        if draw.random() < 0.3:
            body += back(24) + _random_voice(draw, 6, 2, (2, 3), tied)
        written.append(body)
    return score(*written)


def _random_voice(
    draw: random.Random,
    voice: int,
    staff: int,
    octaves: tuple[int, int],
    tied: dict[int, str],
    *,
    clefs: bool = False,
) -> str:
    kinds = {3: "eighth", 6: "quarter", 12: "half", 24: "whole"}
    signs = (
        "<sign>F</sign><line>4</line>",
        "<sign>G</sign><line>2</line>",
        "<sign>C</sign><line>3</line>",
    )
    out, left = "", 24

    def pitch() -> str:
        return (
            draw.choice("CDEFGAB")
            + draw.choice(["", "", "", "#", "b"])
            + str(draw.randint(*octaves))
        )

    while left:
        luck = draw.random()
        if luck < 0.12 and clefs and left < 24:
            out += f'<attributes><clef number="{staff}">{draw.choice(signs)}</clef></attributes>'
        if luck < 0.2 and left % 6 == 0:
            out += "".join(
                note(pitch(), 2, kind="eighth", voice=voice, staff=staff, after_type=TRIPLET)
                for _ in range(3)
            )
            left -= 6
            continue
        length = draw.choice([length for length in kinds if length <= left])
        if draw.random() < 0.12:
            grace = note(pitch(), 0, kind="eighth", voice=voice, staff=staff)
            out += grace.replace("<note>", "<note><grace/>").replace("<duration>0</duration>", "")
        held = tied.pop(voice, "")
        name = held or pitch()
        struck = note(
            name, length, kind=kinds[length], voice=voice, staff=staff, tie="stop" if held else ""
        )
        if draw.random() < 0.2:
            struck = struck.replace("<voice>", '<tie type="start"/><voice>')
            tied[voice] = name
        other = pitch()
        out += struck
        if draw.random() < 0.25 and (other[0], other[-1]) != (name[0], name[-1]):
            out += note(other, length, kind=kinds[length], voice=voice, staff=staff, chord=True)
        left -= length
    return out
