"""Hairpins that one part lacks or that go the other way.

bad:  lead swells into the chorus, Trombone 3 has nothing
good: the same hairpin in both
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.checks.finding import Check, Context, Finding


def _pins(context: Context, part: int, start: int, end: int) -> list[tuple[int, str]]:
    return [(d.onset, d.value) for d in context.chart.parts[part].directions
            if d.kind == "wedge" and d.value in ("crescendo", "diminuendo") and start <= d.onset < end]


def _find(context: Context) -> Iterable[Finding]:
    for passage in context.together.marked:
        pins = {p: _pins(context, p, passage.start, passage.end) for p in passage.parts}
        everywhere = {pin for found in pins.values() for pin in found}
        for tick, kind in sorted(everywhere):
            having = [p for p in passage.parts if (tick, kind) in pins[p]]
            if passage.lead not in having and 2 * len(having) <= len(passage.parts):
                continue
            against = passage.lead if passage.lead in having else having[0]
            for part in passage.parts:
                if part in having or tick not in context.tones[part]:
                    continue
                other = next((k for t, k in pins[part] if t == tick), None)
                text = f"{other}, but" if other else "no hairpin;"
                yield Finding(check="hairpin", severity="warning", tick=tick, part=part, lead=against,
                              passage=passage.id, message=f"{text} {context.name(against)} has a {kind}",
                              fix=f"Write the {kind}.", places=(tick,))


CHECK = Check(name="hairpin", says="hairpins that differ inside a passage", find=_find)
