"""Whose line the section follows, and what the group is called."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from sectionprep.music.chart import Chart, Part
from sectionprep.passages.players import staves_of

#: Who leads when lines are equally high: lead trumpet over lead alto over lead trombone
#: (D. Berger, Notes on Playing Ellington; Jazz at Lincoln Center teacher's toolkit). Who sits with
#: the saxes or the trombones counts as one of them; other sections follow.
_AUTHORITY = (
    "trumpets",
    "saxes",
    "trombones",
    "strings",
    "voices",
    "other",
    "rhythm",
    "percussion",
)
_SITS_WITH = {"woodwinds": "saxes", "horns": "trombones"}
_FOLLOWS = ("rhythm", "percussion")  # they double a line of the horns, they do not lead it
#: Inside a section the upper one in the order of scores leads (common practice, no source).
_SCORE_ORDER = (
    *("piccolo", "flute", "alto-flute", "bass-flute", "recorder", "oboe", "oboe-damore"),
    *("english-horn", "eb-clarinet", "clarinet", "alto-clarinet", "bass-clarinet"),
    *("bassoon", "contrabassoon"),
    *("soprano-sax", "alto-sax", "tenor-sax", "baritone-sax", "bass-sax"),
    *("piccolo-trumpet", "trumpet", "cornet", "flugelhorn", "bass-trumpet"),
    *("horn", "tenor-horn", "trombone", "bass-trombone", "euphonium", "tuba"),
    *("violin", "viola", "cello"),
    *("soprano-voice", "mezzo-voice", "alto-voice", "tenor-voice", "baritone-voice", "bass-voice"),
)
_NEVER_FIRST = ("tenor-sax", "baritone-sax", "bass-sax", "bass-trombone", "tuba")


def _rank(part: Part) -> tuple[bool, bool, int, int, int, str]:
    """First chairs before others: a clarinet on the second tenor's line leads it (common practice,
    no source)."""
    chair = part.chair
    key, number = chair.instrument.key, chair.number or 1
    section = _SITS_WITH.get(chair.section, chair.section)
    place = _SCORE_ORDER.index(key) if key in _SCORE_ORDER else len(_SCORE_ORDER)
    return (
        section in _FOLLOWS,
        number > 1 or key in _NEVER_FIRST,
        _AUTHORITY.index(section),
        place,
        number,
        part.label,
    )


def choose_lead(
    chart: Chart, parts: Sequence[int], heights: Mapping[int, float], named: str = ""
) -> tuple[int, str]:
    """The lead and the reason. heights: mean sounding MIDI number of each part in the passage.

    The top sounding line leads; of lines equally high (within half a semitone) the band's
    convention decides. `named` (from the roster) overrides both.
    """
    if named:
        for part in parts:
            if chart.parts[part].label == named:
                return part, "named by the director"
    top = max(heights[part] for part in parts)
    highest = [part for part in parts if heights[part] > top - 0.5]
    lead = min(highest, key=lambda part: _rank(chart.parts[part]))
    if len(highest) == 1:
        return lead, "top sounding line"
    return lead, "shares the top line; leads by the band's convention"


_SECTION_SIZES = {"saxes": 5, "trumpets": 4, "trombones": 4}


def scope_of(chart: Chart, parts: Sequence[int], alone: frozenset[int] = frozenset[int]()) -> str:
    """The group in band terms: "saxes", "brass", "ensemble", "altos + Trumpet 1". alone: parts of
    two players of whom only the first is meant, as the second plays something else."""
    chosen = set(parts)
    whole: dict[str, set[int]] = {}
    for part in chart.parts:
        if chart.lines[part.index] and not part.is_second:
            whole.setdefault(part.chair.section, set()).add(part.index)
    horns = [
        s
        for s in ("saxes", "trumpets", "trombones")
        if len(whole.get(s, ())) > 1 and not whole[s] & alone
    ]
    full = [s for s in horns if whole[s] <= chosen]
    if len(full) == 3:
        rest = chosen - set().union(*(whole[s] for s in full))
        return "ensemble" if not rest else "ensemble + " + _few(chart, rest, alone)
    if full == ["trumpets", "trombones"]:
        rest = chosen - whole["trumpets"] - whole["trombones"]
        return "brass" if not rest else "brass + " + _few(chart, rest, alone)
    names = list(full)
    rest = chosen - set().union(set(), *(whole[s] for s in full))
    if rest:
        names.append(_few(chart, rest, alone))
    return " + ".join(names)


def _few(chart: Chart, parts: set[int], alone: frozenset[int]) -> str:
    kinds = Counter(chart.parts[p].chair.instrument.says for p in parts)
    every = Counter(part.chair.instrument.says for part in chart.parts if chart.lines[part.index])
    said: list[str] = []
    done: set[str] = set()
    staves = staves_of(chart)
    split = {chart.parts[p].chair.instrument.says for p in parts & alone}
    for p in sorted(parts, key=staves.__getitem__):
        chair = chart.parts[p].first.chair if p in alone else chart.parts[p].chair
        kind = chair.instrument.says
        if kinds[kind] > 1 and kinds[kind] == every[kind] and kind not in split:
            if kind not in done:
                said.append(f"{kind.lower()}s")
                done.add(kind)
        else:
            said.append(chair.says if chair.instrument.key != "unknown" else chart.parts[p].label)
    return " + ".join(said)
