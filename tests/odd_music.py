"""Scores that are legal and odd: what MusicXML 4.0 allows and few files hold. `odd_score(rng)`
makes one; names of elements and their values are the standard's (w3.org/2021/06/musicxml40)."""

from __future__ import annotations

import random
from fractions import Fraction

_DIV = 96
_TYPES = {
    Fraction(8): "breve",
    Fraction(4): "whole",
    Fraction(2): "half",
    Fraction(1): "quarter",
    Fraction(1, 2): "eighth",
    Fraction(1, 4): "16th",
    Fraction(1, 8): "32nd",
    Fraction(1, 16): "64th",
    Fraction(1, 32): "128th",
}
_NAMES = (
    "Trumpet 1",
    "Trumpet 1",
    "Alto Sax",
    "Reed 1 (Alto, Flute)",
    "Drums",
    "Tambora | Güiro",
    "",
    "...",
    "\u202eesreveR",
    "Trompete in B♭ 🎺",
    "A" * 300,
    "=1+1",
    "con.txt",
    "a/b\\c:d*?",
    "²",
)
_NUMBERS = ("X1", "1a", "0", "-3", "²", "12/8", "A" * 40, "1-4", " ", "=2")
_MARKS = (
    "<articulations><accent/><staccato/><tenuto/></articulations>",
    "<articulations><scoop/><doit/><falloff/><plop/></articulations>",
    "<articulations><other-articulation>wow</other-articulation></articulations>",
    '<ornaments><tremolo type="single">3</tremolo></ornaments>',
    '<ornaments><trill-mark/><wavy-line type="start"/><accidental-mark>flat</accidental-mark>'
    "</ornaments>",
    "<technical><open-string/><fingering>1</fingering><string>6</string><fret>22</fret>"
    "</technical>",
    "<technical><bend><bend-alter>1.5</bend-alter></bend><hole><hole-closed>half</hole-closed>"
    "</hole></technical>",
    '<slur type="start" number="6"/>',
    '<slur type="stop" number="6"/>',
    '<glissando type="start">gliss</glissando>',
    '<slide type="stop"/>',
    "<fermata>double-square</fermata>",
    "<arpeggiate/>",
    '<tied type="let-ring"/>',
)
_WORDS = (
    "<words>sempre pp</words>",
    "<words>To Coda</words>",
    "<words>D.S. al Coda</words>",
    "<words>solo (play 2nd time only)</words>",
    "<segno/>",
    "<coda/>",
    "<dynamics><sffz/></dynamics>",
    "<dynamics><n/></dynamics>",
    '<wedge type="crescendo" niente="yes"/>',
    '<wedge type="stop"/>',
    '<octave-shift type="down" size="22"/>',
    '<octave-shift type="stop" size="22"/>',
    "<rehearsal>AA1</rehearsal>",
    '<dashes type="start"/>',
    '<pedal type="start" line="yes"/>',
    "<metronome><beat-unit>eighth</beat-unit><beat-unit-dot/><per-minute>c. 60-72</per-minute>"
    "</metronome>",
    "<metronome><beat-unit>quarter</beat-unit><beat-unit>half</beat-unit></metronome>",
    "<harp-pedals><pedal-tuning><pedal-step>C</pedal-step><pedal-alter>0</pedal-alter>"
    "</pedal-tuning></harp-pedals>",
    "<percussion><metal>cowbell</metal></percussion>",
    "<scordatura><accord string='1'><tuning-step>D</tuning-step><tuning-octave>4</tuning-octave>"
    "</accord></scordatura>",
    "<string-mute type='on'/>",
    "<accordion-registration><accordion-high/></accordion-registration>",
)
_CLEFS = (
    "<sign>percussion</sign>",
    "<sign>TAB</sign><line>5</line>",
    "<sign>C</sign><line>5</line>",
    "<sign>F</sign><line>3</line><clef-octave-change>-1</clef-octave-change>",
    "<sign>G</sign><line>1</line>",
    "<sign>jianpu</sign>",
    "<sign>none</sign>",
    "<sign>G</sign><line>2</line><clef-octave-change>2</clef-octave-change>",
)
_METRES = (
    "<beats>{n}</beats><beat-type>{u}</beat-type>",
    "<beats>3+2</beats><beat-type>8</beat-type>",
    "<beats>2</beats><beat-type>4</beat-type><beats>3</beats><beat-type>8</beat-type>",
    "<senza-misura/>",
    "<senza-misura>X</senza-misura>",
)
_KEYS = (
    "<fifths>{f}</fifths><mode>locrian</mode>",
    "<key-step>F</key-step><key-alter>1</key-alter><key-step>B</key-step><key-alter>-2</key-alter>",
    "<cancel>-7</cancel><fifths>7</fifths>",
)
_STYLES = (
    "<multiple-rest>{n}</multiple-rest>",
    '<slash type="start" use-stems="yes"/>',
    '<measure-repeat type="start" slashes="2">2</measure-repeat>',
    '<beat-repeat type="start"/>',
)
_KINDS = ("major-seventh", "half-diminished", "Tristan", "none", "pedal", "suspended-fourth", "N")


def _bar_of(kind: str, rng: random.Random) -> str:
    barlines = {
        "left": "<barline location='left'><repeat direction='forward'/></barline>",
        "ending": "<barline location='left'><ending number='1, 2,3' type='start'/></barline>",
        "right": "<barline location='right'><ending number='1, 2,3' type='stop'/>"
        f"<repeat direction='backward' times='{rng.choice((1, 2, 9))}'/></barline>",
        "style": f"<barline><bar-style>{rng.choice(('tick', 'none', 'heavy-heavy', 'short'))}"
        "</bar-style><fermata/></barline>",
    }
    return barlines[kind]


def _note(rng: random.Random, length: Fraction, staff: int, voice: int, spice: float) -> str:
    """One note, rest or chord of so many quarters."""
    dots = rng.choice((0, 0, 0, 1, 2, 3)) if length in _TYPES and rng.random() < spice else 0
    written = {v: k for k, v in _TYPES.items()}
    name = rng.choice(tuple(written)) if rng.random() < spice / 4 else _TYPES.get(length, "quarter")
    kind = rng.random()
    if kind < 0.15:
        head = "<rest/>"
    elif kind < 0.2:
        head = "<display-step>E</display-step><display-octave>4</display-octave>"
        head = f"<unpitched>{head}</unpitched>"
    else:
        alter = rng.choice(("", "", "<alter>1</alter>", "<alter>-2</alter>", "<alter>.5</alter>"))
        head = (
            f"<pitch><step>{rng.choice('ABCDEFG')}</step>{alter}"
            f"<octave>{rng.choice((0, 3, 4, 4, 5, 5, 9))}</octave></pitch>"
        )
    ratio = rng.choice(((3, 2), (7, 4), (13, 8), (5, 3)))
    tuplet = (
        f"<time-modification><actual-notes>{ratio[0]}</actual-notes><normal-notes>{ratio[1]}"
        "</normal-notes></time-modification>"
        if rng.random() < spice / 3
        else ""
    )
    marks = rng.choice(_MARKS) if rng.random() < spice and head != "<rest/>" else ""
    lyric = (
        f"<lyric number='{rng.choice((1, 2, 9))}'><syllabic>begin</syllabic><text>lä</text>"
        "<elision/><syllabic>end</syllabic><text>-</text><extend/></lyric>"
        if rng.random() < spice / 4
        else ""
    )
    rest = f"<voice>{voice}</voice><type>{name}</type>{'<dot/>' * dots}{tuplet}"
    tail = f"<staff>{staff}</staff>" + (f"<notations>{marks}</notations>" if marks else "") + lyric
    made = f"<note>{head}<duration>{int(length * _DIV)}</duration>{rest}{tail}</note>"
    if head.startswith("<pitch") and rng.random() < spice / 2:
        made = (
            f"<note><grace{rng.choice(('', ' slash=' + chr(34) + 'yes' + chr(34)))}/>{head}"
            f"<voice>{voice}</voice><type>16th</type></note>" * rng.choice((1, 2, 7)) + made
        )
    if head.startswith("<pitch") and rng.random() < spice / 2:
        made += (
            f"<note><chord/><pitch><step>G</step><octave>5</octave></pitch>"
            f"<duration>{int(length * _DIV)}</duration>{rest}<staff>{staff}</staff></note>"
        )
    return made


def _voice(rng: random.Random, quarters: Fraction, staff: int, voice: int, spice: float) -> str:
    made, left = "", quarters
    while left > 0:
        fitting = [n for n in (*_TYPES, Fraction(1, 3), Fraction(3, 2)) if n <= left]
        length = rng.choice(fitting[-6:]) if fitting else left
        if (length * _DIV).denominator > 1 or len(made) > 20_000:
            length = left
        made += _note(rng, length, staff, voice, spice)
        left -= length
    return made


def _attributes(rng: random.Random, first: bool, spice: float, staves: int, metre: str) -> str:
    made = f"<divisions>{_DIV}</divisions>" if first else ""
    if first or rng.random() < spice / 3:
        made += f"<key>{rng.choice(_KEYS).format(f=rng.randint(-7, 7))}</key>"
    made += f"<time>{metre}</time>" if metre else ""
    if first:
        made += f"<staves>{staves}</staves>" if staves > 1 else ""
        made += "".join(
            f"<clef number='{n}'>{rng.choice(_CLEFS)}</clef>" for n in range(1, staves + 1)
        )
        if rng.random() < 0.4:
            made += (
                f"<transpose><diatonic>{rng.randint(-7, 2)}</diatonic>"
                f"<chromatic>{rng.randint(-12, 3)}</chromatic></transpose>"
            )
    if rng.random() < spice / 3:
        made += f"<measure-style>{rng.choice(_STYLES).format(n=rng.randint(1, 9))}</measure-style>"
    return f"<attributes>{made}</attributes>" if made else ""


def odd_score(rng: random.Random) -> bytes:
    """A score of one to three parts and one to eight bars."""
    spice, bars = rng.choice((0.1, 0.3, 0.8)), rng.randint(1, 8)
    metres, lengths = [], []
    length = Fraction(4)
    for n in range(bars):
        metre = ""
        if n == 0 or rng.random() < spice / 2:
            beats, unit = rng.randint(1, 9), rng.choice((1, 2, 4, 4, 8, 16, 64))
            metre = rng.choice((_METRES[0], *_METRES)).format(n=beats, u=unit)
            length = Fraction(4 * beats, unit) if metre.startswith(f"<beats>{beats}<") else length
        metres.append(metre)
        lengths.append(min(length, Fraction(16)))
    parts, listed = "", ""
    for p in range(rng.randint(1, 3)):
        listed += f"<score-part id='P{p}'><part-name>{rng.choice(_NAMES)}</part-name></score-part>"
        staves = rng.choice((1, 1, 1, 2, 3))
        made = ""
        for n in range(bars):
            inside = _attributes(rng, n == 0, spice, staves, metres[n])
            if rng.random() < spice:
                inside += (
                    f"<direction><direction-type>{rng.choice(_WORDS)}</direction-type></direction>"
                )
            if rng.random() < spice / 2:
                inside += (
                    f"<harmony><root><root-step>{rng.choice('ABCDEFG')}</root-step></root>"
                    f"<kind>{rng.choice(_KINDS)}</kind><degree><degree-value>13</degree-value>"
                    "<degree-alter>1</degree-alter><degree-type>add</degree-type></degree></harmony>"
                )
            for staff in range(1, staves + 1):
                for voice in range(rng.choice((1, 1, 2))):
                    if voice or staff > 1:
                        inside += f"<backup><duration>{int(lengths[n] * _DIV)}</duration></backup>"
                    inside += _voice(rng, lengths[n], staff, 2 * staff + voice, spice)
            if rng.random() < spice / 2:
                inside += _bar_of(rng.choice(("left", "ending", "right", "style")), rng)
            number = rng.choice(_NUMBERS) if rng.random() < spice / 3 else str(n + 1)
            implicit = ' implicit="yes"' if rng.random() < spice / 4 else ""
            made += f'<measure number="{number}"{implicit}>{inside}</measure>'
        parts += f"<part id='P{p}'>{made}</part>"
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<score-partwise version="4.0">'
        f"<work><work-title>{rng.choice(_NAMES)}</work-title></work>"
        f"<part-list>{listed}</part-list>{parts}</score-partwise>"
    ).encode()
