"""Fonts for the printed pages: a music font and a text face that come inside the engraver's own
package.

Read from the installed package at run time and embedded as subsets, so nothing has to be installed
on the machine and nothing is shipped by us. Letters that the text face lacks come out of a font of
this machine (other_fonts.py); what none of them has prints as a hollow box, and `lacking` says so.
"""

from __future__ import annotations

import base64
import hashlib
import io
import os
import re
from bisect import bisect_right
from collections.abc import Iterable
from contextlib import suppress
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import groupby, islice
from operator import attrgetter
from pathlib import Path
from xml.etree import ElementTree

from sectionprep.drawing.text import other_fonts

MUSIC = "sectionprep-music"
TEXT, BOLD, ITALIC = (f"sectionprep-text{n}" for n in ("", "-bold", "-italic"))
_MISSING = "\u25a1"
#: of a web page: letters of the languages that our names are written in, and the signs of the music
#: font that stand between letters (accidentals, metronome notes, tuplet numbers)
WEB_LETTERS = (*range(0x20, 0x180), *range(0x2010, 0x2040), 0x266D, 0x266E, 0x266F)
WEB_SIGNS = (
    *range(0xE260, 0xE265),
    *range(0xE1D0, 0xE1F0),
    *range(0xE520, 0xE550),
    *range(0xE880, 0xE88A),
    *range(0xECA0, 0xECC0),
)


@cache
def _data() -> Path:
    import verovio

    return Path(verovio.__file__).parent / "data"


@cache
def _ttf(sheet: str, count: int) -> tuple[bytes, ...]:
    """The first `count` fonts of a style sheet, unpacked; unpacking takes half a second, so it is
    remembered."""
    kept = [_cache_folder() / f"{sheet}-{n}.ttf" for n in range(count)]
    with suppress(OSError):
        found = [path.read_bytes() for path in kept]
        if all(data[-_SEAL:] == _seal(data[:-_SEAL]) for data in found):
            return tuple(data[:-_SEAL] for data in found)
    fonts = _unpack(sheet, count)
    with suppress(OSError):  # no place to remember them: unpack them again next time
        for path, data in zip(kept, fonts, strict=True):
            path.parent.mkdir(parents=True, exist_ok=True)
            fresh = path.with_suffix(f".{os.getpid()}")
            fresh.write_bytes(data + _seal(data))
            os.replace(fresh, path)
    return fonts


_SEAL = 32  # bytes behind a remembered font, by which it is known whether it was damaged


def _seal(font: bytes) -> bytes:
    return hashlib.sha256(font).digest()


def _cache_folder() -> Path:
    from importlib.metadata import version

    base = os.environ.get("XDG_CACHE_HOME") or str(Path.home() / ".cache")
    return Path(base) / "sectionprep" / f"fonts-{version('verovio')}"


def _unpack(sheet: str, count: int) -> tuple[bytes, ...]:
    from fontTools.ttLib import TTFont

    fonts = []
    for match in islice(
        re.finditer(r"base64,([A-Za-z0-9+/=]+)", (_data() / sheet).read_text()), count
    ):
        font = TTFont(io.BytesIO(base64.b64decode(match[1])))
        font.flavor = None
        out = io.BytesIO()
        font.save(out)
        fonts.append(out.getvalue())
    return tuple(fonts)


@cache
def register() -> None:
    """Make the fonts known to reportlab; called before anything is drawn. A page embeds only the
    letters that stand on it, and its streams stay binary: half the size."""
    from reportlab import rl_config
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    rl_config.useA85 = 0
    for name in (TEXT, BOLD, ITALIC, MUSIC):
        pdfmetrics.registerFont(TTFont(name, io.BytesIO(font_file(name)), asciiReadable=False))


def font_file(name: str) -> bytes:
    """One of our four fonts as a TrueType file."""
    if name == MUSIC:
        return _ttf("Leipzig.css", 1)[0]
    return _ttf("Liberation.css", 3)[(TEXT, BOLD, ITALIC).index(name)]


@cache
def _known(name: str) -> frozenset[str]:
    from reportlab.pdfbase import pdfmetrics

    register()
    return frozenset(map(chr, pdfmetrics.getFont(name).face.charToGlyph)) - {
        chr(n) for n in range(32)
    }


@dataclass(frozen=True, slots=True)
class FontPiece:
    """Letters that stand in one font, times as large as the type size, raised by a share of it."""

    text: str
    font: str
    rise: float = 0.0
    times: float = 1.0


#: flat, natural and sharp out of the music font: the letter there, and the rise that brings it to
#: the height of a capital
_ACCIDENTALS = {"\u266d": ("\ue260", 0.2), "\u266e": ("\ue261", 0.36), "\u266f": ("\ue262", 0.36)}
_ACCIDENTAL_TIMES = 1.2  # of the type size: as high as a capital
_elsewhere: dict[str, str] = {}  # letters that other fonts give, and which; "" where none does


def _learn(letters: Iterable[str]) -> None:
    """Find fonts for letters that were never asked for."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFError, TTFont

    new = {letter for letter in letters if letter not in _elsewhere}
    _elsewhere.update(dict.fromkeys(new, ""))
    for path, here in other_fonts.files_with(new, _cache_folder() / "other.json"):
        name = f"sectionprep-other{len(_elsewhere)}-{re.sub('[^A-Za-z0-9]', '', path.stem)}"
        try:
            font = io.BytesIO(other_fonts.few_letters(path, here, name))
            pdfmetrics.registerFont(TTFont(name, font, asciiReadable=False))
        except (TTFError, OSError, AssertionError, KeyError, ValueError):
            continue  # it may be damaged, or forbid to be embedded: no letters from it
        _elsewhere.update(dict.fromkeys(here, name))


@lru_cache(20_000)
def pieces(text: str, font: str = TEXT) -> tuple[FontPiece, ...]:
    """The text, letter by letter in a font that has it; what no font has as a visible box."""
    known = _known(font)
    if known.issuperset(text):
        return (FontPiece(text, font),)
    _learn(c for c in text if c not in known and c not in _ACCIDENTALS and c >= " ")
    found: list[FontPiece] = []
    for c in text:
        if c < " ":
            continue
        piece = FontPiece(c, font)
        if c in _ACCIDENTALS and c not in known:
            sign, rise = _ACCIDENTALS[c]
            piece = FontPiece(sign, MUSIC, rise, _ACCIDENTAL_TIMES)
        elif c not in known:
            piece = FontPiece(c, _elsewhere[c]) if _elsewhere[c] else FontPiece(_box(known), font)
        found.append(piece)
    alike = groupby(found, key=attrgetter("font", "rise", "times"))
    return tuple(FontPiece("".join(p.text for p in some), *look) for look, some in alike)


def _box(known: frozenset[str]) -> str:
    return _MISSING if _MISSING in known else "?"


def lacking(text: str, font: str = TEXT) -> str:
    """The letters of a text that no font here has, each once."""
    known = _known(font)
    if known.issuperset(text):
        return ""
    pieces(text, font)
    missing = (c for c in text if c >= " " and c not in known and _elsewhere.get(c) == "")
    return "".join(dict.fromkeys(missing))


def printable(text: str, font: str = TEXT) -> str:
    """The text with every letter that no font has replaced by a visible box."""
    known = _known(font)
    if known.issuperset(text):
        return text
    missing = lacking(text, font)
    return "".join(_box(known) if c in missing else c for c in text if c >= " ")


@lru_cache(20_000)
def width(text: str, font: str, size: float) -> float:
    """Width in points."""
    from reportlab.pdfbase import pdfmetrics

    register()
    return sum(
        float(pdfmetrics.stringWidth(piece.text, piece.font, size * piece.times))
        for piece in pieces(text, font)
    )


_LONGEST = 5_000  # letters that anybody could read in one line of a page


def fitted(text: str, font: str, size: float, room: float) -> str:
    """The text, cut with an ellipsis where it is wider than `room` points."""
    text = printable(text[:_LONGEST], font)
    if width(text, font, size) <= room:
        return text
    fits = bisect_right(
        range(len(text)), room, key=lambda n: width(text[:n] + "\u2026", font, size)
    )
    return text[: max(fits - 1, 0)].rstrip() + "\u2026"


@cache
def glyph_boxes() -> dict[str, tuple[float, float, float, float]]:
    """Bounding box (x, y, width, height; y up) of each music glyph by code point in hex, 1000 units
    an em."""
    root = ElementTree.parse(_data() / "Leipzig.xml").getroot()
    return {
        g.get("c", ""): (
            float(g.get("x", 0)),
            float(g.get("y", 0)),
            float(g.get("w", 0)),
            float(g.get("h", 0)),
        )
        for g in root.iter("g")
    }


@cache
def web_font(name: str, codes: tuple[int, ...]) -> str:
    """Some signs of one of our fonts as an address that holds the font itself (WOFF2)."""
    from fontTools.subset import Options, Subsetter
    from fontTools.ttLib import TTFont

    font = TTFont(io.BytesIO(font_file(name)))
    subset = Subsetter(Options(notdef_outline=True, drop_tables=["FFTM"]))
    subset.populate(unicodes=codes)
    subset.subset(font)
    font.flavor = "woff2"
    out = io.BytesIO()
    font.save(out)
    return f"data:font/woff2;base64,{base64.b64encode(out.getvalue()).decode('ascii')}"
