"""The same sounding note spelled differently by two players of the same instrument in a unison.

bad:  Alto 1 reads G#, Alto 2 Ab, on one stand
good: both read the same name
"""

from __future__ import annotations

from collections.abc import Iterable

from sectionprep.checks.finding import Check, Context, Finding


def _find(context: Context) -> Iterable[Finding]:
    for passage in context.together.passages:
        if passage.texture != "unison":
            continue
        lead = context.chart.parts[passage.lead].chair.instrument.key
        for part in context.members(passage):
            if context.chart.parts[part].chair.instrument.key != lead:
                continue
            odd = []
            for tick in passage.attacks:
                mine, theirs = context.tones[part].get(tick), context.tones[passage.lead].get(tick)
                if (
                    mine
                    and theirs
                    and mine.pitch == theirs.pitch
                    and mine.head.pitch
                    and theirs.head.pitch
                ):
                    same_key = context.chart.parts[part].transposition_at(
                        tick
                    ) == context.chart.parts[passage.lead].transposition_at(tick)
                    if same_key and mine.head.pitch.step != theirs.head.pitch.step:
                        odd.append((tick, mine.head.pitch, theirs.head.pitch))
            if odd:
                tick, has, wanted = odd[0]
                yield Finding(
                    check="spelling",
                    severity="note",
                    tick=tick,
                    part=part,
                    lead=passage.lead,
                    passage=passage.id,
                    places=tuple(t for t, _, _ in odd),
                    message=f"reads {has} where {context.name(passage.lead)} reads "
                    f"{wanted} ({len(odd)} place{'s' if len(odd) > 1 else ''})",
                    fix="Spell both alike in the score, so that they can talk about it.",
                )


CHECK = Check(
    finds={"spelling": "one note under two names in a unison"}, matter="notes", find=_find
)
