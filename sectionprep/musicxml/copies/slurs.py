"""Slurs whose ends do not fit: the engraver draws one that never ends through line after line, or
joins it with a later one's end. Works on the engraver's copy only.
"""

from __future__ import annotations

from collections.abc import Sequence

from lxml import etree

_Slur = tuple[str, str]  # number and voice


def end_slurs(measures: Sequence[etree._Element]) -> list[int]:
    """Pair the slurs of a part again where its file has lost count. An end without a beginning ends
    the one slur of its number that is open in another voice, or the one that is open at all, where
    voices do not alternate in its bar; a slur that never ends, or begins once more before it does,
    is taken out. Returns the indices of bars in which such slurs begin."""
    begun: dict[_Slur, tuple[int, etree._Element]] = {}
    endless: list[tuple[int, etree._Element]] = []
    for n, measure in enumerate(measures):
        in_turn = measure.find("backup") is None
        for slur, mine in _slurs_of(measure):
            if slur.get("type") == "start":
                if mine in begun:
                    endless.append(begun[mine])
                begun[mine] = (n, slur)
            elif slur.get("type") == "stop":
                found = mine if mine in begun else _open(begun, mine[0], in_turn)
                if found is not None:
                    slur.set("number", found[0])
                    del begun[found]
    endless += begun.values()
    for _, slur in endless:
        around = slur.getparent()
        if around is not None:
            around.remove(slur)
    return sorted(n for n, _ in endless)


def _slurs_of(measure: etree._Element) -> list[tuple[etree._Element, _Slur]]:
    return [
        (slur, (slur.get("number", "1"), note.findtext("voice", "1").strip()))
        for note in measure.iterchildren("note")
        for slur in note.iter("slur")
    ]


def _open(begun: dict[_Slur, tuple[int, etree._Element]], number: str, any_: bool) -> _Slur | None:
    """The one open slur that an end can belong to."""
    same = [slur for slur in begun if slur[0] == number]
    found = same or (list(begun) if any_ else [])
    return found[0] if len(found) == 1 else None
