"""The words in which a director decides: places, marks and wishes, wherever they are written (plan
file, workbook, review page)."""

from __future__ import annotations

import re
from fractions import Fraction

from sectionprep.errors import BadArgument
from sectionprep.music.marks import MARKS, ORNAMENTS
from sectionprep.phrasing.deciding import Decision
from sectionprep.phrasing.directives import Directive
from sectionprep.phrasing.wishes import Wish, parse_wish

_BEAT = re.compile(r"(\d{1,4})(and|e|a)?(?: (\d{1,4})/(\d{1,4}))?", re.ASCII)
_PIECES = {None: Fraction(0), "and": Fraction(1, 2), "e": Fraction(1, 4), "a": Fraction(3, 4)}
#: what a director may write on a note; of ornaments the shake alone, which goes to the lead
WRITABLE = tuple(mark for mark in MARKS if mark.name not in ORNAMENTS - {"shake"})
_WORDS = {mark.says: mark.name for mark in WRITABLE}
#: every part stays as it is printed there
LEAVE = "leave it"
_NAMES = frozenset(mark.name for mark in WRITABLE)
_DECIMAL = re.compile(r"\d{1,4}(?:\.\d{0,6}|/[1-9]\d{0,3})?", re.ASCII)


def parse_words(words: str) -> frozenset[str] | None:
    """Marks from a director's words: "accent + tenuto", "rooftop accent", "plain". None if not
    understood."""
    found: set[str] = set()
    for piece in words.replace("+", ",").replace(";", ",").replace(" and ", ",").split(","):
        word = " ".join(piece.lower().split())
        if word in ("plain", "none", "nothing", ""):
            continue
        name = (
            _WORDS.get(word) or (word if word in _NAMES else None) or _WORDS.get(word.rstrip("s"))
        )
        if name is None:
            return None
        found.add(name)
    return frozenset(found)


def parse_beat(text: str) -> Fraction | None:
    """ "3", "3and", "3 1/3", "3.5" or "3,5" as an exact beat."""
    text = " ".join(text.split()).replace(",", ".")
    match = _BEAT.fullmatch(text)
    if match:
        extra = (
            Fraction(int(match[3]), int(match[4])) if match[3] and int(match[4]) else Fraction(0)
        )
        return int(match[1]) + _PIECES[match[2]] + extra
    return Fraction(text).limit_denominator(960) if _DECIMAL.fullmatch(text) else None


def decision_of(
    part: str,
    place: str,
    words: str,
    *,
    note: str = "",
    figure: str = "",
    source: str = "the plan file",
) -> Decision:
    """A decision from a director's words. place: "17 2and", "17 1 to 18 3", "17 to 18"; words:
    marks, "plain", "leave it", or a wish. note, figure: as of a Directive. Raises BadArgument
    saying which word is not understood and what could stand there."""
    first, _, until = place.partition(" to ")
    (bar, beat), (to_bar, to_beat) = _bar_and_beat(first), _bar_and_beat(until)
    wish = parse_wish(words)
    if wish is not None:
        return Wish(
            kind=wish[0],
            value=wish[1],
            part=part,
            bar=bar,
            beat=beat or Fraction(1),
            to_bar=to_bar,
            to_beat=to_beat or Fraction(0),
            source=source,
        )
    left = words.lower() == LEAVE
    off = words.endswith("off") and not left
    marks = parse_words(words.removesuffix("off")) if not left else frozenset()
    if beat is None or until:
        raise BadArgument(f"{place!r:.60} is no bar and beat.", remedy="Write for example 17 2and.")
    if marks is None:
        raise BadArgument(
            f"{words!r:.60} is no mark I know.",
            remedy="The marks stand at the top of a written plan; there are also a dynamic, "
            "crescendo, diminuendo, as bar 12, no hairpin, no dynamic.",
        )
    return Directive(
        part=part,
        bar=bar,
        beat=beat,
        marks=None if left else marks,
        figure=figure,
        source=source,
        cutoff=None if left else off,
        note=note,
    )


def _bar_and_beat(text: str) -> tuple[str, Fraction | None]:
    """ "17 2and" or "17" alone. Raises BadArgument for a beat that is none."""
    bar, _, beat_text = text.strip().partition(" ")
    beat = parse_beat(beat_text) if beat_text else None
    if beat_text and beat is None:
        raise BadArgument(f"{text!r:.60} is no bar and beat.", remedy="Write for example 17 2and.")
    return bar, beat
