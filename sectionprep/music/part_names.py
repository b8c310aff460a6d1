"""Reading the name of a part: which instruments it may mean, which numbers it bears, which key it
stands in.

A name is cut into plain words (no accents, dots, capitals or plural endings). The longest
instrument in them is found first, then the key ("in Bb"); so "Bass Clarinet in Bb" is a bass
clarinet. The words stand in shared/names.toml, the instruments in shared/instruments.toml.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import product

from sectionprep.music.instruments import SECTIONS, instruments
from sectionprep.settings import load_toml
from sectionprep.shapes import File, shaped

Words = tuple[str, ...]

_MOST = 12  # players of one kind: a higher number in a name is none of a player (judgement)


@dataclass(frozen=True, slots=True, kw_only=True)
class Said:
    """What a name says. keys: of the instruments it may mean, the likeliest first; empty for
    none. numbers: of the players, in order. pitch: (semitone, step) of the note that sounds for
    a written C, where the name has it."""

    keys: tuple[str, ...] = ()
    numbers: tuple[int, ...] = ()
    pitch: tuple[int, int] | None = None


# -- plain words ---------------------------------------------------------------------------------

_SIGNS = str.maketrans(
    {
        "♭": "b",
        "♯": "#",
        "ø": "o",
        "Ø": "O",
        "ł": "l",
        "Ł": "L",
        "æ": "ae",
        "ı": "i",
        "œ": "oe",
        "Œ": "Oe",
        "'": " ",
        "’": " ",
    }
)
_CAPITAL_INSIDE = re.compile(r"(?<=[^\W\d_A-Z])(?=[A-Z][^\W\d_A-Z])")
_BEFORE_DIGIT = re.compile(r"(?<=[^\W\d_])(?=\d)")
_ORDINAL = re.compile(
    r"(?<!\w)(\d{1,2})(?:st|nd|rd|th|er|re|ere|eme|e|o|a|te|ter|º|ª)(?!\w)", re.IGNORECASE
)


def _folded(text: str) -> str:
    """Small letters without accents."""
    text = text.translate(_SIGNS).casefold()
    return (
        text
        if text.isascii()
        else "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))
    )


@lru_cache(8192)
def plain_words(text: str) -> Words:
    """The words of a name as they are compared."""
    text = _folded(_CAPITAL_INSIDE.sub(" ", text))
    text = _BEFORE_DIGIT.sub(" ", _ORDINAL.sub(r"\1 ", text))
    return tuple(_stem(word) for word in re.findall(r"[^\W_]+", text))


_WHOLE = frozenset(
    {"violone", "claves", "clavier", "coro", "bassus"}
)  # are not violon, clave, cor, bass


@lru_cache(4096)
def _stem(word: str) -> str:
    """A word without its plural or last vowel: trombone, tromboni, trombones and trombon are
    one. Short words stay."""
    if len(word) <= 3 or not word.isalpha() or word in _WHOLE:
        return word
    if word.endswith("s") and not word.endswith("ss"):
        word = word[:-1]
    for ending in ("en", "er"):
        if word.endswith(ending) and len(word) > len(ending) + 2:
            word = word[: -len(ending)]
            break
    return word[:-1] if len(word) > 3 and word[-1] in "aeiouy" else word


# -- the tables ----------------------------------------------------------------------------------


class _Names(File, frozen=True, kw_only=True):
    """shared/names.toml, which says at its top what each table is."""

    words: dict[str, tuple[str, ...]]
    open: dict[str, tuple[str, ...]]
    groups: dict[str, tuple[str, ...]]
    keys: dict[str, tuple[int, int]]


@cache
def _table() -> _Names:
    name = "shared/names.toml"
    return shaped(load_toml(name), _Names, name, {})


@cache
def _spellings() -> dict[Words, tuple[str, ...]]:
    """Every way to write an instrument, as plain words, with what it may mean. Two words may be
    written as one."""
    found: dict[Words, tuple[str, ...]] = {}
    for row in instruments():
        for alias in row.aliases:
            for words in written_out(alias):
                found.setdefault(words, (row.key,))
    for name, keys in _table().open.items():
        found[plain_words(name)] = keys
    return found


def written_out(alias: str) -> set[Words]:
    """Every way to write an alias of the instrument table, as plain words. Two words may be written
    as one: "Altsax"."""
    choices = [
        _table().words[piece[1:-1]] if piece.startswith("<") else (piece,)
        for piece in alias.split()
    ]
    found: set[Words] = set()
    for pieces in product(*choices):
        words = tuple(word for piece in pieces for word in plain_words(piece))
        glued = "".join(pieces)
        found.add(words)
        if " " not in glued:
            found.add((_stem(_folded(glued)),))
    return found


@cache
def _pitches() -> dict[Words, tuple[int, int]]:
    return {plain_words(name): pitch for name, pitch in _table().keys.items()}


@cache
def _groups() -> dict[Words, str]:
    return {
        plain_words(name): section for section, names in _table().groups.items() for name in names
    }


def section_named(group: str) -> str:
    """The section that the name of a bracketed group means, or empty."""
    words = plain_words(group)
    for first, last in _spans(words):
        if words[first:last] in _groups():
            return _groups()[words[first:last]]
    return ""


def section_called(words: str) -> str:
    """The section that a person means by these words and no others ("saxes", "the sax section"), or
    empty."""
    for said in (words, re.sub(r"^the\s+|\s+section$", "", words.strip(), flags=re.IGNORECASE)):
        if (section := _groups().get(plain_words(said))) is not None:
            return section
    return words.strip().casefold() if words.strip().casefold() in SECTIONS else ""


# -- reading -------------------------------------------------------------------------------------

_ASIDE = re.compile(r"[(\[{](.*?)[)\]}]")
_APART = re.compile(
    r"[/&+,;]|\band\b|\bund\b|\bet\b|\by\b|\bdoubling\b|\bdbl\b|(?<=[\divx])\s+e\s+(?=[\divx])",
    re.IGNORECASE,
)
#: a key and its octave: "Horn in Bb basso", "Bb alto Horn"
_OCTAVE = re.compile(
    r"(\b(?:in|en)\s+\S+(?:\s+(?:flat|b|bemolle|b[eé]mol))?)\s+(?:basso|basse|alto|haut)\b"
    r"|(\b[A-H][b♭]?(?:\s+flat)?)\s+(?:basso\b|alto(?=\s+(?:horn|corno|cor|hn)\b))",
    re.IGNORECASE,
)
_LONGEST = 4  # words of an instrument's name


@lru_cache(1024)
def read_name(text: str) -> Said:
    """What the name of a part says. "Alto 2 (Flute)" sits in the alto chair, "Flute, Piccolo" in
    the flute's."""
    text = _OCTAVE.sub(lambda found: found[1] or found[2], text.replace("_", " "))
    outside, inside = _ASIDE.sub(" ", text), " ".join(_ASIDE.findall(text))
    numbers = _numbers(outside) or _numbers(inside)
    pieces = [
        words
        for piece in (*_APART.split(outside), *_APART.split(inside))
        if (words := _without_numbers(plain_words(piece)))
    ]
    turned = tuple(word for piece in reversed(pieces[:2]) for word in piece)  # "Clarinet, Bass"
    straight = tuple(word for piece in pieces[:2] for word in piece)
    for words in (turned, straight) if len(pieces) > 1 and _only_adds(pieces[1]) else ():
        if len("".join(words)) > 3 and words in _spellings() and len(_spellings()[words]) == 1:
            return Said(keys=_spellings()[words], numbers=numbers)
    letters = all(len("".join(words)) == 1 for words in pieces)
    for n, words in enumerate(pieces):
        found = _longest(words) if letters or len("".join(words)) > 1 else None  # "C, G Timpani"
        if found is not None:
            first, last = found
            keys = _narrowed(_spellings()[words[first:last]], pieces[n + 1 :])
            pitch = _pitch(words[:first], words[last:]) or _pitch_in(pieces)
            return Said(keys=keys, numbers=_as_pairs(numbers), pitch=pitch)
    return Said(numbers=tuple(number for number in numbers if number <= _MOST))


def _narrowed(keys: tuple[str, ...], others: Sequence[Words]) -> tuple[str, ...]:
    """What an open name means in the light of what stands behind it: "Reed 1 (Alto, Flute)"."""
    for words in others if len(keys) > 1 else ():
        found = _longest(words)
        both = [
            key
            for key in (_spellings()[words[found[0] : found[1]]] if found else ())
            if key in keys
        ]
        if both:
            return (both[0],)
    return keys


def exactly(text: str) -> tuple[str, ...]:
    """What words mean that name an instrument and nothing else, a number and a key apart: "Bb
    Clarinet 2"."""
    words = _without_numbers(plain_words(text))
    if words in _spellings():
        return _spellings()[words]
    found = _longest(words)
    if found is None or not _says_little(words[: found[0]] + words[found[1] :]):
        return ()
    return _spellings()[words[found[0] : found[1]]]


def _only_adds(words: Words) -> bool:
    """True for a piece that names no instrument of its own but may say which: "Bass", "Alto",
    "French"."""
    keys = _spellings().get(words, ())
    return len(keys) != 1


def _spans(words: Words) -> Iterator[tuple[int, int]]:
    """All stretches of words, the longest (in letters) first; of equally long ones the first."""
    found = [
        (first, last)
        for first in range(len(words))
        for last in range(first + 1, min(len(words), first + _LONGEST) + 1)
    ]
    return iter(sorted(found, key=lambda span: (-sum(map(len, words[span[0] : span[1]])), span)))


def _longest(words: Words) -> tuple[int, int] | None:
    for first, last in _spans(words):
        rest = words[:first] + words[last:]
        letters = len("".join(words[first:last]))
        if words[first:last] in _spellings() and (letters > 2 or _says_little(rest)):
            return first, last
    return None


def _says_little(words: Words) -> bool:
    """One or two letters name an instrument only where hardly anything else stands: not in "As
    it was"."""
    return all(word in _IN or word == "sol" or (word,) in _pitches() for word in words)


def _pitch_in(pieces: Sequence[Words]) -> tuple[int, int] | None:
    """The key where it stands apart from the instrument: "Trumpet 1 (Bb)"."""
    for words in pieces:
        if words in _pitches() and _is_flat(words):
            return _pitches()[words]
        if (found := _pitch((), words)) is not None and words[0] in _IN:
            return found
    return None


def _is_flat(words: Words) -> bool:
    """True for a key that is no word of another meaning: "Bb", "E flat", "Mib"; "Sol" may be a
    soloist."""
    return len(words) > 1 or words[0] in (
        "bb",
        "bbb",
        "eeb",
        "eb",
        "ab",
        "db",
        "es",
        "des",
        "sib",
        "mib",
        "lab",
        "reb",
    )


_IN = frozenset({"in", "en", "i", "auf", "di"})


def _pitch(before: Words, after: Words) -> tuple[int, int] | None:
    """The key in the words before and behind an instrument. One letter counts beside "in" or
    beside the instrument."""
    for words in (after, before):
        for first in range(len(words)):
            for last in range(min(len(words), first + 2), first, -1):
                pitch = _pitches().get(words[first:last])
                beside = first == 0 if words is after else last == len(words)
                after_in = first > 0 and words[first - 1] in _IN
                if pitch is not None and (
                    after_in or _is_flat(words[first:last]) or (beside and len(words[first]) == 1)
                ):
                    return pitch
    return None


# -- numbers -------------------------------------------------------------------------------------

_RANGE = re.compile(r"(?<!\w)(\d{1,2})\s*[-\u2013]\s*(\d{1,2})(?!\w)")
_BOTH = re.compile(r"(?<=\w )a ?([2-4])(?!\w)")  # "Flutes a2": all of them on one staff
_ROMAN = {"i": 1, "ii": 2, "iii": 3, "iv": 4, "v": 5, "vi": 6, "vii": 7, "viii": 8}
_COUNTED = {
    "first": 1,
    "second": 2,
    "third": 3,
    "fourth": 4,
    "fifth": 5,
    "lead": 1,
    "primo": 1,
    "secondo": 2,
    "terzo": 3,
    "quarto": 4,
    "erste": 1,
    "zweite": 2,
    "dritte": 3,
    "vierte": 4,
    "premier": 1,
    "deuxieme": 2,
    "troisieme": 3,
    "primera": 1,
    "segunda": 2,
    "tercera": 3,
    "primero": 1,
    "segundo": 2,
    "tercero": 3,
}
_COUNTED_WORDS = {_stem(word): number for word, number in _COUNTED.items()}


def _numbers(text: str) -> tuple[int, ...]:
    both = _BOTH.search(text)
    if both:
        return tuple(range(1, int(both[1]) + 1))
    text = _RANGE.sub(lambda m: _all_between(int(m[1]), int(m[2])), text)
    words = plain_words(text)
    found = [int(word) for word in words if word.isdecimal() and 0 < int(word) < 100]
    if not found and len(words) > 1:
        found = [
            number for word in words if (number := _COUNTED_WORDS.get(word) or _ROMAN.get(word))
        ]
    return tuple(dict.fromkeys(found))


def _all_between(first: int, last: int) -> str:
    if last > _MOST:
        return ""  # all the violins
    return " ".join(map(str, range(first, last + 1))) if first < last else f"{first} {last}"


def _as_pairs(numbers: tuple[int, ...]) -> tuple[int, ...]:
    """ "Horn 34" is the third and the fourth; other numbers above a dozen are nobody's."""
    found: list[int] = []
    for number in numbers:
        tens, ones = divmod(number, 10)
        if tens and ones == tens + 1:
            found += [tens, ones]
        elif number <= _MOST:
            found.append(number)
    return tuple(dict.fromkeys(found))


def _without_numbers(words: Words) -> Words:
    """The words that name something; a letter alone is kept, for it may be a voice."""
    kept = tuple(word for word in words if not word.isdecimal() and word not in _COUNTED_WORDS)
    plain = tuple(word for word in kept if word not in _ROMAN or word == "v")
    return plain or kept
