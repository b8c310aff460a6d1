"""What a part is called: one label for each, unique in its chart, and one way to find a part by
what a person calls it."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Sequence
from difflib import get_close_matches
from typing import NamedTuple

from sectionprep.errors import BadArgument
from sectionprep.music.chart import Part
from sectionprep.music.instruments import SECTIONS
from sectionprep.music.part_names import section_called

#: what is left of a name that only tells players of one kind apart: "1", "2nd", "III.", "1 & 2"
_ONLY_A_NUMBER = re.compile(
    r"(?:no\.?|nr\.?|#)?"
    r"(?:[\s,.&+/-]*(?:and|und|et|e|y)?\s*(?:\d{1,2}(?:st|nd|rd|th|er|e)?|[ivx]{1,4})\b)+[\s.]*",
    re.IGNORECASE,
)


def clean_name(text: str | None) -> str:
    """A name on one line, without anything that cannot be printed."""
    words = " ".join((text or "").split())
    return "".join(c for c in words if c.isprintable())


def spoken_name(name: str, group: str) -> str:
    """What is said of a part: a name that is only a number, or is missing, needs its group ("1"
    of the Horns)."""
    if not name or _ONLY_A_NUMBER.fullmatch(name):
        return f"{group} {name}".strip()
    return name


def unique_labels(names: Sequence[str], groups: Sequence[str]) -> list[str]:
    """One label for each part, in score order. groups: the name of the bracketed group each
    stands in, or empty. Labels differ in more than capitals: "Trumpet", "Trumpet (2)"; a part
    without any name is "Part 3"."""
    spoken = [
        spoken_name(name, group) or f"Part {n}"
        for n, (name, group) in enumerate(zip(names, groups, strict=True), start=1)
    ]
    return _counted(_told_apart(spoken, groups))


def _told_apart(names: list[str], groups: Sequence[str]) -> list[str]:
    """Equal names that stand in differently named groups: "Choir 1 Soprano", "Choir 2 Soprano"."""
    homes: dict[str, list[str]] = {}
    for name, group in zip(names, groups, strict=True):
        homes.setdefault(name.casefold(), []).append(group.casefold())
    apart = {name for name, mine in homes.items() if 1 < len(mine) == len(set(mine) - {""})}
    return [
        f"{group} {name}" if name.casefold() in apart else name
        for name, group in zip(names, groups, strict=True)
    ]


def _counted(names: list[str]) -> list[str]:
    taken = {name.casefold() for name in names}
    seen: set[str] = set()
    labels = []
    for name in names:
        label, count = name, 1
        while label.casefold() in (seen if count == 1 else taken):
            count += 1
            label = f"{name} ({count})"
        seen.add(label.casefold())
        taken.add(label.casefold())
        labels.append(label)
    return labels


def short_names(parts: Sequence[Part]) -> list[str]:
    """What a player may be called in a word: the chair ("Alto 1") where it is sure and no other
    part's, else the label."""
    chairs = Counter(part.chair.says for part in parts)
    return [
        part.chair.says if part.chair.sure and chairs[part.chair.says] == 1 else part.label
        for part in parts
    ]


#: what a person may call a part, best first; a later kind counts only where no earlier one fits
_CALLED: tuple[Callable[[Part], tuple[str, ...]], ...] = (
    lambda part: (part.label,),
    lambda part: (part.name,),
    lambda part: (part.chair.says,),
    lambda part: (part.abbreviation,),
    lambda part: part.chair.players,
)


def find_part(parts: Sequence[Part], words: str) -> Part:
    """The part that a person means by its label, name, chair ("Alto 1") or abbreviation. Raises
    BadArgument where there is none, or more than one."""
    wanted = clean_name(words).casefold()
    for called in _CALLED:
        found = (
            [part for part in parts if wanted in map(str.casefold, called(part))] if wanted else []
        )
        if len(found) == 1:
            return found[0]
        if found:
            raise BadArgument(
                f"{words!r} may be {' or '.join(part.label for part in found)}.",
                remedy="Say which of them.",
            )
    labels = [part.label for part in parts]
    raise BadArgument(
        f"there is no part {words!r}.",
        remedy=f"{_meant(wanted, labels)}Parts: {', '.join(labels)}.",
    )


def _meant(wanted: str, names: Sequence[str]) -> str:
    """The name that a person may have meant, as a question."""
    by_said = {name.casefold(): name for name in names}
    near = get_close_matches(wanted, by_said, n=1, cutoff=0.6)
    return f"Did you mean {by_said[near[0]]}? " if near else ""


class Players(NamedTuple):
    """A section or one part: what it is called, and indices of its parts in score order."""

    name: str
    parts: tuple[int, ...]


def find_players(parts: Sequence[Part], words: str) -> Players:
    """Who is meant by the name of a section ("saxes") or of a part. Raises BadArgument where it is
    neither, with the nearest name suggested."""
    named = finds(parts, words)
    if named is not None:
        return Players(named.label, (named.index,))
    section = section_called(words)
    members = tuple(part.index for part in parts if section and part.chair.section == section)
    if members:
        return Players(section, members)
    sections = [s for s in SECTIONS if any(part.chair.section == s for part in parts)]
    labels = [part.label for part in parts]
    raise BadArgument(
        f"there is no section or part {words!r}.",
        remedy=f"{_meant(clean_name(words).casefold(), [*sections, *labels])}"
        f"Sections: {', '.join(sections)}. Parts: {', '.join(labels)}.",
    )


def finds(parts: Sequence[Part], words: str) -> Part | None:
    """The same where it is no failure to find none."""
    try:
        return find_part(parts, words)
    except BadArgument:
        return None
