"""A wind band of 24 parts, music of our own: woodwinds in octaves, brass in a soli, everybody
together, and parts that go their own way."""

from __future__ import annotations

from build import part_xml, score_xml, transposed

_LINE = (
    "r/4 D5/8 E5/8 F5/4 A5/8 G5/8 E5/4 r/4 C5/8 E5/8 D5/8 C5/8 "
    "A4/4 r/8 A4/8 C5/8 D5/8 F5/8 E5/8 D5/8 C5/8 D5/4 r/2 "
    "r/8 G5/8 A5/8 G5/8 E5/4 D5/8 C5/8 A4/8 C5/8 D5/4 r/4 E5/8 F5/8 "
    "G5/4. E5/8 D5/8 C5/8 A4/4 D5/2. r/4"
)
_SOLI = (
    "r/8 D5/8 r/4 F5/4 r/8 E5/8 r/4 D5/8 C5/8 r/8 A4/8 r/4 "
    "D5/4 E5/8 F5/8 r/4 G5/4 F5/8 E5/8 D5/8 C5/8 r/2 "
    "r/8 F5/8 G5/8 F5/8 r/8 D5/8 C5/4 r/4 A4/8 C5/8 D5/8 F5/8 E5/4 "
    "D5/8 r/8 r/4 C5/4 r/4 D5/2. r/4"
)
_TUTTI = (
    "D5/4 r/8 D5/8 r/8 F5/8 E5/8 D5/8 C5/4 r/4 A4/8 C5/8 D5/4 "
    "F5/8 E5/8 r/8 D5/8 r/4 C5/8 D5/8 E5/8 C5/8 D5/4 r/2"
)
_REST = "r/1 "
_PAD = "D4/1 F4/1 E4/1 D4/1 "
_BASS = "D3/4 F3/4 A3/4 F3/4 C3/4 E3/4 G3/4 E3/4 "

#: name, written transposition (diatonic, chromatic), semitones from the line as written, what it
#: plays in the first and in the second eight bars
_BAND: tuple[tuple[str, tuple[int, int], int, str, str], ...] = (
    ("Piccolo", (7, 12), 0, "line", "rest"),
    ("Flute 1", (0, 0), 12, "line", "rest"),
    ("Flute 2", (0, 0), 12, "line", "rest"),
    ("Oboe", (0, 0), 0, "line", "rest"),
    ("Bassoon", (0, 0), -24, "line", "bass"),
    ("Clarinet 1", (-1, -2), 2, "line", "rest"),
    ("Clarinet 2", (-1, -2), 2, "line", "rest"),
    ("Clarinet 3", (-1, -2), -10, "line", "rest"),
    ("Bass Clarinet", (-8, -14), 2, "bass", "bass"),
    ("Alto Sax 1", (-5, -9), 9, "line", "pad"),
    ("Alto Sax 2", (-5, -9), 9, "pad", "pad"),
    ("Tenor Sax", (-8, -14), 2, "pad", "pad"),
    ("Baritone Sax", (-12, -21), 9, "bass", "bass"),
    ("Trumpet 1", (-1, -2), 2, "rest", "soli"),
    ("Trumpet 2", (-1, -2), -2, "rest", "soli"),
    ("Trumpet 3", (-1, -2), -5, "rest", "soli"),
    ("Horn 1", (-4, -7), 2, "pad", "soli"),
    ("Horn 2", (-4, -7), -1, "pad", "soli"),
    ("Trombone 1", (0, 0), -12, "rest", "soli"),
    ("Trombone 2", (0, 0), -16, "rest", "soli"),
    ("Bass Trombone", (0, 0), -19, "rest", "soli"),
    ("Euphonium", (0, 0), -12, "pad", "pad"),
    ("Tuba", (0, 0), -24, "bass", "bass"),
    ("String Bass", (-7, -12), 0, "bass", "bass"),
)
_EIGHT = {"line": _LINE, "soli": _SOLI, "rest": _REST * 8, "pad": _PAD * 2, "bass": _BASS * 4}


def wind_score() -> bytes:
    """The score as MusicXML: 20 bars, 24 parts."""
    parts = {}
    for name, transpose, up, first, second in _BAND:
        text = f"{_EIGHT[first]} {_EIGHT[second]} {_TUTTI}"
        parts[name] = part_xml(transposed(text, up), transpose=transpose)
    return score_xml(parts, head="<work><work-title>Harbour at First Light</work-title></work>")
