"""Clefs, keys and meters that are stated again and change nothing, taken out of the engraver's
copy.

Some writers state them in every bar, which would cut a rest of sixteen bars into sixteen.
"""

from __future__ import annotations

from lxml import etree

_SAID = ("clef", "key", "time")
_PLAYED = ("note", "backup", "forward")
Stated = tuple[str, ...]


class Restated:
    """Remembers what is in force on each staff of one part."""

    def __init__(self) -> None:
        self.now: dict[tuple[str, str], Stated] = {}

    def rewrite(self, measure: etree._Element) -> None:
        """Take out of a measure's beginning what only says again what holds. Measures come in
        order."""
        at_start = True
        for element in list(measure):
            if element.tag in _PLAYED:
                at_start = False
            elif element.tag == "attributes":
                self._attributes(element, at_start)
                if not len(element):
                    measure.remove(element)

    def _attributes(self, attributes: etree._Element, at_start: bool) -> None:
        for element in [e for e in attributes if e.tag in _SAID]:
            staff, stated = element.get("number", ""), _stated(element)
            if at_start and self._in_force(str(element.tag), staff) == stated:
                attributes.remove(element)
                continue
            if not staff:  # it speaks for all staves
                self.now = {key: value for key, value in self.now.items() if key[0] != element.tag}
            self.now[str(element.tag), staff] = stated

    def _in_force(self, name: str, staff: str) -> Stated | None:
        """What holds on a staff; None where it is not one thing for all staves that are meant."""
        if staff:
            return self.now.get((name, staff), self.now.get((name, "")))
        values = {value for (kind, _), value in self.now.items() if kind == name}
        return values.pop() if len(values) == 1 else None


def _stated(element: etree._Element) -> Stated:
    """What a clef, key or meter says, whatever it looks like in the file."""
    said = [
        f"{e.tag}={(e.text or '').strip()}"
        for e in element.iter()
        if e is not element and e.tag not in ("cancel", "mode")
    ]
    return (*said, element.get("symbol", ""), element.get("print-object", "yes"))
