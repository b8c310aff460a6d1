"""A dynamic that one part lacks or has otherwise.

bad:  mf in four saxes, nothing in Alto 2
good: mf in all five
Where Alto 2 still has the mf of an earlier bar it sounds right as it is: a note, not a warning.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from sectionprep.checks.finding import Check, Context, Finding
from sectionprep.passages import Passage


def _find(context: Context) -> Iterable[Finding]:
    for passage in context.together.marked:
        for tick, printed in context.words[passage.id].dynamics().items():
            yield from _at(context, passage, printed, tick)


def _at(
    context: Context, passage: Passage, printed: dict[int, str], tick: int
) -> Iterable[Finding]:
    wanted = context.words[passage.id].dynamic(tick, printed)
    if wanted is None:
        wanted = Counter(printed.values()).most_common(1)[0][0]
    having = [p for p in passage.parts if printed.get(p) == wanted]
    if len(having) == 1 and having[0] != passage.lead:
        return  # a sign for one inner part is balance, not a slip
    against = passage.lead if passage.lead in having else having[0]
    for part in passage.parts:
        has = printed.get(part)
        if has == wanted or tick not in context.tones[part]:
            continue
        since = _holds(context, part, tick, wanted) if has is None else None
        if has is not None:
            message = f"{has}, but {context.name(against)} has {wanted}"
        elif since is None:
            message = f"no dynamic; {context.name(against)} has {wanted}"
        else:
            message = (
                f"no dynamic; the {wanted} of bar {context.chart.place(since).bar} "
                f"still holds, {context.name(against)} has it anew"
            )
        yield Finding(
            check="dynamic",
            severity="warning" if since is None else "note",
            tick=tick,
            part=part,
            lead=against,
            passage=passage.id,
            message=message,
            fix=f"Write {wanted}.",
            places=(tick,),
        )


def _holds(context: Context, part: int, tick: int, wanted: str) -> int | None:
    """Where a part got the dynamic that still holds at a tick, if it is the wanted one and nothing
    has led away from it."""
    signs = [
        d
        for d in context.chart.parts[part].directions
        if d.kind in ("dynamic", "wedge") and d.onset < tick
    ]
    last = max(signs, key=lambda d: d.onset, default=None)
    return (
        last.onset if last is not None and last.kind == "dynamic" and last.value == wanted else None
    )


CHECK = Check(
    finds={"dynamic": "dynamics that differ inside a passage"},
    matter="marks",
    find=_find,
    guests=True,
    seconds=True,
)
