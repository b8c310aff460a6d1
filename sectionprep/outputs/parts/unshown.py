"""What the sheet of a part will not show: signs that the engraver leaves out, letters that no font
has."""

from __future__ import annotations

from collections.abc import Iterator

from sectionprep.drawing.text.fonts import lacking
from sectionprep.drawing.text.other_fonts import can_be_set
from sectionprep.music.chart import Chart, Part
from sectionprep.musicxml.copies.enclosures import without_frames
from sectionprep.musicxml.copies.undrawn import PLAYBACK, Undrawn
from sectionprep.outputs.parts.sheet_remarks import SheetRemark, not_printed

_QUOTED = 40  # letters of a text that are enough to know it by


def remarks_of(chart: Chart, part: Part, undrawn: Undrawn) -> tuple[SheetRemark, ...]:
    """Remarks for the sheet of a part. undrawn: what was found when it was cut out of the score."""

    def number(bar: int) -> str:
        return chart.bars[min(bar, len(chart.bars) - 1)].number

    missing = [
        not_printed(part.label, what, count, number(bar), for_player=what != PLAYBACK)
        for what, (count, bar) in undrawn.found.items()
    ]
    titles = (
        part.label,
        chart.title,
        chart.composer,
        chart.arranger,
        chart.lyricist,
        *chart.rights,
    )
    texts = [(text, "") for text in titles]
    texts += [(without_frames(text), number(bar)) for text, bar in undrawn.texts.items()]
    return *missing, *_unreadable(part.label, texts)


def _unreadable(part: str, texts: list[tuple[str, str]]) -> Iterator[SheetRemark]:
    """A remark for each text (with the number of its bar) that prints with boxes in it."""
    for text, bar in texts:
        letters = lacking(text)
        if not letters:
            continue
        quoted = repr(" ".join(text.split())[:_QUOTED])
        if can_be_set(letters[0]):
            why = f"no font on this machine has the letters of {quoted}; install one that has them"
        else:
            why = f"the letters of {quoted} join or run from the right; write them in by hand"
        yield SheetRemark(part=part, what=f"boxes are printed: {why}", first=bar)
