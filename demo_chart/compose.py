"""Writes the demo chart. Every line below is our own; run `python demo_chart/compose.py` to make it
again.

The music is written in concert pitch in a small shorthand: pitch, length (w h q e, "." for a dot,
"t" before the letter for a triplet), then "~" for a tie and the marks > ^ . - ( ) f(all) d(oit) c
(scoop). "r" rests.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field, replace
from pathlib import Path
from xml.sax.saxutils import escape

from sectionprep.music.pitch import SEMITONES, STEPS, Pitch, Transposition

DIV = 12
LENGTHS = {"w": 48, "h": 24, "q": 12, "e": 6, "te": 4, "h.": 36, "q.": 18, "s": 3}
TYPES = {
    48: ("whole", 0),
    36: ("half", 1),
    24: ("half", 0),
    18: ("quarter", 1),
    12: ("quarter", 0),
    6: ("eighth", 0),
    4: ("eighth", 0),
    3: ("16th", 0),
}
MARKS = {
    ">": "accent",
    "^": "strong-accent",
    ".": "staccato",
    "-": "tenuto",
    "F": "falloff",
    "D": "doit",
    "C": "scoop",
}
TOKEN = re.compile(r"(?:(r)|([A-G])(##|#|bb|b)?(\d))(te|[whqes]\.?)(~?)(.*)$")


@dataclass
class Event:
    length: int
    pitch: Pitch | None = None  # concert
    tie: bool = False
    marks: set[str] = field(default_factory=set)
    slur_start: bool = False
    slur_stop: bool = False
    triplet: bool = False
    slash: bool = False
    fermata: bool = False


def bar(text: str) -> list[Event]:
    """One bar of shorthand."""
    events = []
    for token in text.split():
        m = TOKEN.match(token)
        assert m, token
        rest, step, sign, octave, length, tie, marks = m.groups()
        pitch = (
            None
            if rest
            else Pitch(step, {"#": 1, "b": -1, "bb": -2, "##": 2, None: 0}[sign], int(octave))
        )
        events.append(
            Event(
                LENGTHS[length],
                pitch,
                bool(tie),
                {MARKS[c] for c in marks if c in MARKS},
                "(" in marks,
                ")" in marks,
                length == "te",
            )
        )
    return events


def rest_bar() -> list[Event]:
    return [Event(48)]


# ----------------------------------------------------------------------------------------------
# harmony

CHORDS = {
    "Bb6": "Bb D F G",
    "Eb6": "Eb G Bb C",
    "Ebm7": "Eb Gb Bb Db",
    "Ab7": "Ab C Eb Gb",
    "G7": "G B D F",
    "G7b9": "Ab B D F",
    "Cm7": "C Eb G Bb",
    "F7": "F A C Eb",
    "F7b9": "Gb A C Eb",
    "Dm7": "D F A C",
    "C7": "C E G Bb",
    "C9": "D E G Bb",
    "Bb7": "Bb D F Ab",
    "Gm7": "G Bb D F",
    "B7": "B D# F# A",
}
KINDS = {
    "6": "major-sixth",
    "m7": "minor-seventh",
    "7": "dominant",
    "7b9": "dominant",
    "9": "dominant-ninth",
}
ROOT = re.compile(r"([A-G]b?)(.*)")


def spelled(name: str, below: int) -> Pitch:
    """The highest pitch of this name that is at most MIDI `below`."""
    alter = name.count("#") - name.count("b")
    octave = (below - SEMITONES[name[0]] - alter) // 12 - 1
    return Pitch(name[0], alter, octave)


def voice(lead: Pitch, chord: str, style: str) -> list[Pitch]:
    """Lead and three voices under it; a note next to the lead is skipped, so nothing rubs under the
    tune."""
    names = CHORDS[chord].split()
    under: list[Pitch] = []
    floor = lead.midi - (
        2 if lead.midi % 12 not in {spelled(n, 100).midi % 12 for n in names} else 1
    )
    skip = True
    while len(under) < 3:
        best = max((spelled(n, floor) for n in names), key=lambda p: p.midi)
        if not (skip and lead.midi - best.midi < 2) and best.midi % 12 != lead.midi % 12:
            under.append(best)
        floor = best.midi - 1
        skip = False
    if style == "drop2":
        second = under.pop(0)
        under.append(replace_octave(second, -1))
    return [lead, *under]


def replace_octave(pitch: Pitch, octaves: int) -> Pitch:
    return Pitch(pitch.step, pitch.alter, pitch.octave + octaves)


def chord_at(index: int, position: int) -> str:
    names = HARMONY[index].split()
    return names[min(len(names) - 1, position * len(names) // 48)]


A_CHANGES = ["Bb6", "G7b9", "Cm7", "F7b9", "Dm7 G7b9", "Cm7 F7b9"]
BRIDGE = ["Eb6", "Ebm7 Ab7", "Bb6", "G7", "C7", "C7", "F7", "F7b9"]
HARMONY = (
    ["F7"]
    + ["Bb6", "Bb6", "Bb6", "F7", "Bb6", "Bb6", "Bb6 G7", "Cm7 F7"]  # 0-8
    + A_CHANGES
    + ["Bb6 G7", "Cm7 F7"]
    + ["Bb6", "Bb6 Bb7"]  # 9-18
    + BRIDGE
    + A_CHANGES
    + ["Bb6", "Cm7 F7"]  # 19-34
    + ["Bb6", "G7", "Cm7", "F7", "Dm7", "G7", "Cm7 F7", "Bb6 F7"] * 2  # 35-50
    + ["Bb6", "G7b9", "Cm7", "F7", "Dm7 G7b9", "Cm7 F7b9", "Bb6", "Cm7 F7"]  # 51-58
    + ["Bb6", "G7b9", "Cm7", "F7", "Bb6", "G7b9", "Cm7 F7", "Bb6 Bb7"]  # 59-66
    + ["Eb6", "Ebm7 Ab7", "Bb6", "G7", "C7", "F7", "Bb6", "F7"]  # 67-74
    + ["Bb6", "G7", "Cm7", "F7b9", "Dm7 G7b9", "Cm7 F7b9", "Bb6", "Bb7"]  # 75-82
    + [
        "Dm7 G7b9",
        "Cm7 F7b9",
        "Dm7 G7b9",
        "Cm7 F7b9",
        "Dm7 G7b9",
        "Cm7",
        "F7",
        "Bb6",
        "Bb6",
        "Bb6",
        "F7",
        "Bb6",
    ]  # 83-94
)
LAST = 94

# ------------------------------------------------------------------------------------------------
# lines

RIFF = {
    0: "F4e G4e",
    1: "Bb4e> G4e F4e D4e~> D4q rq",
    2: "re F4e G4e Bb4e> rq Db5e C5e",
    3: "Bb4e> G4e F4e D4e~> D4q rq",
    4: "re D4e Eb4e E4e F4q^ rq",
    5: "Bb4e G4e F4e D4e~ D4q rq",
    6: "re F4e G4e Bb4e rq Db5e C5e",
    7: "Bb4e G4e F4e Ab4e~> Ab4q G4q-",
    8: "Gb4q.> F4e rq F4e G4e",
}
HEAD = {
    9: "Bb4q A4e F4e re D4e F4e G4e",
    10: "Ab4e> F4e D4e B3e rq re G4e~",
    11: "G4e Eb4e G4e Bb4e D5te C5te Bb4te G4q",
    12: "A4e C5e Eb5e C5e A4e F4e Gb4e re",
    13: "F4q. D5e~ D5q B4e Ab4e",
    14: "G4e Bb4e Eb5e D5e C5e A4e Gb4e Eb4e",
    15: "D4e F4e Bb4q rq re Db5e",
    16: "C5e A4e Gb4e Eb4e rq F4e G4e",
    17: "D4e F4e G4e Bb4e~ Bb4h",
}
HEAD_LAST = {
    27: HEAD[9],
    28: HEAD[10],
    29: HEAD[11],
    30: HEAD[12],
    31: HEAD[13],
    32: HEAD[14],
    33: "D4e F4e Bb4q^ rh",
}
SOLI = {
    18: "Bb4q^ rq re A4e Bb4e C5e",
    19: "D5e G5e> F5e D5e Bb4q C5e Db5e~",
    20: "Db5e Bb4e Gb5e> F5e Eb5te( F5te Eb5te) C5q",
    21: "D5q^ re F5e G5e> F5e D5e Bb4e",
    22: "Ab5e> F5e D5e B4e re F5e~> F5q",
    23: "E5e G5e Ab5e> G5e E5e C5e Bb4e G4e",
    24: "A4q. E5e~> E5e D5e C5e re",
    25: "Eb5q^ re C5e Eb5e G5e> F5e D5e",
    26: "Gb5e> Eb5e C5e A4e F4q- rq",
}
LATE = {
    75: "rq D5e C5e Bb4e G4e F4e D4e",
    76: "F4e Ab4e B4e D5e~> D5q rq",
    77: "re C5e Bb4e G4e Eb4e G4e Bb4e D5e",
    78: "C5q. A4e~ A4e F4e Gb4e re",
    79: "F4e A4e D5e> C5e B4e G4e Ab4e F4e",
    80: "Eb4te G4te Bb4te D5q> C5e A4e Gb4q",
    81: "F4q. D4e~ D4h",
}
SEND_OFF = {82: "rh re A4e Bb4e C5e"}
TAG = {
    83: HEAD[13],
    84: HEAD[14],
    85: "F4q. D5e~ D5q B4e Ab4e",
    86: "G4e Bb4e Eb5e D5e C5e A4e Gb4e Eb4e",
    87: "F4q. D5e~ D5q Db5e Bb4e",
}
FINISH = {
    90: "Bb4e G4e F4e D4e~ D4q rq",
    91: "re F4e G4e Bb4e rq Db5e C5e",
    92: "Bb4e G4e F4e D4e~ D4q rq",
}
BACKGROUND = {
    43: "re D4e F4e G4e~ G4h",
    44: "re F4e G4e F4e~ F4h",
    45: "re Eb4e G4e Bb4e~ Bb4h",
    46: "A4q. G4e~ G4q rq",
    47: "re D4e F4e A4e~ A4h",
    48: "re F4e Ab4e G4e~ G4h",
    49: "rq Eb4e G4e Bb4q A4q",
    50: "Bb4q^ rq rh",
}
BONE_SOLI = {
    51: "re F4e D4e F4e G4q F4e D4e",
    52: "F4e B3e rq D4e F4e Ab4q",
    53: "G4q. Eb4e~ Eb4e C4e D4e Eb4e",
    54: "F4e A4e> re G4e~> G4e F4e Eb4e C4e",
    55: "D4q F4e G4e~ G4q Ab4e F4e",
    56: "Eb4te( F4te G4te) Bb4q> A4e G4e Gb4q",
    57: "F4h. rq",
    58: "re D4e Eb4e E4e F4q^ rq",
}
SHOUT = {
    59: "re Bb5e^ re Bb5e~> Bb5q G5e F5e",
    60: "Ab5q> re F5e~> F5h",
    61: "re G5e Bb5e C6e~> C6e Bb5e G5q^",
    62: "rq A5e C6e~> C6hF",
    63: "re D5e F5e G5e Bb5q^ rq",
    64: "rq. Ab5e~> Ab5e F5e D5q^",
    65: "Eb5te( F5te G5te) Bb5q.> A5e G5q-",
    66: "F5q^ rq rh",
    67: "re G5e Bb5e> G5e~ G5q rq",
    68: "re Gb5e Bb5e> Gb5e~ Gb5q rq",
    69: "F5q- G5q- Bb5q. B5e~>",
    70: "B5h. rq",
    71: "re G5e^ re A5e^ re Bb5e^ re C6e~>",
    72: "C6q. A5e~ A5q rq",
    73: "re Bb5e^ rq re G5e^ rq",
    74: "rh rq F5q>D",
}
SAX_FILL = {66: "rq F4e G4e Ab4e F4e D4e B3e"}
PUNCHES = {
    2: "rq. G5e~> G5q rq",
    4: "rh re F5e^ re G5e~",
    5: "G5q. re rh",
    6: "rq. G5e~ G5q rq",
    8: "rh F5q^ rq",
    10: "rh rq D5q",
    12: "rh re C5e re Eb5e~",
    13: "Eb5q rq rh",
    16: "re Eb5e^ rq rh",
    18: "F5q^ rq rh",
    28: "rh rq D5q",
    30: "rh re C5e re Eb5e~",
    31: "Eb5q rq rh",
    33: "rq re F5e~> F5q rq",
    34: "rq F5q^ re Eb5e^ rq",
    88: "Eb5h. re Eb5e~",
    89: "Eb5h. rq",
    92: "rh re F5e^ re G5e~",
    93: "G5q rq rq A5q>",
    94: "Bb5w",
}
PADS = {
    35: "D4w",
    36: "F4w",
    37: "Eb4w",
    38: "C4h Eb4h",
    39: "F4w",
    40: "F4w",
    41: "Eb4h C4h",
    42: "D4h C4h",
}
TRUMPET_HITS = {44: "rh rq D5q", 46: "rh re C5e re D5e~", 47: "D5q rq rh", 50: "F5q^ rq rh"}

NAMES = [
    ("Alto Sax 1", "A. Sx. 1", "wind.reed.saxophone.alto", 66, (-5, -9), 3, "G2"),
    ("Alto Sax 2", "A. Sx. 2", "wind.reed.saxophone.alto", 66, (-5, -9), 3, "G2"),
    ("Tenor Sax 1", "T. Sx. 1", "wind.reed.saxophone.tenor", 67, (-8, -14), 2, "G2"),
    ("Tenor Sax 2", "T. Sx. 2", "wind.reed.saxophone.tenor", 67, (-8, -14), 2, "G2"),
    ("Baritone Sax", "B. Sx.", "wind.reed.saxophone.baritone", 68, (-12, -21), 3, "G2"),
    ("Trumpet 1", "Tpt. 1", "brass.trumpet.bflat", 57, (-1, -2), 2, "G2"),
    ("Trumpet 2", "Tpt. 2", "brass.trumpet.bflat", 57, (-1, -2), 2, "G2"),
    ("Trumpet 3", "Tpt. 3", "brass.trumpet.bflat", 57, (-1, -2), 2, "G2"),
    ("Trumpet 4", "Tpt. 4", "brass.trumpet.bflat", 57, (-1, -2), 2, "G2"),
    ("Trombone 1", "Tbn. 1", "brass.trombone.tenor", 58, (0, 0), 0, "F4"),
    ("Trombone 2", "Tbn. 2", "brass.trombone.tenor", 58, (0, 0), 0, "F4"),
    ("Trombone 3", "Tbn. 3", "brass.trombone.tenor", 58, (0, 0), 0, "F4"),
    ("Bass Trombone", "B. Tbn.", "brass.trombone.bass", 58, (0, 0), 0, "F4"),
    ("Guitar", "Gtr.", "pluck.guitar.electric", 27, (-7, -12), 0, "G2"),
    ("Piano", "Pno.", "keyboard.piano", 1, (0, 0), 0, "G2"),
    ("Bass", "Bs.", "strings.contrabass", 33, (-7, -12), 0, "F4"),
    ("Drums", "Dr.", "drum.group.set", None, (0, 0), 0, "percussion"),
]
CONCERT_FIFTHS = -2


# ------------------------------------------------------------------------------------- who plays
# what


def copy_line(
    line: dict[int, list[Event]], octaves: int = 0, marks: bool = True
) -> dict[int, list[Event]]:
    return {
        n: [
            replace(
                e,
                pitch=replace_octave(e.pitch, octaves) if e.pitch else None,
                marks=set(e.marks) if marks else set(),
                slur_start=e.slur_start and marks,
                slur_stop=e.slur_stop and marks,
            )
            for e in events
        ]
        for n, events in line.items()
    }


def parse(line: dict[int, str]) -> dict[int, list[Event]]:
    return {n: bar(text) for n, text in line.items()}


def harmonise(
    line: dict[int, list[Event]], style: object, marks: bool
) -> list[dict[int, list[Event]]]:
    """Three voices under a lead; a note tied from the bar before keeps its chord."""
    voices: list[dict[int, list[Event]]] = [{}, {}, {}]
    held: list[Pitch] | None = None
    for n in sorted(line):
        position = 0
        for v in voices:
            v[n] = []
        for e in line[n]:
            if e.pitch is None:
                chord: list[Pitch | None] = [None] * 4
            elif held is not None:
                chord = list(held)
            else:
                shape = style(e.pitch) if callable(style) else style
                chord = list(voice(e.pitch, chord_at(n, position), shape))
            held = chord if e.tie else None  # type: ignore[assignment]
            for v, pitch in zip(voices, chord[1:], strict=True):
                v[n].append(
                    replace(
                        e,
                        pitch=pitch,
                        marks=set(e.marks) if marks else set(),
                        slur_start=e.slur_start and marks,
                        slur_stop=e.slur_stop and marks,
                    )
                )
            position += e.length
    return voices


def high_drops(pitch: Pitch) -> str:
    return "drop2" if pitch.midi >= 75 else "close"


def bass_of(line: dict[int, list[Event]], low: int) -> dict[int, list[Event]]:
    """The chord's root in the rhythm of a line, near MIDI `low`."""
    out: dict[int, list[Event]] = {}
    held: Pitch | None = None
    for n in sorted(line):
        position, out[n] = 0, []
        for e in line[n]:
            pitch = (
                held
                if held is not None
                else spelled(ROOT.match(chord_at(n, position))[1], low + 11)
            )  # type: ignore[index]
            out[n].append(
                replace(
                    e,
                    pitch=pitch if e.pitch else None,
                    marks=set(),
                    slur_start=False,
                    slur_stop=False,
                )
            )
            held = pitch if e.tie else None
            position += e.length
    return out


def walking() -> dict[int, list[Event]]:
    """Roots on the chord changes, thirds and fifths between, and a half step into the next root."""
    out: dict[int, list[Event]] = {}
    for n in range(1, LAST + 1):
        names = HARMONY[n].split()
        following = HARMONY[min(n + 1, LAST)].split()[0]
        target = spelled(ROOT.match(following)[1], 50)  # type: ignore[index]
        tones = [root_tones(c) for c in names]
        if len(names) == 1:
            a = tones[0]
            events = [a[0], a[1], a[2], approach(target, n)]
        else:
            events = [tones[0][0], tones[0][2], tones[1][0], approach(target, n)]
        out[n] = [Event(12, p) for p in events]
    out[LAST] = [Event(48, spelled("Bb", 46), fermata=True)]
    return out


def root_tones(chord: str) -> list[Pitch]:
    root = spelled(ROOT.match(chord)[1], 50)  # type: ignore[index]
    names = CHORDS[chord].split()
    low = [spelled(n, root.midi + 11) for n in names if spelled(n, 60).midi % 12 != root.midi % 12]
    low.sort(key=lambda p: p.midi)
    return [root, low[0], low[1]]


def approach(target: Pitch, n: int) -> Pitch:
    place = target.diatonic + (1 if n % 2 else -1)
    octave, index = divmod(place, 7)
    wanted = target.midi + (1 if n % 2 else -1)
    return Pitch(STEPS[index], wanted - 12 * (octave + 1) - SEMITONES[STEPS[index]], octave)


def build() -> list[dict[int, list[Event]]]:
    parts: list[dict[int, list[Event]]] = [{} for _ in NAMES]

    def put(index: int, line: dict[int, list[Event]]) -> None:
        for n, events in line.items():
            assert n not in parts[index] or all(e.pitch is None for e in parts[index][n]), (
                NAMES[index][0],
                n,
            )
            parts[index][n] = events

    def unison(text: dict[int, str], who: list[tuple[int, int]], marked: set[int]) -> None:
        line = parse(text)
        for index, octave in who:
            put(index, copy_line(line, octave, index in marked))

    saxes = [(0, 0), (1, 0), (2, 0), (3, 0), (4, -1)]
    unison(RIFF, saxes, {0, 2})
    unison(HEAD, saxes, {0})
    unison(HEAD_LAST, saxes, {0, 1})
    for text, doubled, marked in ((SOLI, range(18, 27), True), (SEND_OFF, (82,), False)):
        line = parse(text)
        voices = harmonise(line, high_drops, marked)
        put(0, line)
        for index, v in zip((1, 2, 3), voices, strict=True):
            put(index, v)
        put(4, {n: e for n, e in copy_line(line, -2, False).items() if n in doubled})
    unison(LATE, [*saxes, (10, -1)], {0})
    unison(TAG, saxes, {0})
    unison(FINISH, saxes, {0})
    unison(BACKGROUND, [(0, 0), (1, 0), (3, 0), (4, -1)], set())
    unison(SAX_FILL, saxes, set())

    def brass(text: dict[int, str], marked: bool, bones: bool = True) -> None:
        line = parse(text)
        for index, v in zip((5, 6, 7, 8), [line, *harmonise(line, "close", marked)], strict=True):
            put(index, v)
        if bones:
            low = copy_line(line, -1, marked)
            for index, v in zip(
                (9, 10, 11), [low, *harmonise(low, "close", marked)[:2]], strict=True
            ):
                put(index, v)
            put(12, bass_of(line, 34))

    brass(PUNCHES, marked=False)
    brass(TRUMPET_HITS, marked=False, bones=False)
    brass(SHOUT, marked=True)
    pads = parse(PADS)
    for index, v in zip((9, 10, 11), [pads, *harmonise(pads, "close", False)[:2]], strict=True):
        put(index, v)
    put(12, bass_of(pads, 38))
    soli = parse(BONE_SOLI)
    for index, v in zip((9, 10, 11, 12), [soli, *harmonise(soli, "drop2", False)], strict=True):
        put(index, v)
    shout = {n: e for n, e in parse(SHOUT).items() if n not in SAX_FILL}
    low = copy_line(shout, -1, True)
    for index, v in zip((0, 1, 2, 3), [low, *harmonise(low, "close", False)], strict=True):
        put(index, v)
    put(4, copy_line(low, -1, False))
    for group in ((88, 89), (93, 94)):  # the saxes join the last chords
        chord = {n: parse(PUNCHES)[n] for n in group}
        low = copy_line(chord, -1, False)
        for index, v in zip((0, 1, 2, 3), [low, *harmonise(low, "close", False)], strict=True):
            put(index, v)
        put(4, bass_of(chord, 40))
    for part in parts[:13]:
        for e in part[LAST]:
            e.fermata = True
    put(15, walking())
    for index in (13, 14, 16):
        put(
            index,
            {
                n: [Event(12, Pitch("B", 0, 4), slash=True) for _ in range(4)]
                for n in range(1, LAST)
            },
        )
        parts[index][LAST] = [Event(48, Pitch("B", 0, 4), slash=True, fermata=True)]
    parts[2].update(
        {n: [Event(12, Pitch("B", 0, 4), slash=True) for _ in range(4)] for n in range(35, 51)}
    )
    return parts


# ------------------------------------------------------------------------------------- planted
# faults


@dataclass(frozen=True)
class Fault:
    """Something wrong on purpose; beat counted from 1."""

    kind: str
    part: str
    bar: int
    beat: float
    says: str


def at(
    parts: list[dict[int, list[Event]]], part: str, n: int, beat: float
) -> tuple[list[Event], int]:
    index = next(i for i, row in enumerate(NAMES) if row[0] == part)
    position = 0
    for k, e in enumerate(parts[index][n]):
        if abs(position / 12 + 1 - beat) < 1e-6:
            return parts[index][n], k
        position += e.length
    raise AssertionError((part, n, beat))


def plant(parts: list[dict[int, list[Event]]]) -> list[Fault]:
    """Damage the clean chart in the ways real charts are damaged."""
    faults: list[Fault] = []

    def note(kind: str, part: str, n: int, beat: float, says: str) -> tuple[list[Event], int]:
        faults.append(Fault(kind, part, n, beat, says))
        return at(parts, part, n, beat)

    events, k = note(
        "wrong note", "Tenor Sax 2", 12, 2.0, "E natural (concert) where the unison has Eb"
    )
    events[k].pitch = Pitch("E", 0, 5)
    events, k = note("missing mark", "Tenor Sax 1", 1, 1.0, "no accent where Alto Sax 1 has one")
    events[k].marks.clear()
    events, k = note(
        "contradicting mark", "Alto Sax 2", 19, 1.5, "staccato where Alto Sax 1 has an accent"
    )
    events[k].marks = {"staccato"}
    events, k = note(
        "contradicting mark", "Trumpet 3", 61, 4.0, "tenuto where Trumpet 1 has a rooftop accent"
    )
    events[k].marks = {"tenuto"}
    events, k = note(
        "short note", "Trumpet 2", 60, 1.0, "an eighth and a rest where Trumpet 1 has a quarter"
    )
    events[k : k + 1] = [replace(events[k], length=6), Event(6)]
    events, k = note(
        "early cut-off",
        "Tenor Sax 2",
        17,
        2.5,
        "stops on beat 3and; the others hold to the bar line",
    )
    events[k + 1] = replace(events[k + 1], length=12)
    events.append(Event(12))
    events, k = note(
        "slur stops early",
        "Tenor Sax 1",
        20,
        3.0 + 1 / 3,
        "slur ends on the second triplet note, the lead's on the third",
    )
    events[k].slur_stop = True
    events[k + 1].slur_stop = False
    events, k = note("extra mark", "Trumpet 4", 63, 2.0, "accent nobody else has")
    events[k].marks.add("accent")
    faults.append(Fault("missing dynamic", "Trombone 2", 51, 1.5, "no mf where Trombone 1 has one"))
    faults.append(Fault("missing dynamic", "Alto Sax 2", 18, 3.5, "no mf where Alto Sax 1 has one"))
    return faults


# ---------------------------------------------------------------------------------------------
# writing

REHEARSAL = {
    1: "Intro",
    9: "A",
    19: "B",
    27: "C",
    35: "D",
    43: "E",
    51: "F",
    59: "G",
    67: "H",
    75: "I",
    83: "J",
}
SAXES, TRUMPETS, BONES, RHYTHM = range(5), range(5, 9), range(9, 13), range(13, 17)
DYNAMICS = [  # bar, beat, sign, parts
    (0, 1.0, "mf", SAXES),
    (2, 2.5, "f", [*TRUMPETS, *BONES]),
    (9, 1.0, "mf", SAXES),
    (10, 4.0, "f", [*TRUMPETS, *BONES]),
    (18, 3.5, "mf", [0, 2, 3, 4]),
    (27, 1.0, "mf", SAXES),
    (35, 1.0, "p", BONES),
    (43, 1.5, "mp", [0, 1, 3, 4]),
    (51, 1.5, "mf", [9, 11, 12]),
    (59, 1.5, "ff", [*SAXES, *TRUMPETS, *BONES]),
    (75, 2.0, "mf", [*SAXES, 10]),
    (83, 1.0, "mf", SAXES),
    (94, 1.0, "ff", [*SAXES, *TRUMPETS, *BONES]),
    (1, 1.0, "mf", RHYTHM),
    (59, 1.0, "f", RHYTHM),
]
WEDGES = [
    (25, 3.0, "crescendo", 26, 1.0, SAXES),
    (57, 1.0, "diminuendo", 57, 4.0, BONES),
    (71, 1.5, "crescendo", 72, 1.0, [*TRUMPETS, *BONES]),
]
WORDS = {35: (2, "Solo - open; backgrounds from E, last time only")}


class Sheet:
    """Writes one part."""

    def __init__(self, index: int, music: dict[int, list[Event]]) -> None:
        self.index, self.music = index, music
        self.transposition = Transposition(*NAMES[index][4])
        self.fifths = CONCERT_FIFTHS + NAMES[index][5]
        self.out: list[str] = []
        self.slur = 0

    def add(self, indent: int, text: str) -> None:
        self.out.append("  " * indent + text)

    def write(self) -> list[str]:
        self.add(1, f'<part id="P{self.index + 1}">')
        for n in range(LAST + 1):
            implicit = ' implicit="yes"' if n == 0 else ""
            self.add(2, f'<measure number="{n}"{implicit}>')
            self.measure(n)
            self.add(2, "</measure>")
        self.add(1, "</part>")
        return self.out

    def measure(self, n: int) -> None:
        if n == 0:
            self.attributes()
        self.left_barline(n)
        self.signs(n)
        events = self.music.get(n) or [Event(12 if n == 0 else 48)]
        position = 0
        beams = beam_marks(events)
        state: dict[tuple[str, int], float] = {}
        chords = self.chord_places(n)
        for k, e in enumerate(events):
            for place in [p for p in chords if position <= p < position + e.length]:
                self.harmony(chords[place], place - position)
            self.directions(n, position)
            previous = events[k - 1] if k else (self.music.get(n - 1) or [Event(1)])[-1]
            self.note(
                e,
                events,
                k,
                beams[k],
                state,
                previous,
                whole_bar=len(events) == 1 and e.pitch is None,
            )
            position += e.length
        self.directions(n, position)
        self.right_barline(n)

    def attributes(self) -> None:
        _name, _short, _sound, _program, transpose, _fifths, clef = NAMES[self.index]
        self.add(3, "<attributes>")
        self.add(4, f"<divisions>{DIV}</divisions>")
        self.add(4, f"<key><fifths>{0 if self.index == 16 else self.fifths}</fifths></key>")
        self.add(4, "<time><beats>4</beats><beat-type>4</beat-type></time>")
        if clef == "percussion":
            self.add(4, "<clef><sign>percussion</sign></clef>")
        else:
            self.add(4, f"<clef><sign>{clef[0]}</sign><line>{clef[1]}</line></clef>")
        if transpose != (0, 0):
            octave = -1 if abs(transpose[1]) >= 12 else 0
            diatonic, chromatic = transpose[0] - 7 * octave, transpose[1] - 12 * octave
            change = f"<octave-change>{octave}</octave-change>" if octave else ""
            self.add(
                4,
                f"<transpose><diatonic>{diatonic}</diatonic>"
                f"<chromatic>{chromatic}</chromatic>{change}</transpose>",
            )
        self.add(3, "</attributes>")

    def left_barline(self, n: int) -> None:
        inside = ""
        if n in (9, 35):
            inside = '<repeat direction="forward"/>'
        if n == 15:
            inside = '<ending number="1" type="start"/>'
        if n == 17:
            inside = '<ending number="2" type="start"/>'
        if inside:
            self.add(3, f'<barline location="left">{inside}</barline>')

    def right_barline(self, n: int) -> None:
        inside = ""
        if n in (16, 50):
            inside = (
                "<bar-style>light-heavy</bar-style>"
                + ('<ending number="1" type="stop"/>' if n == 16 else "")
                + '<repeat direction="backward"/>'
            )
        elif n == 18:
            inside = '<ending number="2" type="discontinue"/>'
        elif n == LAST:
            inside = "<bar-style>light-heavy</bar-style>"
        elif n + 1 in REHEARSAL and n:
            inside = "<bar-style>light-light</bar-style>"
        if inside:
            self.add(3, f'<barline location="right">{inside}</barline>')

    def signs(self, n: int) -> None:
        if n == 0:
            self.add(
                3,
                '<direction placement="above"><direction-type><words font-weight="bold">Medium '
                "swing</words>"
                "</direction-type><direction-type><metronome><beat-unit>quarter</beat-unit>"
                "<per-minute>152"
                "</per-minute></metronome></direction-type><sound "
                'tempo="152"><swing><first>3</first>'
                "<second>2</second></swing></sound></direction>",
            )
        if n in REHEARSAL:
            self.add(
                3,
                f"<direction "
                f'placement="above"><direction-type><rehearsal>{REHEARSAL[n]}</rehearsal>'
                "</direction-type></direction>",
            )
        if n == 19:
            self.add(
                3,
                "<direction "
                'placement="above"><direction-type><segno/></direction-type></direction>',
            )
        if n == 83:
            self.add(
                3,
                '<direction placement="above"><direction-type><coda/></direction-type></direction>',
            )
        if n in WORDS and WORDS[n][0] == self.index:
            self.add(
                3,
                f'<direction placement="above"><direction-type><words>{escape(WORDS[n][1])}</words>'
                "</direction-type></direction>",
            )
        if n == 44 and self.index in TRUMPETS:
            self.add(
                3,
                '<direction placement="above"><direction-type><words>cup '
                "mute</words></direction-type></direction>",
            )
        if n == 51 and self.index in TRUMPETS:
            self.add(
                3,
                "<direction "
                'placement="above"><direction-type><words>open</words></direction-type>'
                "</direction>",
            )

    def directions(self, n: int, position: int) -> None:
        beat = position / 12 + 1
        for bar_number, b, sign, who in DYNAMICS:
            if bar_number == n and abs(b - beat) < 1e-6 and self.index in who:
                self.add(
                    3,
                    f'<direction placement="below"><direction-type><dynamics><{sign}/></dynamics>'
                    "</direction-type></direction>",
                )
        for n1, b1, kind, n2, b2, who in WEDGES:
            if self.index in who:
                for at_bar, at_beat, value in ((n1, b1, kind), (n2, b2, "stop")):
                    if at_bar == n and abs(at_beat - beat) < 1e-6:
                        self.add(
                            3,
                            f'<direction placement="below"><direction-type><wedge type="{value}"/>'
                            "</direction-type></direction>",
                        )
        if position >= 48 and n == 32:
            self.add(
                3,
                '<direction placement="above"><direction-type><words>To '
                "Coda</words></direction-type>"
                '<sound tocoda="coda"/></direction>',
            )
        if position >= 48 and n == 82:
            self.add(
                3,
                '<direction placement="above"><direction-type><words>D.S. al '
                "Coda</words></direction-type>"
                '<sound dalsegno="segno"/></direction>',
            )

    def chord_places(self, n: int) -> dict[int, str]:
        if n == 0 or not (self.index in (13, 14, 15) or (self.index == 2 and 35 <= n <= 50)):
            return {}
        names = HARMONY[n].split()
        return {k * 48 // len(names): name for k, name in enumerate(names)}

    def harmony(self, name: str, offset: int) -> None:
        m = ROOT.match(name)
        assert m
        root = self.transposition.written_pitch(Pitch(m[1][0], -m[1].count("b"), 4))
        if self.index in (13, 15):
            root = Pitch(m[1][0], -m[1].count("b"), 4)
        alter = f"<root-alter>{root.alter:g}</root-alter>" if root.alter else ""
        degree = (
            "<degree><degree-value>9</degree-value><degree-alter>-1</degree-alter>"
            "<degree-type>add</degree-type></degree>"
            if name.endswith("b9")
            else ""
        )
        shift = f"<offset>{offset}</offset>" if offset else ""
        self.add(
            3,
            f"<harmony><root><root-step>{root.step}</root-step>{alter}</root>"
            f"<kind>{KINDS[m[2]]}</kind>"
            f"{degree}{shift}</harmony>",
        )

    def note(
        self,
        e: Event,
        events: list[Event],
        k: int,
        beam: str,
        state: dict[tuple[str, int], float],
        previous: Event,
        whole_bar: bool,
    ) -> None:
        self.add(3, "<note>")
        if e.pitch is None:
            self.add(4, '<rest measure="yes"/>' if whole_bar else "<rest/>")
            self.add(4, f"<duration>{e.length}</duration>")
            self.add(4, "<voice>1</voice>")
            if not whole_bar:
                self.type_of(e)
            self.add(3, "</note>")
            return
        stop = previous.tie and previous.pitch is not None
        accidental = self.pitch(e, state, stop)
        self.add(4, f"<duration>{e.length}</duration>")
        if stop:
            self.add(4, '<tie type="stop"/>')
        if e.tie:
            self.add(4, '<tie type="start"/>')
        self.add(4, "<voice>1</voice>")
        self.type_of(e, accidental)
        if e.slash:
            self.add(4, "<stem>none</stem>")
            self.add(4, "<notehead>slash</notehead>")
        if beam:
            self.add(4, f'<beam number="1">{beam}</beam>')
        self.notations(e, events, k, stop)
        self.add(3, "</note>")

    def pitch(self, e: Event, state: dict[tuple[str, int], float], stop: bool) -> str:
        assert e.pitch
        if e.slash:
            if self.index == 16:
                self.add(
                    4,
                    "<unpitched><display-step>B</display-step><display-octave>4"
                    "</display-octave></unpitched>",
                )
            else:
                self.add(4, "<pitch><step>B</step><octave>4</octave></pitch>")
            return ""
        written = self.transposition.written_pitch(e.pitch)
        written = simple(written)
        alter = f"<alter>{written.alter:g}</alter>" if written.alter else ""
        self.add(
            4, f"<pitch><step>{written.step}</step>{alter}<octave>{written.octave}</octave></pitch>"
        )
        key = (written.step, written.octave)
        current = state.get(key, key_alter(self.fifths, written.step))
        state[key] = written.alter
        if current == written.alter or stop:
            return ""
        return {0: "natural", 1: "sharp", -1: "flat", 2: "double-sharp", -2: "flat-flat"}[
            int(written.alter)
        ]

    def type_of(self, e: Event, accidental: str = "") -> None:
        name, dots = TYPES[e.length]
        self.add(4, f"<type>{name}</type>" + "<dot/>" * dots)
        if accidental:
            self.add(4, f"<accidental>{accidental}</accidental>")
        if e.triplet:
            self.add(
                4,
                "<time-modification><actual-notes>3</actual-notes><normal-notes>2"
                "</normal-notes></time-modification>",
            )

    def notations(self, e: Event, events: list[Event], k: int, stop: bool) -> None:
        inside: list[str] = []
        if stop:
            inside.append('<tied type="stop"/>')
        if e.tie:
            inside.append('<tied type="start"/>')
        if e.slur_stop:
            inside.append('<slur type="stop" number="1"/>')
        if e.slur_start:
            inside.append('<slur type="start" number="1"/>')
        if e.triplet:
            run = 0
            while run < k and events[k - run - 1].triplet:
                run += 1
            if run % 3 == 0:
                inside.append('<tuplet type="start" bracket="no"/>')
            if run % 3 == 2:
                inside.append('<tuplet type="stop"/>')
        if e.marks:
            inside.append(
                "<articulations>" + "".join(f"<{m}/>" for m in sorted(e.marks)) + "</articulations>"
            )
        if e.fermata:
            inside.append("<fermata/>")
        if inside:
            self.add(4, "<notations>" + "".join(inside) + "</notations>")


def simple(pitch: Pitch) -> Pitch:
    """No double flats or sharps, no Cb, Fb, B# or E#: players read the plain name."""
    if pitch.alter in (2, -2) or (pitch.step, pitch.alter) in (
        ("C", -1),
        ("F", -1),
        ("B", 1),
        ("E", 1),
    ):
        place = pitch.diatonic + (1 if pitch.alter > 0 else -1)
        octave, index = divmod(place, 7)
        return Pitch(STEPS[index], pitch.midi - 12 * (octave + 1) - SEMITONES[STEPS[index]], octave)
    return pitch


def key_alter(fifths: int, step: str) -> float:
    if fifths > 0:
        return 1 if step in "FCGDAEB"[:fifths] else 0
    return -1 if step in "BEADGCF"[:-fifths] else 0


def beam_marks(events: list[Event]) -> list[str]:
    """Eighths are beamed inside each half bar; triplets inside their beat."""
    marks = [""] * len(events)
    position, runs, run = 0, [], []
    previous = None
    for k, e in enumerate(events):
        group = ("t", position // 12) if e.triplet else ("e", position // 24)
        if (
            e.length in (4, 6)
            and e.pitch is not None
            and not e.slash
            and (not run or group == previous)
        ):
            run.append(k)
        else:
            runs.append(run)
            run = [k] if e.length in (4, 6) and e.pitch is not None and not e.slash else []
        previous = group
        position += e.length
    for group_of in [*runs, run]:
        if len(group_of) > 1:
            marks[group_of[0]], marks[group_of[-1]] = "begin", "end"
            for k in group_of[1:-1]:
                marks[k] = "continue"
    return marks


def part_list() -> list[str]:
    out = ["  <part-list>"]
    for n, (name, short, sound, program, *_rest) in enumerate(NAMES, start=1):
        midi = (
            f"<midi-instrument "
            f'id="P{n}-I1"><midi-program>{program}</midi-program></midi-instrument>'
            if program
            else ""
        )
        out += [
            f'    <score-part id="P{n}">',
            f"      <part-name>{name}</part-name>",
            f"      <part-abbreviation>{short}</part-abbreviation>",
            f'      <score-instrument id="P{n}-I1"><instrument-name>{name}</instrument-name>'
            f"<instrument-sound>{sound}</instrument-sound></score-instrument>",
        ]
        if midi:
            out.append(f"      {midi}")
        out.append("    </score-part>")
    return [*out, "  </part-list>"]


def check_bars(parts: list[dict[int, list[Event]]]) -> None:
    for (name, *_), part in zip(NAMES, parts, strict=True):
        for n, events in part.items():
            assert sum(e.length for e in events) == (12 if n == 0 else 48), (name, n)


def compose() -> tuple[str, list[Fault]]:
    parts = build()
    faults = plant(parts)
    check_bars(parts)
    head = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<score-partwise version="4.0">',
        "  <work><work-title>Late Tram Home</work-title></work>",
        "  <identification>",
        '    <creator type="composer">Millrace Lane Workshop</creator>',
        '    <creator type="arranger">arr. Millrace Lane Workshop</creator>',
        "    <rights>May be copied, played and changed freely.</rights>",
        "  </identification>",
    ]
    body = [line for n, part in enumerate(parts) for line in Sheet(n, part).write()]
    return "\n".join([*head, *part_list(), *body, "</score-partwise>"]) + "\n", faults


if __name__ == "__main__":
    text, planted = compose()
    Path(__file__).with_name("late_tram_home.musicxml").write_text(text, encoding="utf-8")
    for fault in planted:
        print(f"| {fault.kind} | {fault.part} | {fault.bar} | {fault.beat:.2f} | {fault.says} |")
