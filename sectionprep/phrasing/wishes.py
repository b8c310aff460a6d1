"""What a director asks for between the notes or for a whole stretch: a dynamic, a hairpin from here
to there, "as bar 12", one of the readings for a passage.

Words: "mf" (and the other dynamics), "crescendo" or "diminuendo" with the place where it ends,
"no dynamic" and "no hairpin" against a proposal of ours, "as bar 12".
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from fractions import Fraction

#: those that a section plays; the accented ones among them are common in big-band charts
DYNAMICS = tuple("pppp ppp pp p mp mf f ff fff ffff fp sfz sfp sf fz".split())  # noqa: SIM905
HAIRPINS = ("crescendo", "diminuendo")
_HAIRPINS = {
    "crescendo": "crescendo",
    "cresc": "crescendo",
    "diminuendo": "diminuendo",
    "dim": "diminuendo",
    "decrescendo": "diminuendo",
    "decresc": "diminuendo",
}
_AGAINST = {"no dynamic": "dynamic", "no hairpin": "hairpin"}
_AS = re.compile(r"as bars? (\S{1,20})")


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """One such decision. kind: "dynamic", "hairpin", "against", "as" or "reading"; value: the sign,
    what is not wanted, the bar to be like, or the reading's name. part: one that plays there; bar,
    beat: where, or where a stretch begins; to_bar, to_beat: where it ends, "" and 0 for the end of
    the bar or of the wish's own bar. passage: the id, for a reading. cell: of the
    workbook that it was typed into."""

    kind: str
    value: str
    part: str
    bar: str = ""
    beat: Fraction = Fraction(1)
    to_bar: str = ""
    to_beat: Fraction = Fraction(0)
    passage: str = ""
    source: str = "the director"
    cell: str = ""

    @property
    def says(self) -> str:
        """The wish in the words in which it is made."""
        if self.kind == "against":
            return f"no {self.value}"
        return f"as bar {self.value}" if self.kind == "as" else self.value

    @property
    def about(self) -> str:
        """What it settles: two wishes about one thing at one place contradict each other."""
        return self.value if self.kind == "against" else self.kind


def parse_wish(words: str) -> tuple[str, str] | None:
    """Kind and value of a wish from a director's words; None for words that are none."""
    plain = " ".join(words.lower().replace(".", " ").split()).removeprefix("dynamic ")
    if plain in DYNAMICS:
        return "dynamic", plain
    if plain in _HAIRPINS:
        return "hairpin", _HAIRPINS[plain]
    if plain in _AGAINST:
        return "against", _AGAINST[plain]
    like = _AS.fullmatch(plain)
    return ("as", like[1]) if like else None
