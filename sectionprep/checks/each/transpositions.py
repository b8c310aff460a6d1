"""A part whose transposition, key signature or clef does not suit its instrument.

bad:  Alto Sax 2 without a transposition in a transposed score
good: alto sax: written C sounds Eb below
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from sectionprep.checks.finding import Check, Context, Finding
from sectionprep.music.chart import Part
from sectionprep.music.instruments import Instrument


def _find(context: Context) -> Iterable[Finding]:
    if context.chart.concert or not _is_transposed(context):
        return
    concert = _concert_key(context)
    for part in context.chart.parts:
        instrument = part.chair.instrument
        if (
            instrument.key in ("unknown", "drums", "percussion")
            or not part.notes
            or not part.chair.sure
        ):
            continue
        has = part.transposition_at(0).chromatic
        wanted = instrument.transposition.chromatic
        if (has - wanted) % 12 and _same_chair_differs(context, part, has):
            yield Finding(
                check="transposition",
                severity="error",
                tick=0,
                part=part.index,
                message=f"sounds {abs(has)} semitones "
                f"{'below' if has <= 0 else 'above'} the written note; "
                f"{instrument.says} sounds {abs(wanted)} below",
                fix=f"Set the transposition of the part to {instrument.says} in the "
                f"score and check its notes.",
            )
        if part.clefs and not _may_read(part.clefs[0][1], instrument):
            yield Finding(
                check="clef",
                severity="warning",
                tick=part.clefs[0][0],
                part=part.index,
                message=f"begins in {part.clefs[0][1]} clef; {instrument.says} reads "
                f"{instrument.clef}",
                fix="Correct the clef in the score, unless the player has asked for this one.",
            )
        if concert is not None and part.keys and has % 12 == wanted % 12:
            yield from _key(part, concert)


def _may_read(clef: str, by: Instrument) -> bool:
    clef = {"G": "G2", "F": "F4", "C": "C3"}.get(clef, clef)  # the line may be left out
    return clef in (by.clef, *by.also, "percussion", "none") or by.clef == "percussion"


def _is_transposed(context: Context) -> bool:
    return any(p.transposition_at(0).chromatic % 12 for p in context.chart.parts)


def _same_chair_differs(context: Context, part: Part, has: int) -> bool:
    """Clarinets in A, horns in Eb and the like are honest as long as all players of the kind
    agree."""
    kin = [p for p in context.chart.parts if p.chair.instrument.key == part.chair.instrument.key]
    same = sum((p.transposition_at(0).chromatic - has) % 12 == 0 for p in kin)
    named = f" in {_KEYS.get(has, 'c')}"
    return not (has and (same > len(kin) / 2 or named in part.name.lower()))


def _concert_key(context: Context) -> int | None:
    votes: Counter[int] = Counter()
    for part in context.chart.parts:
        if (
            part.keys
            and part.keys[0][0] == 0
            and part.chair.section != "percussion"
            and part.chair.instrument.key != "drums"
        ):
            votes[_to_concert(part.keys[0][1], part.transposition_at(0).chromatic)] += 1
    if not votes:
        return None
    key, count = votes.most_common(1)[0]
    return key if count * 3 >= sum(votes.values()) * 2 else None


def _to_concert(fifths: int, chromatic: int) -> int:
    """Concert key on the circle of fifths: a semitone is seven fifths."""
    return (fifths + 7 * chromatic + 5) % 12 - 5


def _key(part: Part, concert: int) -> Iterable[Finding]:
    at, fifths = part.keys[0]
    found = _to_concert(fifths, part.transposition_at(0).chromatic)
    if at == 0 and (found - concert) % 12 and fifths != 0:
        yield Finding(
            check="key-signature",
            severity="warning",
            tick=0,
            part=part.index,
            message="its key signature is not that of the other parts, transposed",
            fix="Correct the key signature in the score.",
        )


#: the key that a part's name has for a written C that sounds so many semitones away
_KEYS = {-3: "a", -9: "eb", 3: "eb", 2: "d", -10: "d"}

CHECK = Check(
    finds={
        "transposition": "a transposition that is not the instrument's",
        "clef": "a clef that the player does not read",
        "key-signature": "a key that does not fit the band's",
    },
    matter="notes",
    find=_find,
)
