"""Frames around letters and words, as the engraver's copy carries them.

The engraver knows four of the shapes of MusicXML 4.0 (type `enclosure-shape`) and none as it should
be. So the copy states no frame: the words stand between two private characters, the first of which
names the shape, and whoever draws the words draws the frame.
"""

from __future__ import annotations

from lxml import etree

SHAPES = (
    "rectangle",
    "square",
    "oval",
    "circle",
    "bracket",
    "inverted-bracket",
    "triangle",
    "diamond",
    "pentagon",
    "hexagon",
    "heptagon",
    "octagon",
    "nonagon",
)
CLOSE = "\U000f00ff"
_FIRST = 0xF0000
_OPEN = {shape: chr(_FIRST + n) for n, shape in enumerate(SHAPES)}
_SHAPE = {code: shape for shape, code in _OPEN.items()}
_DRAWN_WELL = ("rectangle", "square")  # around a rehearsal mark, by the engraver


def enclose(words: str, shape: str) -> str:
    """The words with their frame."""
    return f"{_OPEN[shape]}{words}{CLOSE}"


def shape_of(character: str) -> str:
    """The shape that a private character opens; "" for any other character."""
    return _SHAPE.get(character, "")


def without_frames(words: str) -> str:
    """The words alone."""
    return "".join(c for c in words if c != CLOSE and c not in _SHAPE)


def mark_enclosures(measure: etree._Element) -> None:
    """Write the frames of a copied measure's words and letters as characters around them."""
    for element in measure.iter("words", "rehearsal"):
        shape = element.get("enclosure", "")
        if shape not in _OPEN or (element.tag == "rehearsal" and shape in _DRAWN_WELL):
            continue
        element.set("enclosure", "none")
        if element.text and element.text.strip():
            around = element.getparent()
            space = "\u00a0" if around is not None and len(around) > 1 else ""  # beside other words
            element.text = f"{space}{enclose(element.text.strip(), shape)}{space}"
