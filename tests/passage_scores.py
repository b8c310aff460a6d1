"""When a found passage is right, and the tables that follow from it.

A found passage is right when it has exactly the planted members, both its edges lie within BEAT of
the planted ones, and intersection over union in time is at least SAME_TIME (stricter for short
passages). Starts and ends are counted as exact within SAME_BEAT; texture and lead on matches only.

Where somebody really joins (a part doubles the lead for four bars or more), three answers are
right: the passage whole; the passage whole and a passage of the joiner's own with members of it
inside the joined stretch; the passage cut there, with the joiner as a member of the middle piece (a
piece of less than PIECE beats may be missing). For one who joins by chance only the first is right.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

from charts import Join, Passage, Truth

Found = dict[str, Any]
Span = tuple[float, float]
SAME_TIME, SAME_BEAT, BEAT, PIECE = 0.9, 0.01, 1.0, 4.0
COLUMNS = (
    *("planted", "found", "match", "precision", "recall"),
    *("start", "end", "both", "texture", "lead", "shared"),
)
BINS = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 1.01)


@dataclass(slots=True)
class Pair:
    """A planted passage and the found one that matches it, if any (the longest of its pieces)."""

    planted: Passage
    found: Found | None
    start: bool = False
    end: bool = False
    texture: bool = False
    lead: bool = False
    shared: bool = False


@dataclass(slots=True)
class Result:
    """One chart: `right` are all found passages that agree with the truth, `spare` the others."""

    seed: int
    kind: str
    pairs: list[Pair] = field(default_factory=list)
    right: list[Found] = field(default_factory=list)
    spare: list[Found] = field(default_factory=list)
    error: str = ""
    misses: list[tuple[float, str]] = field(default_factory=list)  # how bad, what


# ---- comparing
def span(truth: Truth, found: Found) -> Span:
    """Start and end of a found passage, in quarters from the start of the chart."""
    start, end = (truth.beats((found[e]["index"], found[e]["beat"])) for e in ("start", "end"))
    return start, end


def span_of(truth: Truth, planted: Passage | Join) -> Span:
    return truth.beats(planted.start), truth.beats(planted.end)


def overlap(one: Span, two: Span) -> float:
    shared = min(one[1], two[1]) - max(one[0], two[0])
    return max(0.0, shared) / max(1e-9, max(one[1], two[1]) - min(one[0], two[0]))


def close(one: Span, two: Span) -> bool:
    """The same time, within a beat at both edges."""
    edges = all(abs(a - b) <= BEAT for a, b in zip(one, two, strict=True))
    return edges and overlap(one, two) >= SAME_TIME


def members(truth: Truth, found: Found) -> set[str]:
    """The staves of a found passage (a player on a shared staff is named after it)."""
    return {truth.staff(name) for name in found["parts"]}


def compare(truth: Truth, found: list[Found]) -> Result:
    """Whole passages first, in falling order of overlap and one to one; then pieces; then joins."""
    result, rest = Result(truth.seed, truth.kind), list(range(len(found)))
    who = [members(truth, f) for f in found]
    when = [span(truth, f) for f in found]
    ranked = sorted(
        (-overlap(span_of(truth, p), when[j]), i, j)
        for i, p in enumerate(truth)
        for j in rest
        if set(p.parts) == who[j] and close(span_of(truth, p), when[j])
    )
    mine: dict[int, list[int]] = {}
    for _, i, j in ranked:
        if i not in mine and j in rest:
            mine[i] = [j]
            rest.remove(j)
    for i, p in enumerate(truth):
        for join in real_joins(p):
            if i not in mine and (pieces := _pieces(truth, p, join, who, when, rest)):
                mine[i] = pieces
                rest = [j for j in rest if j not in pieces]
    for p in truth:
        for join in real_joins(p):
            own = [j for j in rest if _own(truth, p, join, who[j], when[j])]
            result.right += [found[j] for j in own]
            rest = [j for j in rest if j not in own]
    for i, p in enumerate(truth):
        result.pairs.append(_pair(truth, p, [found[j] for j in mine.get(i, ())]))
        result.right += [found[j] for j in mine.get(i, ())]
    result.spare = [found[j] for j in rest]
    return result


def real_joins(p: Passage) -> Iterable[Join]:
    return (j for j in p.joins if j.doubles)


def _pieces(
    truth: Truth, p: Passage, join: Join, who: list[set[str]], when: list[Span], rest: list[int]
) -> list[int]:
    """The found passages that say: these, then these with the joiner, then these again."""
    (start, end), (first, last) = span_of(truth, p), span_of(truth, join)
    wanted = [((start, first), set(p.parts)), ((last, end), set(p.parts))]
    wanted.append(((first, last), {*p.parts, join.part}))
    out = []
    for piece, parts in wanted:
        hits = [j for j in rest if who[j] == parts and _edges(when[j], piece)]
        if not hits and piece[1] - piece[0] >= PIECE:
            return []
        out += hits[:1]
    return out


def _edges(one: Span, two: Span) -> bool:
    return all(abs(a - b) <= BEAT for a, b in zip(one, two, strict=True))


def _own(truth: Truth, p: Passage, join: Join, who: set[str], when: Span) -> bool:
    """A passage of the joiner with members of this one, where it joins."""
    first, last = span_of(truth, join)
    inside = first - BEAT <= when[0] and when[1] <= last + BEAT
    return join.part in who and who <= {*p.parts, join.part} and inside


def _pair(truth: Truth, p: Passage, pieces: list[Found]) -> Pair:
    if not pieces:
        return Pair(p, None)
    spans = [span(truth, f) for f in pieces]
    start, end = span_of(truth, p)
    alone = [f for f in pieces if members(truth, f) == set(p.parts)] or pieces
    f = max(alone, key=lambda f: span(truth, f)[1] - span(truth, f)[0])
    lead = truth.staff(f["lead"])
    return Pair(
        p,
        f,
        start=abs(min(a for a, _ in spans) - start) <= SAME_BEAT,
        end=abs(max(b for _, b in spans) - end) <= SAME_BEAT,
        texture=f["texture"] == p.texture,
        lead=lead == p.lead,
        shared=lead in p.leads,
    )


# ---- telling
def place(at: tuple[int, float]) -> str:
    return f"bar {at[0]}:{at[1]:g}"


def told(f: Found) -> str:
    edges = [place((f[edge]["index"], f[edge]["beat"])) for edge in ("start", "end")]
    return f"{f['texture']} {edges[0]} to {edges[1]}, confidence {f['confidence']:.2f}"


def mismatches(truth: Truth, result: Result, found: list[Found]) -> Iterable[tuple[float, str]]:
    """What does not agree, and how much it weighs: beats times parts (times confidence)."""
    for pair in result.pairs:
        p, f = pair.planted, pair.found
        start, end = span_of(truth, p)
        if f is None:
            yield (end - start) * len(p.parts), f"missed: {described(p)}{nearest(truth, p, found)}"
        elif not (pair.start and pair.end and pair.texture and pair.shared):
            told_ = f"{told(f)}, lead {f['lead']} (planted {p.lead})"
            yield (end - start) / 10, f"differs: {described(p)}\n    found: {told_}"
    for f in result.spare:
        start, end = span(truth, f)
        where = ", ".join(sorted(under(truth, f))) or "independent lines only"
        text = f"not planted: {told(f)} in {', '.join(f['parts'])} (over: {where})"
        yield (end - start) * len(f["parts"]) * f["confidence"], text


def described(p: Passage) -> str:
    here = f"{p.texture} {place(p.start)} to {place(p.end)} in {', '.join(p.parts)}"
    here += f" [{'; '.join(p.traits)}]"
    if p.deviations:
        here += " {" + ", ".join(f"{d.kind} {d.part} {place(d.at)}" for d in p.deviations) + "}"
    for j in p.joins:
        how = f"doubles {j.doubles}" if j.doubles else "by chance"
        here += f"\n    joins: {j.part} {how}, {place(j.start)} to {place(j.end)}"
    return here


def nearest(truth: Truth, p: Passage, found: list[Found]) -> str:
    when = span_of(truth, p)
    rivals = [(overlap(when, span(truth, g)), g) for g in found if members(truth, g) & set(p.parts)]
    out = ""
    for fit, g in sorted(rivals, key=lambda r: -r[0])[:3]:
        if fit > 0:
            who = members(truth, g)
            more, less = sorted(who - set(p.parts)), sorted(set(p.parts) - who)
            change = " ".join([*(f"+{m}" for m in more), *(f"-{m}" for m in less)])
            out += f"\n    found: {told(g)}, overlap {fit:.2f}, parts {change or 'the same'}"
    return out


def under(truth: Truth, f: Found) -> set[str]:
    """What is planted where this was found, in some of its parts."""
    when, names = span(truth, f), members(truth, f)
    over = set()
    for o in truth.others:
        when_other = (truth.beats(o.start), truth.beats(o.end))
        if set(o.parts) & names and overlap(when_other, when) > 0:
            over.add(o.kind)
    for p in truth:
        if set(p.parts) & names and overlap(span_of(truth, p), when) > 0:
            over.add("passage")
    return over


# ---- tables
def share(part: int, whole: int) -> str:
    return f"{part / whole:.3f}" if whole else "-"


def row(name: str, pairs: list[Pair], right: int, found: int | None) -> str:
    """One line of the table; `found` is None where precision has no meaning."""
    hits = [p for p in pairs if p.found is not None]
    cells = [str(len(pairs)), "" if found is None else str(found), str(len(hits))]
    cells.append("" if found is None else share(right, found))
    cells.append(share(len(hits), len(pairs)))
    tests: list[Callable[[Pair], bool]] = [
        lambda p: p.start,
        lambda p: p.end,
        lambda p: p.start and p.end,
        lambda p: p.texture,
        lambda p: p.lead,
        lambda p: p.shared,
    ]
    cells += [share(sum(map(test, hits)), len(hits)) for test in tests]
    return f"{name:<28}" + "".join(f"{cell:>10}" for cell in cells)


def table(results: list[Result]) -> str:
    """Precision of a texture counts what was found under that name; 'shared': any part on top."""
    pairs = [p for r in results for p in r.pairs]
    right = [f for r in results for f in r.right]
    every = [*right, *(f for r in results for f in r.spare)]
    lines = [f"{'':<28}" + "".join(f"{c:>10}" for c in COLUMNS)]
    lines.append(row("all", pairs, len(right), len(every)))
    for texture in ("unison", "octaves", "soli"):
        mine = [p for p in pairs if p.planted.texture == texture]
        counts = [sum(f["texture"] == texture for f in some) for some in (right, every)]
        lines.append(row(texture, mine, *counts))
    traits = sorted({t for p in pairs for t in p.planted.traits})
    some = ((t, [p for p in pairs if t in p.planted.traits]) for t in traits)
    return "\n".join([*lines, *(row(f"  {t}", mine, 0, None) for t, mine in some)])


def reliability(results: list[Result]) -> str:
    """How often passages called so sure are right."""
    sure = [(f["confidence"], True) for r in results for f in r.right]
    sure += [(f["confidence"], False) for r in results for f in r.spare]
    lines = [f"{'confidence':<14}{'found':>8}{'mean':>8}{'right':>8}{'share':>8}"]
    for low, high in pairwise(BINS):
        here = [(c, ok) for c, ok in sure if low <= c < high]
        name = f"{low:g} to {high:g}" if high <= 1 else f">= {low:g}"
        mean = f"{sum(c for c, _ in here) / len(here):.3f}" if here else "-"
        right = sum(ok for _, ok in here)
        lines.append(f"{name:<14}{len(here):>8}{mean:>8}{right:>8}{share(right, len(here)):>8}")
    return "\n".join(lines)
