"""What a file says twice at one place is drawn once: chord symbols, dynamics and hairpins that
would lie over each other, and the rest of a bar that is written as two."""

from __future__ import annotations

from typing import TypeGuard

from lxml import etree

_M = "{http://www.music-encoding.org/ns/mei}"
_SIGNS = (f"{_M}harm", f"{_M}dynam", f"{_M}hairpin")
_SAME = 0.25  # beats within which two equal hairpins begin as one; judgement: a sixteenth


def said_once(measure: etree._Element) -> None:
    """Take out of a measure what it holds twice."""
    kept: list[etree._Element] = []
    for sign in [child for child in measure if child.tag in _SIGNS]:
        twin = next((other for other in kept if _alike(sign, other)), None)
        if twin is None:
            kept.append(sign)
            continue
        if sign.tag == f"{_M}hairpin" and _end(sign) > _end(twin):
            twin.set("tstamp2", sign.get("tstamp2", ""))
        measure.remove(sign)
    for layer in measure.iter(f"{_M}layer"):
        rests = list(layer)
        if len(rests) > 1 and all(child.tag == f"{_M}mRest" for child in rests):
            for rest in rests[1:]:
                layer.remove(rest)
            measure.attrib.pop("metcon", "")  # a rest of the bar fills it


def _alike(a: etree._Element, b: etree._Element) -> bool:
    """True for two signs of one kind that say the same at one place."""
    if a.tag != b.tag or any(a.get(key) != b.get(key) for key in ("staff", "form", "place")):
        return False
    starts = a.get("tstamp"), b.get("tstamp")
    if not _are(starts):
        return False
    apart = abs(float(starts[0]) - float(starts[1]))
    if a.tag == f"{_M}hairpin":
        return apart < _SAME and bool(a.get("tstamp2")) and bool(b.get("tstamp2"))
    return apart == 0 and _text(a) == _text(b) and a.get("startid") == b.get("startid")


def _are(found: tuple[str | None, str | None]) -> TypeGuard[tuple[str, str]]:
    return all(found)


def _end(hairpin: etree._Element) -> tuple[int, float]:
    """Where a hairpin ends: bars on, and beat."""
    bars, _, beat = hairpin.get("tstamp2", "").partition("m+")
    return int(bars or 0), float(beat or 0)


def _text(element: etree._Element) -> str:
    return "".join(str(text) for text in element.itertext()).strip()
