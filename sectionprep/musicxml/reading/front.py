"""What stands over the music: title, makers, rights; and what its words and tempo marks say of all
of it."""

from __future__ import annotations

from collections.abc import Iterable

from lxml import etree

from sectionprep.music.notes import Direction
from sectionprep.musicxml.document import Document
from sectionprep.settings import writable


def title_of(document: Document) -> str:
    """The title of the movement or work, else the first credit, else the file's name."""
    root = document.root
    for path in ("{*}movement-title", "{*}work/{*}work-title"):
        found = root.find(path)
        if found is not None and found.text and found.text.strip():
            return " ".join(found.text.split())
    for credit in root.iterfind("{*}credit"):
        words = credit.find("{*}credit-words")
        if words is not None and words.text and words.text.strip():
            return " ".join(words.text.split())
    return writable(document.path.stem)


def creator_of(root: etree._Element, *kinds: str) -> str:
    """Who made it, in one of these ways; several people stand in the order of the file."""
    creators = root.iterfind("{*}identification/{*}creator")
    found = [_plain(e.text) for e in creators if e.get("type") in kinds]
    return ", ".join(dict.fromkeys(filter(None, found))) or ", ".join(_credits(root, *kinds))


def rights_of(root: etree._Element) -> tuple[str, ...]:
    """Every note on rights, once."""
    rights = root.iterfind("{*}identification/{*}rights")
    found = [_plain(e.text) for e in rights] or _credits(root, "rights")
    # a copyright sign alone says nothing
    return tuple(dict.fromkeys(text for text in found if any(c.isalnum() for c in text)))


def _credits(root: etree._Element, *kinds: str) -> list[str]:
    """What the credits of these types say, for files that name nobody elsewhere."""
    all_credits = root.iterfind("{*}credit")
    mine = [c for c in all_credits if _plain(c.findtext("{*}credit-type")) in kinds]
    said = [_plain(" ".join(w.text or "" for w in c.iterfind("{*}credit-words"))) for c in mine]
    return list(dict.fromkeys(filter(None, said)))


def tempos_of(found: Iterable[Direction]) -> tuple[tuple[int, float], ...]:
    """Every metronome mark of any part; where two stand at one place the last part's holds."""
    return tuple(sorted({d.onset: float(d.value) for d in found if d.kind == "metronome"}.items()))


def style_words_of(found: Iterable[Direction]) -> str:
    """The words of the first two bars, where a chart says its style."""
    first = [d for d in found if d.kind == "words" and d.bar <= 1]
    return "; ".join(dict.fromkeys(d.value for d in first))


def swing_of(found: Iterable[Direction]) -> bool | None:
    """Whether the file has its eighths swung; None where it does not say."""
    values = [(d.onset, d.value) for d in found if d.kind == "swing"]
    return min(values)[1] != "straight" if values else None


def _plain(text: str | None) -> str:
    return " ".join((text or "").split())
