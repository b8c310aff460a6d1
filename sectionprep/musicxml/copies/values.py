"""Note values that a file says by durations alone (MusicXML 4.0: `<type>` may be missing). The
engraver draws such notes as heads without stems, all alike. Works on its copy.
"""

from __future__ import annotations

from fractions import Fraction

from lxml import etree

from sectionprep.musicxml.copies.timeline import Stroke, Timeline
from sectionprep.musicxml.note_order import put_in_order
from sectionprep.musicxml.numbers import whole

_NAMES = ("long", "breve", "whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th")
_BASE = {name: Fraction(16, 2**n) for n, name in enumerate(_NAMES)}  # in quarters
_DOTS = {0: Fraction(1), 1: Fraction(3, 2), 2: Fraction(7, 4)}
_VALUES = {
    length * _DOTS[dots]: (name, dots) for dots in reversed(_DOTS) for name, length in _BASE.items()
}
_TUPLETS = ((3, 2), (5, 4), (7, 4))  # tried in this order where no value fits; judgement


def write_values(timeline: Timeline, divisions: Fraction) -> None:
    """Give each note of a measure the value that its duration has."""
    alone = _alone(timeline)
    for stroke in timeline.strokes:
        if "type" in stroke.said or "grace" in stroke.said or stroke.length <= 0:
            continue
        rest = stroke.said.get("rest")
        if rest is not None and (rest.get("measure") == "yes" or stroke in alone):
            continue
        _write(stroke, Fraction(stroke.length) / divisions)


def _alone(timeline: Timeline) -> list[Stroke]:
    """Notes and rests that are all that their voice has: a rest of the whole bar, mostly."""
    voices: dict[str, list[Stroke]] = {}
    for stroke in timeline.strokes:
        voices.setdefault(stroke.voice, []).append(stroke)
    return [line[0] for line in voices.values() if len(line) == 1]


def _write(stroke: Stroke, quarters: Fraction) -> None:
    said = stroke.said.get("time-modification")
    if said is not None:
        actual, normal = (
            whole(said.findtext(f"{kind}-notes"), 0) or 1 for kind in ("actual", "normal")
        )
        quarters = quarters * actual / normal
    elif quarters not in _VALUES:
        fitting = ((a, n) for a, n in _TUPLETS if quarters * a / n in _VALUES)
        for actual, normal in list(fitting)[:1]:
            quarters = quarters * actual / normal
            _modify(stroke, actual, normal)
    name, dots = _VALUES.get(quarters) or _nearest(quarters)
    put_in_order(stroke.element, _text("type", name))
    if "dot" not in stroke.said:
        for _ in range(dots):
            put_in_order(stroke.element, etree.Element("dot"))


def _nearest(quarters: Fraction) -> tuple[str, int]:
    """The longest value that is no longer, for a length that has none."""
    fitting = [name for name, length in _BASE.items() if length <= quarters]
    return (fitting or _NAMES[-1:])[0], 0


def _modify(stroke: Stroke, actual: int, normal: int) -> None:
    element = stroke.said["time-modification"] = etree.Element("time-modification")
    element.extend((_text("actual-notes", str(actual)), _text("normal-notes", str(normal))))
    put_in_order(stroke.element, element)


def _text(name: str, text: str) -> etree._Element:
    element = etree.Element(name)
    element.text = text
    return element
