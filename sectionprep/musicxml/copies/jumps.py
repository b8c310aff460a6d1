"""Where the road map's words stand: a jump that is taken after a bar is printed at the bar's end.

Common practice, no source: "D.S." and "D.C." stand at the right end of the last bar that is played,
"Fine" and "To Coda" where the music is left. Works on the copy that the engraver is given.
"""

from __future__ import annotations

import re

from lxml import etree

#: words by which one leaves a bar for another than the next
SAYS_JUMP = re.compile(
    r"\b(d\.?\s?s\.?|d\.?\s?c\.?|dal segno|da capo|to coda|fine)(?![a-z])", re.IGNORECASE
)
_BACK = re.compile(r"\b(d\.?\s?s\.?|d\.?\s?c\.?|dal segno|da capo)(?![a-z])", re.IGNORECASE)
_LEAVES = re.compile(r"\b(to coda|fine)(?![a-z])", re.IGNORECASE)
TO_CODA = re.compile(r"\bto coda\b", re.IGNORECASE)
CODA = "\ue048"  # SMuFL: coda
_MOVES = frozenset({"note", "backup", "forward"})


def jumps_at_the_end(measure: etree._Element) -> None:
    """Move words of a jump to the end of their bar; "To Coda" and "Fine" that stand before all
    notes of a bar stay there: they may be meant for the bar line before it."""
    begun = False
    for element in list(measure):
        if element.tag in _MOVES:
            begun = True
        elif element.tag == "direction" and _jumps(element, begun):
            for old in element.findall("offset"):
                element.remove(old)
            measure.remove(element)
            measure.insert(end_of(measure), element)


def _jumps(direction: etree._Element, begun: bool) -> bool:
    """True for a direction that says nothing but where to go on after this bar."""
    signs = [sign for kind in direction.findall("direction-type") for sign in kind]
    if not signs or any(sign.tag not in ("words", "coda", "segno") for sign in signs):
        return False
    said = " ".join(sign.text or "" for sign in signs)
    return bool(_BACK.search(said) or (begun and _LEAVES.search(said)))


def jumps_signed(measure: etree._Element) -> None:
    """For a copy that is drawn as it stands: a jump ends where its bar ends, and "To Coda" carries
    the sign that it sends the player to."""
    jumps_at_the_end(measure)
    for direction in measure.iterchildren("direction"):
        words = list(direction.iter("words"))
        said = " ".join(word.text or "" for word in words)
        if not SAYS_JUMP.search(said):
            continue
        if TO_CODA.search(said) and CODA not in said:
            words[-1].text = f"{(words[-1].text or '').rstrip()}\u00a0\u00a0{CODA}"
        for word in words:
            word.set("halign", "right")


def end_of(measure: etree._Element) -> int:
    """Before a closing bar line, behind all else."""
    last = len(measure)
    if last and measure[-1].tag == "barline" and measure[-1].get("location") != "left":
        last -= 1
    return last
