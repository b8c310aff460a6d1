"""Verses of which each has a line of its own. Works on the engraver's copy."""

from __future__ import annotations

from collections.abc import Iterable

from lxml import etree


def number_verses(measures: Iterable[etree._Element]) -> None:
    """The number of a verse may be a name ("chorus", "part1verse2"; MusicXML 4.0, lyric). The
    engraver prints all names over the first verse: they follow after the last number."""
    named = []
    numbers: dict[str, int] = {}
    for measure in measures:
        for lyric in measure.iterfind("note/lyric"):
            number = lyric.get("number", "1").strip()
            if number.isdecimal():
                numbers[number] = int(number)
            else:
                named.append((lyric, number))
    for lyric, name in named:
        numbers.setdefault(name, max(numbers.values(), default=0) + 1)
        lyric.set("number", str(numbers[name]))
