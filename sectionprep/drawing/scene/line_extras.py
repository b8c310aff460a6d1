"""What we add to an engraved line: chord symbols, jazz marks, the bar number, syllables.

Each is an `Extra` with its box, so that layout knows the line's true extent and a script can look
for collisions. Coordinates are the drawing's: hundredths of a millimetre, y downwards.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import pairwise
from typing import Any

from sectionprep.drawing.scene import chord_symbols, jazz_marks
from sectionprep.drawing.scene.ink import Box, Glyph, System
from sectionprep.drawing.scene.spacing import apart
from sectionprep.drawing.text import fonts

_NUMBER_GAP = 60.0  # white around a bar number
_TAIL = 0.86  # of a clef's width: half a millimetre behind its tail, which ends at .77 (outline)
#: octave clefs with a number under them, beside which a bar number would be another digit of it
_NUMBERED, _BESIDE_NUMBER = frozenset({"E052", "E054", "E064", "E065"}), 1.2
#: how far a number steps to the left (not into a tail) and down, and is still where it is looked
#: for: as far as a treble clef reaches; judgement
_NUMBER_STEPS = [(left, down) for down in (0.0, 80.0, 160.0, 320.0) for left in (0.0, 100.0)]
_LINE = 20.0  # what reaches no further below a staff belongs to its lines
_SYLLABLE_GAP = 70.0  # between the lowest ink and the syllables
_SYLLABLE_LEAST = 0.75  # of the type size: how far the syllables of a full line may shrink
_SECOND_ROW = 50.0  # and their size: from the first row of syllables to the second
#: white between two syllables: a millimetre on the smallest staff, too
_SYLLABLES_APART = 108.0


@dataclass(frozen=True, slots=True)
class Extra:
    """One added thing. kind: chord, jazz, number or syllable; paint draws it with the origin at the
    drawing's."""

    kind: str
    box: Box
    paint: Callable[[Any], object]


def line_extras(
    system: System,
    *,
    chords: Mapping[str, str],
    overlays: Mapping[str, Sequence[str]],
    number: str,
    number_size: float,
    syllables: Mapping[str, str],
    syllable_size: float,
) -> list[Extra]:
    """Everything added to one line; the system's extent grows to hold it. chords: text by id;
    overlays: jazz marks by note id; number: printed bar number or ""; syllables: by note id; sizes
    in hundredths of a millimetre."""
    found = [
        chord_extra(spot.x, spot.y, chords.get(name, "")) for name, spot in system.chords.items()
    ]
    found += jazz_extras(system, overlays)
    found += _syllables(system, syllables, system.bottom, syllable_size)
    if number:
        found.append(_bar_number(system, number, number_size, [extra.box for extra in found]))
    system.hold(extra.box for extra in found)
    return found


def jazz_extras(
    system: System, overlays: Mapping[str, Sequence[str]], size: float = 1.0
) -> list[Extra]:
    """Falls, doits, scoops and their like; the system's extent grows to hold them. overlays: marks
    by note id; size: of the staff, as a share of the usual one."""
    found = [
        Extra(
            "jazz",
            jazz_marks.box(system, head, mark, size),
            partial(jazz_marks.draw, system=system, head=head, mark=mark, size=size),
        )
        for name, marks in overlays.items()
        if (head := system.heads.get(name)) is not None
        for mark in marks
    ]
    system.hold(extra.box for extra in found)
    return found


def chord_extra(x: float, y: float, text: str, size: float = chord_symbols.SIZE) -> Extra:
    """A chord symbol from the point where its baseline begins. size: of its letters."""
    width = chord_symbols.draw(None, x, 0, text, size)
    return Extra(
        "chord",
        (x, y - 0.95 * size, x + width, y + 0.1 * size),
        lambda painter: chord_symbols.draw(painter, x, y, text, size),
    )


def words_at(kind: str, x: float, y: float, text: str, font: str, size: float) -> Extra:
    """Words from the point where their baseline begins."""
    text = fonts.printable(text, font)
    return Extra(
        kind,
        (x, y - 0.72 * size, x + fonts.width(text, font, size), y + 0.2 * size),
        lambda painter: painter.text(x, y, text, font, size),
    )


def _bar_number(system: System, number: str, size: float, added: Sequence[Box]) -> Extra:
    """The number of a line's first bar: right under the staff, behind the tail of the clef,
    whichever it is (under a tail the line would be three millimetres higher). What stands there
    sends it a little down or to the left; where that does not do, to the left edge. added: boxes of
    what we add besides."""
    inks = [ink for ink in system.ink if ink.box[0] < 500 and "clef" in ink.classes]
    clefs, aside = [ink.box for ink in inks], _TAIL
    if any(isinstance(ink.shape, Glyph) and ink.shape.code in _NUMBERED for ink in inks):
        aside = _BESIDE_NUMBER
    low = [ink for ink in system.ink if ink.box[3] > system.staff_bottom + _LINE]
    under = max([system.staff_bottom, *(box[3] for box in clefs)])
    behind = max((left + aside * (right - left) for left, _, right, _ in clefs), default=0.0)
    others = [*added, *(ink.box for ink in low if "clef" not in ink.classes)]
    for left, down in _NUMBER_STEPS:
        x = behind - (left if under == system.staff_bottom else 0.0)
        found = _number_at(max(0.0, x), system.staff_bottom + down, number, size)
        if not any(_close(box, found.box) for box in others):
            return found
    return _number_at(0.0, under, number, size)


def _number_at(x: float, under: float, number: str, size: float) -> Extra:
    base = under + _NUMBER_GAP + 0.75 * size
    return words_at("number", x, base, number, fonts.ITALIC, size)


def _close(box: Box, other: Box) -> bool:
    """True where there is less white between two boxes than a number wants."""
    return (
        box[0] < other[2] + _NUMBER_GAP
        and other[0] - _NUMBER_GAP < box[2]
        and box[1] < other[3] + _NUMBER_GAP
        and other[1] - _NUMBER_GAP < box[3]
    )


def _spots(system: System, syllables: Mapping[str, str]) -> list[tuple[float, str]]:
    """The middle of each head that has a syllable, and what it says, from the left."""
    return sorted(
        (head.x + head.width / 2, syllables[name])
        for name, head in system.heads.items()
        if name in syllables
    )


def _fitting(spots: Sequence[tuple[float, str]], size: float) -> float:
    """The size at which all syllables of a line keep their distance, as near as it may come to the
    usual one: one size for a line, so that triplets read like the rest."""
    for (x0, word), (x1, following) in pairwise(spots):
        half = (_wide(word, 1.0) + _wide(following, 1.0)) / 2
        size = min(size, (x1 - x0 - _SYLLABLES_APART) / half)
    return size


def _wide(word: str, size: float) -> float:
    return fonts.width(word, fonts.ITALIC, size)


def roomy(system: System, syllables: Mapping[str, str], size: float) -> System:
    """The line with its notes so far apart that their syllables do not touch: as large as they are
    where the line has the white, else smaller. size: in hundredths of a millimetre."""
    spots = _spots(system, syllables)
    if _fitting(spots, size) == size:
        return system
    for smaller in (1.0, 0.93, 0.86, 0.8, _SYLLABLE_LEAST):
        needs = [
            (x, (_wide(word, size) + _wide(after, size)) / 2 * smaller + _SYLLABLES_APART)
            for (x, word), (_, after) in pairwise(spots)
        ]
        spaced = apart(system, [*needs, (spots[-1][0], 0.0)])
        if spaced is not None:
            return spaced
    return system


def _syllables(
    system: System, syllables: Mapping[str, str], floor: float, size: float
) -> list[Extra]:
    """Under everything else, centred under their notes, in one size; on one baseline, and on a
    second one under it what would touch the one before."""
    spots = _spots(system, syllables)
    own = max(_fitting(spots, size), _SYLLABLE_LEAST * size)
    ends = [float("-inf")] * 2  # of both rows
    found = []
    for middle, word in spots:
        left = middle - _wide(word, own) / 2
        free = (row for row, end in enumerate(ends) if left - end > _SYLLABLES_APART - 1)
        row = next(free, ends.index(min(ends)))
        ends[row] = left + _wide(word, own)
        base = floor + _SYLLABLE_GAP + 0.72 * size + row * (own + _SECOND_ROW)
        found.append(words_at("syllable", left, base, word, fonts.ITALIC, own))
    return found
