"""What stands between the notes: dynamics, hairpins, words, chord symbols, tempo, road map."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Protocol

from lxml import etree

from sectionprep.music.marks import DYNAMICS
from sectionprep.music.notes import Direction
from sectionprep.musicxml.document import tag_of
from sectionprep.musicxml.numbers import decimal, whole

_MUTES = re.compile(
    r"\b(open|mute|muted|cup|harmon|bucket|plunger|straight mute|"
    r"con sord\.?|senza sord\.?|stem out|"
    r"hat|in stand)\b",
    re.IGNORECASE,
)
_JUMPS = re.compile(
    r"\b(d\.?\s?s\.?|d\.?\s?c\.?|dal segno|da capo|to coda|al coda|fine)(?![a-z])", re.IGNORECASE
)


class _Sign(Protocol):
    def __call__(self, kind: str, value: str, number: int = 1, whole: bool = True) -> Direction: ...


@dataclass(slots=True)
class BarSigns:
    """Repeat and ending signs gathered from all parts of one bar."""

    repeat_start: bool = False
    repeat_end: int = 0
    ending_start: tuple[str, ...] = ()
    ending_stop: bool = False
    double_bar: bool = False


def read_barline(element: etree._Element, sign: BarSigns) -> None:
    """Add what one `<barline>` says to the signs of its bar."""
    for child in element:
        tag = tag_of(child)
        if tag == "repeat":
            if child.get("direction") == "forward":
                sign.repeat_start = True
            else:
                sign.repeat_end = max(sign.repeat_end, whole(child.get("times"), 2))
        elif tag == "ending":
            if child.get("type") == "start":
                sign.ending_start = tuple(
                    n for n in re.split(r"[,\s]+", child.get("number") or "") if n and len(n) < 4
                )
            else:
                sign.ending_stop = True
        elif tag == "bar-style" and (child.text or "").strip() in ("light-light", "light-heavy"):
            sign.double_bar = True


def directions_of(
    element: etree._Element,
    *,
    part: int,
    bar: int,
    onset: int,
    ticks: int,
    divisions: Fraction,
    address: int = -1,
) -> Iterator[Direction]:
    """Every sign that a `<direction>`, `<harmony>` or `<sound>` element holds."""
    staff = 1
    for child in element:
        tag = tag_of(child)
        if tag == "staff":
            staff = whole(child.text, 1)
        elif tag == "offset":
            onset += int((decimal(child.text) or 0) / divisions * ticks)
    onset = max(0, onset)
    held = sum(
        sum(1 for item in child if tag_of(item))
        if tag_of(child) == "direction-type"
        else tag_of(child) == "sound"
        for child in element
    )

    def sign(kind: str, value: str, number: int = 1, whole: bool = True) -> Direction:
        return Direction(
            kind=kind,
            value=value,
            part=part,
            bar=bar,
            onset=onset,
            staff=staff,
            number=number,
            address=address,
            alone=held == 1 and whole,
        )

    tag = tag_of(element)
    if tag == "harmony":
        yield sign("chord", chord_text(element))
    elif tag == "sound":
        yield from _sound(element, sign)
    else:
        for child in element:
            if tag_of(child) == "direction-type":
                for item in child:
                    yield from _direction_type(item, sign)
            elif tag_of(child) == "sound":
                yield from _sound(child, sign)


def _direction_type(item: etree._Element, sign: _Sign) -> Iterator[Direction]:
    tag = tag_of(item)
    text = " ".join("".join(str(t) for t in item.itertext()).split())
    if tag == "dynamics":
        names = [tag_of(mark) for mark in item]
        known = [name for name in names if name in DYNAMICS]
        if (
            known
        ):  # signs side by side are one dynamic; words and brackets beside them are left to the eye
            yield sign(
                "dynamic",
                " ".join(known),
                whole=len(known) == len([name for name in names if name]),
            )
    elif tag == "wedge":
        yield sign("wedge", item.get("type") or "", whole(item.get("number"), 1))
    elif tag == "words" and text:
        yield sign("words", text)
        if _MUTES.search(text):
            yield sign("mute", text.lower())
        if _JUMPS.search(text):
            yield sign("jump", text)
    elif tag == "rehearsal" and text:
        yield sign("rehearsal", text)
    elif tag in ("segno", "coda"):
        yield sign(tag, tag)
    elif tag == "metronome":
        minute = next((e for e in item.iter() if tag_of(e) == "per-minute"), None)
        unit = next((e for e in item.iter() if tag_of(e) == "beat-unit"), None)
        dotted = any(tag_of(e) == "beat-unit-dot" for e in item.iter())
        rate = (
            re.search(r"(?<!\d)\d{1,3}(\.\d{1,6})?(?!\d)", minute.text or "", re.ASCII)
            if minute is not None
            else None
        )
        if rate and unit is not None and float(rate[0]) > 5:
            quarters = {"whole": 4.0, "half": 2.0, "quarter": 1.0, "eighth": 0.5, "16th": 0.25}.get(
                (unit.text or "").strip(), 1.0
            )
            yield sign("metronome", f"{float(rate[0]) * quarters * (1.5 if dotted else 1):g}")


def _sound(element: etree._Element, sign: _Sign) -> Iterator[Direction]:
    tempo = element.get("tempo")
    if tempo:
        try:
            if 5 < float(tempo) < 1000:
                yield sign("metronome", f"{float(tempo):g}")
        except ValueError:
            pass
    for child in element:
        if tag_of(child) == "swing":
            straight = any(tag_of(e) == "straight" for e in child)
            yield sign("swing", "straight" if straight else "swing")


_KINDS = {
    "major": "",
    "minor": "m",
    "augmented": "+",
    "diminished": "dim",
    "dominant": "7",
    "major-seventh": "maj7",
    "minor-seventh": "m7",
    "diminished-seventh": "dim7",
    "augmented-seventh": "+7",
    "half-diminished": "m7b5",
    "major-minor": "m(maj7)",
    "major-sixth": "6",
    "minor-sixth": "m6",
    "dominant-ninth": "9",
    "major-ninth": "maj9",
    "minor-ninth": "m9",
    "dominant-11th": "11",
    "minor-11th": "m11",
    "dominant-13th": "13",
    "major-13th": "maj13",
    "minor-13th": "m13",
    "suspended-second": "sus2",
    "suspended-fourth": "sus4",
    "power": "5",
    "none": "N.C.",
}


def _accidental(value: str | None) -> str:
    try:
        number = round(float(value or 0))
    except (ValueError, OverflowError):
        return ""
    return {1: "#", -1: "b", 2: "##", -2: "bb"}.get(number, "")


def chord_text(element: etree._Element) -> str:
    """A chord symbol in plain text, written pitch: "Bb7(b9)/F"."""
    found: dict[str, str] = {}
    extras: list[str] = []
    kind = ""
    for item in element.iter():
        tag = tag_of(item)
        text = (item.text or "").strip()
        if tag in ("root-step", "root-alter", "bass-step", "bass-alter"):
            found[tag] = text
        elif tag == "kind":
            kind = _KINDS.get(text, item.get("text") or text)
        elif tag == "degree":
            value = next((e.text or "" for e in item if tag_of(e) == "degree-value"), "")
            alter = next((e.text for e in item if tag_of(e) == "degree-alter"), None)
            extras.append(_accidental(alter) + value.strip())
    if kind == "N.C.":
        return kind
    text = found.get("root-step", "") + _accidental(found.get("root-alter")) + kind
    if extras:
        text += "(" + ",".join(extras) + ")"
    if "bass-step" in found:
        text += "/" + found["bass-step"] + _accidental(found.get("bass-alter"))
    return text
