"""Hairpins that one part lacks, that go the other way, or that begin or end elsewhere.

bad:  lead swells into the chorus, Trombone 3 has nothing;
      the saxes' swell stops two beats after the brass's
good: the same hairpin from the same note to the same note in all
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.checks.finding import Check, Context, Finding
from sectionprep.music.hairpins import Pin
from sectionprep.passages import Passage


def _find(context: Context) -> Iterable[Finding]:
    quarter = context.chart.resolution
    for passage in context.together.marked:
        word = context.words[passage.id]
        for pin in word.hairpins():
            having = [p for p in passage.parts if word.pins(p).has_like(pin, quarter)]
            for part in passage.parts:
                note = word.near(part, pin.start)
                wanted = pin.within(context.chart.lines[part], passage.end)
                if note is None or word.pins(part).has_like(wanted, quarter):
                    continue
                other = next(iter(word.pins(part).meeting(wanted)), None)
                yield _finding(context, passage, part, note.onset, wanted, other, having)


def _finding(
    context: Context,
    passage: Passage,
    part: int,
    tick: int,
    pin: Pin,
    other: Pin | None,
    having: list[int],
) -> Finding:
    against = passage.lead if passage.lead in having else having[0]
    runs = (
        f"a {pin.kind} from {context.chart.place(pin.start)} to {context.chart.end_place(pin.stop)}"
    )
    has = (
        "no hairpin"
        if other is None
        else (
            f"{other.kind} from {context.chart.place(other.start)} to "
            f"{context.chart.end_place(other.stop)}"
        )
    )
    return Finding(
        check="hairpin",
        severity="warning",
        tick=tick,
        part=part,
        lead=against,
        passage=passage.id,
        places=(tick,),
        message=f"{has}; {context.name(against)} has {runs}",
        fix=f"Write {runs}.",
    )


CHECK = Check(
    finds={"hairpin": "hairpins that differ inside a passage"},
    matter="marks",
    find=_find,
    guests=True,
    seconds=True,
)
