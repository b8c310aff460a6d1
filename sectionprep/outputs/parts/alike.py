"""The sheets of a section look alike: its staves come in two sizes at most."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Hashable, Mapping, Sequence
from typing import Protocol, TypeVar


class Drawn(Protocol):
    """A sheet. staff: its height, millimetres; hard: turns without time to turn."""

    @property
    def staff(self) -> float: ...

    @property
    def hard(self) -> int: ...


_T = TypeVar("_T", bound=Drawn)


def made_alike(
    sheets: Mapping[int, _T],
    sections: Sequence[Hashable],
    draw: Callable[[Mapping[int, int | None]], Mapping[int, _T]],
) -> dict[int, _T]:
    """The sheets, by part, with some drawn anew where a section has more than two sizes: those of
    the size between at the last level of page economy; where that costs turns and this does not,
    the largest ones at the level between. sections: of each part; draw: draws parts, each at a
    level or (None) at the one that it took by itself, in place of what was drawn of them before."""
    found = dict(sheets)
    members: dict[Hashable, list[int]] = defaultdict(list)
    for part in sheets:
        members[sections[part]].append(part)
    for parts in members.values():
        sizes = sorted({sheets[part].staff for part in parts})
        if len(sizes) < 3:
            continue
        kept: dict[int, _T] = {}
        least = 0
        for size, level in ((sizes[1], 2), (sizes[2], 1)):
            drawn = draw({part: level for part in parts if sheets[part].staff == size})
            cost = sum(sheet.hard - sheets[part].hard for part, sheet in drawn.items())
            if kept and cost >= least:
                kept |= draw(dict.fromkeys(drawn))
                break
            kept = {**draw(dict.fromkeys(kept)), **drawn}
            least = cost
            if cost <= 0:
                break
        found |= kept
    return found
