"""Instructions for the band, copied to the parts that they concern where the director asks for
it."""

from __future__ import annotations

from collections.abc import Sequence

from sectionprep.marking.desk import Desk
from sectionprep.marking.signs import direction
from sectionprep.music.instructions import OneSided, one_sided


def _plain(text: str) -> str:
    return " ".join(text.lower().split())


def copy_words(desk: Desk, wanted: Sequence[str]) -> None:
    """Write what is wanted into every part that it concerns and lacks it. wanted: bar and words
    ("35 | Solo - open"), or bar and part ("35 | Tenor Sax 1") for all that stands there."""
    asked = {_plain(line) for line in wanted}
    chart = desk.chart
    for found in one_sided(chart) if asked else ():
        sign = found.sign
        whose = f"{chart.bars[sign.bar].number} | {chart.parts[sign.part].label}"
        if asked & {_plain(found.key(chart)), _plain(whose)}:
            for part in found.missing:
                _copy(desk, found, part)


def _copy(desk: Desk, found: OneSided, part: int) -> None:
    """Before the first note or rest at or after the place where the words stand elsewhere."""
    from xml.sax.saxutils import escape

    chart, sign = desk.chart, found.sign
    place = next(
        (n for n in chart.parts[part].notes if n.bar == sign.bar and n.onset >= sign.onset), None
    )
    words = found.words_for_others(chart)
    holder = chart.parts[sign.part].label
    why = f"{holder} alone has it, and it concerns everybody who plays here"
    if place is None:
        why = f"{words!r}: nothing stands in this bar to write it at"
        desk.log(part, sign.onset, "left", "", "", why, "", applied=False)
        return
    desk.log(part, sign.onset, "words", "none", words, why, "", address=place.address)
    if desk.writes:
        xml = direction(f"<words>{escape(words)}</words>", "above", desk, part)
        desk.edits[desk.front(place)].before.append(xml)
