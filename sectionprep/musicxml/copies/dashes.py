"""Dashes after words ("rit. - - -"), which files may write apart from the words."""

from __future__ import annotations

from collections.abc import Iterator

from lxml import etree


def join_dashes(measure: etree._Element) -> None:
    """Dashes that stand in a direction of their own join the words beside or before them: the
    engraver would give them to any dynamic."""
    for direction, dashes in lone_dashes(measure):
        words = next(
            (d for d in _near(direction) if d.find("direction-type/words") is not None), None
        )
        if words is not None:
            for group in dashes:
                words.insert(len(words.findall("direction-type")), group)
            if direction.find("direction-type") is None:
                measure.remove(direction)


def lone_dashes(measure: etree._Element) -> list[tuple[etree._Element, list[etree._Element]]]:
    """Directions in which dashes begin without a word, and the `<direction-type>` elements of these
    dashes."""
    found = []
    for direction in measure.iterchildren("direction"):
        dashes = [
            g
            for g in direction.iterchildren("direction-type")
            if g.find("dashes[@type='start']") is not None
        ]
        if (
            dashes
            and direction.find("direction-type/words") is None
            and direction.find("direction-type/dynamics") is None
        ):
            found.append((direction, dashes))
    return found


def take_out_lone_dashes(measure: etree._Element) -> None:
    """Let the engraver not give dashes that belong to nothing to the dynamic before them."""
    for direction, dashes in lone_dashes(measure):
        for group in dashes:
            direction.remove(group)
        if direction.find("direction-type") is None:
            measure.remove(direction)


def _near(direction: etree._Element) -> Iterator[etree._Element]:
    """The directions between the same two notes, then those before them in the bar, the nearest
    first."""
    for before in (True, False):
        for other in direction.itersiblings(preceding=before):
            if other.tag != "direction":
                break
            yield other
    yield from direction.itersiblings("direction", preceding=True)
