"""What a browser may ask to be done, checked field by field before anything is done."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any, TypeVar

from sectionprep.errors import BadArgument
from sectionprep.music.marks import MARKS, ORNAMENTS, SLURS
from sectionprep.review.decisions import SIGNS, VERBS
from sectionprep.review.view import PITCHES, WIDTHS, View

_T = TypeVar("_T")
#: what can be put on a note, as in the plan file; of ornaments the shake alone
CHOICES = tuple(mark for mark in MARKS if mark.name not in SLURS | (ORNAMENTS - {"shake"}))
_NAMES = frozenset(mark.name for mark in CHOICES)
_LONGEST = 200  # characters of a word that is no name; judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class PageWish:
    """A decision as it comes from the page. seen: the version of the plan it was made on; insist:
    whatever was decided since; sign, value, until: a dynamic or a hairpin from tick to
    until; view: what is to be drawn anew, if anything."""

    passage: str = ""
    tick: int = -1
    verb: str = ""
    mark: str = ""
    everywhere: bool = False
    sign: str = ""
    value: str = ""
    until: int = -1
    reading: str = ""
    habit: str = ""
    wanted: bool = True
    finding: str = ""
    settled: str = ""
    seen: int = 0
    insist: bool = False
    view: View | None = None


def read_wish(body: bytes, passages: frozenset[str]) -> PageWish:
    """What was sent as a wish. Raises BadArgument for anything else."""
    try:
        data = json.loads(body)
    except (ValueError, RecursionError):
        data = None
    if not isinstance(data, dict):
        raise BadArgument("that is no decision.")
    passage = _take(data, "passage", "")
    if passage and passage not in passages:
        raise BadArgument("there is no such passage.")
    verb, mark = _take(data, "verb", ""), _take(data, "mark", "")
    if verb not in ("", *VERBS) or mark not in ("", *_NAMES) or (verb == "mark") != bool(mark):
        raise BadArgument("that is no mark I know.")
    sign, value = _take(data, "sign", ""), _take(data, "value", "")
    if value not in SIGNS.get(sign, ("",)):
        raise BadArgument("that is no dynamic or hairpin I know.")
    return PageWish(
        passage=passage,
        tick=_take(data, "tick", -1),
        verb=verb,
        mark=mark,
        everywhere=_take(data, "everywhere", False),
        sign=sign,
        value=value,
        until=_take(data, "until", -1),
        reading=_take(data, "reading", ""),
        habit=_take(data, "habit", ""),
        wanted=_take(data, "wanted", True),
        finding=_take(data, "finding", ""),
        settled=_take(data, "settled", ""),
        seen=_take(data, "version", 0),
        insist=_take(data, "insist", False),
        view=_view(data, passage),
    )


def _view(data: dict[str, Any], passage: str) -> View | None:
    width, pitch = _take(data, "width", 0), _take(data, "pitch", "")
    if not passage or not width:
        return None
    if width not in WIDTHS or pitch not in PITCHES:
        raise BadArgument("that is no view I know.")
    return View(passage=passage, stretch=_take(data, "stretch", 0), width=width, pitch=pitch)


def _take(data: dict[str, Any], name: str, otherwise: _T) -> _T:
    value = data.get(name, otherwise)
    if type(value) is not type(otherwise) or (isinstance(value, str) and len(value) > _LONGEST):
        raise BadArgument(f"{name} is not what it should be.")
    return value
