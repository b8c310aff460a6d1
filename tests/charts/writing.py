"""A composed chart as MusicXML 4.0."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple
from xml.sax.saxutils import escape

from charts.band import Instrument
from charts.composer import Chart
from charts.vocabulary import CHORDS, Event, Q

TYPES = {
    96: ("whole", 0),
    72: ("half", 1),
    48: ("half", 0),
    36: ("quarter", 1),
    24: ("quarter", 0),
    18: ("eighth", 1),
    12: ("eighth", 0),
    6: ("16th", 0),
}
SIGNS = {-2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp"}


class Piece(NamedTuple):
    """A written note, chord or rest: one symbol, inside one bar (start in ticks from the bar
    line)."""

    start: int
    length: int
    event: Event | None
    tie_from: bool
    tie_to: bool
    triplet: bool


def write_chart(chart: Chart) -> bytes:
    out = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" '
        '"http://www.musicxml.org/dtds/partwise.dtd">',
        '<score-partwise version="4.0">',
        f"  <work><work-title>Planted chart {chart.seed}</work-title></work>",
        "  <part-list>",
    ]
    grouped, family = chart.seed % 2 == 0, ""
    for n, (inst, _) in enumerate(chart.staves, 1):
        if grouped and inst.family != family and inst.family != "drums":
            out += ['    <part-group number="1" type="stop"/>'] if family else []
            out += [
                '    <part-group number="1" '
                'type="start"><group-symbol>bracket</group-symbol></part-group>'
            ]
            family = inst.family
        name, short = escape(inst.name), escape(inst.short)
        out += [
            f'    <score-part id="P{n}"><part-name>{name}</part-name>'
            f"<part-abbreviation>{short}</part-abbreviation>",
            f'      <score-instrument id="P{n}-I1"><instrument-name>{name}</instrument-name>'
            f"<instrument-sound>{inst.sound}</instrument-sound></score-instrument></score-part>",
        ]
    out += ['    <part-group number="1" type="stop"/>'] if grouped else []
    out += ["  </part-list>"]
    for n, (inst, players) in enumerate(chart.staves, 1):
        out.append(f'  <part id="P{n}">')
        for bar in range(len(chart.meters)):
            hidden = ' implicit="yes"' if bar == 0 and chart.pickup else ""
            out.append(f'    <measure number="{chart.numbers[bar]}"{hidden}>')
            out += [f"      {line}" for line in _bar(chart, inst, players, bar, first=n == 1)]
            out.append("    </measure>")
        out.append("  </part>")
    return "\n".join([*out, "</score-partwise>", ""]).encode()


def _bar(
    chart: Chart, inst: Instrument, players: Sequence[str], bar: int, *, first: bool
) -> list[str]:
    low, high, meter = chart.starts[bar], chart.starts[bar + 1], chart.meters[bar]
    fifths = chart.keys[bar >= chart.key_bar] + (-inst.shift * 7) % 12
    piano, drums = inst.sound.startswith("keyboard"), inst.family == "drums"
    out = _attributes(chart, inst, bar, 0 if drums else fifths, piano=piano)
    if first and bar == 0:
        out.append(
            '<direction placement="above"><direction-type><words>Swing</words></direction-type>'
            "<direction-type><metronome><beat-unit>quarter</beat-unit>"
            f"<per-minute>{chart.tempo}</per-minute></metronome></direction-type>"
            f'<sound tempo="{chart.tempo}"/></direction>'
        )
    if first and bar and bar % 8 == 0:
        out.append(
            f'<direction placement="above"><direction-type><rehearsal>{chr(64 + bar // 8)}'
            "</rehearsal></direction-type></direction>"
        )
    if inst.family == "rhythm":
        root, quality = chart.chords[bar]
        step, alter, _ = _spell(60 + root - inst.shift % 12, fifths)
        out.append(
            f"<harmony><root><root-step>{step}</root-step><root-alter>{alter}</root-alter></root>"
            f"<kind>{CHORDS[quality].kind}</kind></harmony>"
        )
    lines = [[e for e in chart.events[p] if e.start < high and e.stop > low] for p in players]
    lines = _as_one(lines, low, high) if len(lines) > 1 else lines
    back = f"<backup><duration>{high - low}</duration></backup>"
    out += _voice(lines[0], low, meter, inst, fifths, staff=1 if piano else 0)
    if piano:
        out += [back, *_voice(lines[0], low, meter, inst, fifths, staff=2)]
    for line in lines[1:]:
        out += [back, *_voice(line, low, meter, inst, fifths, staff=0, voice=2)]
    if bar == len(chart.meters) - 1:
        out.append('<barline location="right"><bar-style>light-heavy</bar-style></barline>')
    return out


def _as_one(lines: list[list[Event]], low: int, high: int) -> list[list[Event]]:
    """Two players of one staff in chords, or in unison, where they move together all bar."""
    upper, lower = lines
    plain = all(
        low <= e.start and e.stop <= high and e.grace is None and e.cut is None
        for e in (*upper, *lower)
    )
    if not plain or [(e.start, e.length) for e in upper] != [(e.start, e.length) for e in lower]:
        return lines
    both = zip(upper, lower, strict=True)
    chords = [(a, tuple(sorted({*a.pitches, *b.pitches}))) for a, b in both]
    return [[Event(a.start, a.length, pitches) for a, pitches in chords]]


def _attributes(chart: Chart, inst: Instrument, bar: int, fifths: int, *, piano: bool) -> list[str]:
    out = [f"<divisions>{Q}</divisions>"] if bar == 0 else []
    if bar in (0, chart.key_bar):
        out.append(f"<key><fifths>{fifths}</fifths></key>")
    shown = [chart.meters[1 if b == 0 and chart.pickup else b] for b in (bar - 1, bar)]
    if bar == 0 or shown[0] != shown[1]:
        out.append(f"<time><beats>{shown[1]}</beats><beat-type>4</beat-type></time>")
    if bar == 0:
        line = {"G": 2, "F": 4}.get(inst.clef)
        sign = f"<sign>{inst.clef}</sign>" + (f"<line>{line}</line>" if line else "")
        both = "".join(
            f'<clef number="{n}"><sign>{c}</sign><line>{n * 2}</line></clef>'
            for n, c in ((1, "G"), (2, "F"))
        )
        out += ["<staves>2</staves>", both] if piano else [f"<clef>{sign}</clef>"]
        diatonic, chromatic, octave = inst.transpose
        if any(inst.transpose):
            change = f"<octave-change>{octave}</octave-change>" if octave else ""
            out.append(
                f"<transpose><diatonic>{diatonic}</diatonic>"
                f"<chromatic>{chromatic}</chromatic>{change}</transpose>"
            )
    return [f"<attributes>{''.join(out)}</attributes>"] if out else []


def _voice(
    events: list[Event],
    low: int,
    meter: int,
    inst: Instrument,
    fifths: int,
    *,
    staff: int,
    voice: int = 0,
) -> list[str]:
    if staff:  # a piano: the left hand below B flat 3
        hands = [tuple(p for p in e.pitches if (p >= 58) == (staff == 1)) for e in events]
        events = [Event(e.start, e.length, p) for e, p in zip(events, hands, strict=True) if p]
    tail = f"<staff>{staff}</staff>" if staff else ""
    which = f"<voice>{voice or max(staff, 1)}</voice>"
    if not events and meter > 2:  # shorter bars may be pick-ups, whose rests are written out
        return [f'<note><rest measure="yes"/><duration>{meter * Q}</duration>{which}{tail}</note>']
    pieces = _pieces(events, low, meter)
    beams, shown, out = _beams(pieces), dict[tuple[str, int], int](), list[str]()
    for piece, beam in zip(pieces, beams, strict=True):
        event = piece.event
        name, dots = TYPES[piece.length * 3 // 2 if piece.triplet else piece.length]
        kind = f"<type>{name}</type>" + "<dot/>" * dots
        ratio = "<actual-notes>3</actual-notes><normal-notes>2</normal-notes>"
        ratio = f"<time-modification>{ratio}</time-modification>" if piece.triplet else ""
        ties = [t for t, yes in (("stop", piece.tie_from), ("start", piece.tie_to)) if yes]
        tie = "".join(f'<tie type="{t}"/>' for t in ties)
        edges = (("start", piece.start % Q == 0), ("stop", (piece.start + piece.length) % Q == 0))
        ends = [t for t, yes in edges if yes and piece.triplet]
        tied = "".join(f'<tied type="{t}"/>' for t in ties)
        tuplet = "".join(f'<tuplet type="{t}" number="1"/>' for t in ends)
        if event and event.grace and not piece.tie_from:
            pitch, sign = _pitch(event.grace, inst, fifths, shown, tied=False)
            out.append(
                f'<note><grace slash="yes"/>{pitch}{which}<type>eighth</type>{sign}{tail}</note>'
            )
        for n, midi in enumerate(event.pitches if event else (None,)):
            if midi is None:
                pitch, sign = "<rest/>", ""
            elif inst.family == "drums":
                step, octave = ("G", 5) if midi == 1 else ("D", 4)
                pitch = (
                    f"<display-step>{step}</display-step><display-octave>{octave}</display-octave>"
                )
                pitch = f"<unpitched>{pitch}</unpitched>"
                sign = "<notehead>x</notehead>"
            else:
                pitch, sign = _pitch(midi, inst, fifths, shown, tied=piece.tie_from)
            sign, head = ("", sign) if "notehead" in sign else (sign, "")
            marks = tied + (tuplet if n == 0 else "")
            out.append(
                f"<note>{'<chord/>' if n else ''}{pitch}<duration>{piece.length}</duration>{tie}"
                f"{which}{kind}{sign}{ratio}{head}{tail}{'' if n else beam}"
                + (f"<notations>{marks}</notations>" if marks else "")
                + "</note>"
            )
    return out


def _pieces(events: list[Event], low: int, meter: int) -> list[Piece]:
    """Notes and rests that fill the bar, cut where notation needs it."""
    spans: list[tuple[int, int, Event | None]] = []
    at, whole = 0, meter * Q
    for e in events:
        start, stop = max(e.start - low, 0), min(e.stop - low, whole)
        spans += [(at, start, None)] if start > at else []
        spans.append((start, stop, e))
        at = stop
    spans += [(at, whole, None)] if at < whole else []
    triplets = {edge // Q for a, b, _ in spans for edge in (a, b) if edge % Q in (8, 16)}
    out = []
    for start, stop, event in spans:
        cut = event.start + event.cut - low if event and event.cut else -1
        t = start
        while t < stop:
            end = min([stop, *[c for c in (cut, *(b * Q for b in triplets)) if t < c]])
            end = t + _fit(t, end - t, meter, rest=event is None, triplet=t // Q in triplets)
            later = event is not None and event.stop - low > end
            earlier = event is not None and event.start - low < t
            out.append(Piece(t, end - t, event, earlier, later, t // Q in triplets))
            t = end
    return out


def _fit(t: int, room: int, meter: int, *, rest: bool, triplet: bool) -> int:
    """The longest single symbol that may stand at t."""
    if triplet:
        return min(room, Q - t % Q)
    for length in TYPES:
        off = t % Q
        push = off == 12 and length in (24, 36) and not (meter == 4 and t == 36)
        fits = off == 0 or length <= Q - off or push
        if rest:
            fits = length <= Q - off or (length == 48 and t % 48 == 0 and meter != 3)
        if length <= room and fits:
            return length
    raise ValueError(f"no symbol fits {room} ticks at {t}")


def _beams(pieces: list[Piece]) -> list[str]:
    """Eighths and shorter notes of one beat under one beam."""
    out = [""] * len(pieces)
    for beat in {p.start // Q for p in pieces}:
        group = [i for i, p in enumerate(pieces) if p.start // Q == beat]
        flags = [(8,) if pieces[i].triplet else (6, 12, 18) for i in group]
        short = [
            pieces[i].event is not None and pieces[i].length in f
            for i, f in zip(group, flags, strict=True)
        ]
        if len(group) > 1 and all(short):
            for i in group:
                word = "begin" if i == group[0] else "end" if i == group[-1] else "continue"
                hook = '<beam number="2">backward hook</beam>' if pieces[i].length == 6 else ""
                out[i] = f'<beam number="1">{word}</beam>{hook}'
    return out


def _spell(midi: int, fifths: int) -> tuple[str, int, int]:
    """Step, alteration and octave, near the key on the line of fifths."""
    place = next(k for k in range(fifths - 4, fifths + 8) if (7 * k - midi) % 12 == 0) + 1
    alter = place // 7
    return "FCGDAEB"[place % 7], alter, (midi - alter) // 12 - 1


def _pitch(
    midi: int, inst: Instrument, fifths: int, shown: dict[tuple[str, int], int], *, tied: bool
) -> tuple[str, str]:
    step, alter, octave = _spell(midi - inst.shift, fifths)
    key = (fifths - "FCGDAEB".index(step) + 6) // 7
    sign = ""
    if not tied and shown.get((step, octave), key) != alter:
        shown[step, octave] = alter
        sign = f"<accidental>{SIGNS[alter]}</accidental>"
    change = f"<alter>{alter}</alter>" if alter else ""
    return f"<pitch><step>{step}</step>{change}<octave>{octave}</octave></pitch>", sign
