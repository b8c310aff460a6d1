"""Children of an element, and the numbers that stand in them."""

from __future__ import annotations

from lxml import etree

from sectionprep.musicxml.document import tag_of
from sectionprep.musicxml.numbers import decimal


def child_of(element: etree._Element, name: str) -> etree._Element | None:
    """The first child of this name, in any namespace."""
    return next((one for one in element if tag_of(one) == name), None)


def number_of(element: etree._Element | None, default: int) -> int:
    """The whole number in an element; `default` where there is none, or one beyond measure."""
    value = decimal(element.text) if element is not None else None
    return int(value) if value is not None and abs(value) < 10**9 else default


def number_in(element: etree._Element, name: str) -> int:
    """The whole number in a child of this name, 0 where there is none."""
    return number_of(child_of(element, name), 0)
