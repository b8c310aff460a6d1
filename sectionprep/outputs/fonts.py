"""Fonts for the printed pages: a music font and a text face that come inside the engraver's own package.

Read from the installed package at run time and embedded as subsets, so nothing has to be installed on the
machine and nothing is shipped by us. Letters that the text face lacks print as a hollow box, never as a crash.
"""

from __future__ import annotations

import base64
import io
import os
import re
from contextlib import suppress
from functools import cache, lru_cache
from itertools import islice
from pathlib import Path
from xml.etree import ElementTree

MUSIC = "sectionprep-music"
TEXT, BOLD, ITALIC = (f"sectionprep-text{n}" for n in ("", "-bold", "-italic"))
_MISSING = "\u25a1"


@cache
def _data() -> Path:
    import verovio

    return Path(verovio.__file__).parent / "data"


@cache
def _ttf(sheet: str, count: int) -> tuple[bytes, ...]:
    """The first `count` fonts of a style sheet, unpacked; unpacking takes half a second, so it is remembered."""
    kept = [_cache_folder() / f"{sheet}-{n}.ttf" for n in range(count)]
    try:
        return tuple(path.read_bytes() for path in kept)
    except OSError:
        fonts = _unpack(sheet, count)
    with suppress(OSError):  # no place to remember them: unpack them again next time
        for path, data in zip(kept, fonts, strict=True):
            path.parent.mkdir(parents=True, exist_ok=True)
            fresh = path.with_suffix(f".{os.getpid()}")
            fresh.write_bytes(data)
            os.replace(fresh, path)
    return fonts


def _cache_folder() -> Path:
    from importlib.metadata import version

    base = os.environ.get("XDG_CACHE_HOME") or str(Path.home() / ".cache")
    return Path(base) / "sectionprep" / f"fonts-{version('verovio')}"


def _unpack(sheet: str, count: int) -> tuple[bytes, ...]:
    from fontTools.ttLib import TTFont

    fonts = []
    for match in islice(re.finditer(r"base64,([A-Za-z0-9+/=]+)", (_data() / sheet).read_text()), count):
        font = TTFont(io.BytesIO(base64.b64decode(match[1])))
        font.flavor = None
        out = io.BytesIO()
        font.save(out)
        fonts.append(out.getvalue())
    return tuple(fonts)


@cache
def register() -> None:
    """Make the fonts known to reportlab; called before anything is drawn. A page embeds only the letters that stand on it,
    and its streams stay binary: half the size."""
    from reportlab import rl_config
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    rl_config.useA85 = 0
    for name, data in zip((TEXT, BOLD, ITALIC, MUSIC), (*_ttf("Liberation.css", 3), *_ttf("Leipzig.css", 1)), strict=True):
        pdfmetrics.registerFont(TTFont(name, io.BytesIO(data), asciiReadable=False))


@cache
def _known(name: str) -> frozenset[str]:
    from reportlab.pdfbase import pdfmetrics

    register()
    return frozenset(map(chr, pdfmetrics.getFont(name).face.charToGlyph)) - {chr(n) for n in range(32)}


def printable(text: str, font: str = TEXT) -> str:
    """The text with every letter that the font lacks replaced by a visible box."""
    known = _known(font)
    if known.issuperset(text):
        return text
    substitute = _MISSING if _MISSING in known else "?"
    return "".join(c if c in known else substitute for c in text if c >= " ")


@lru_cache(20_000)
def width(text: str, font: str, size: float) -> float:
    """Width in points."""
    from reportlab.pdfbase import pdfmetrics

    register()
    return float(pdfmetrics.stringWidth(text, font, size))


def fitted(text: str, font: str, size: float, room: float) -> str:
    """The text, cut with an ellipsis where it is wider than `room` points."""
    text = printable(text, font)
    if width(text, font, size) <= room:
        return text
    while text and width(text + "\u2026", font, size) > room:
        text = text[:-1]
    return text.rstrip() + "\u2026"


@cache
def glyph_boxes() -> dict[str, tuple[float, float, float, float]]:
    """Bounding box (x, y, width, height; y up) of each music glyph by code point in hex, 1000 units an em."""
    root = ElementTree.parse(_data() / "Leipzig.xml").getroot()
    return {
        g.get("c", ""): (float(g.get("x", 0)), float(g.get("y", 0)), float(g.get("w", 0)), float(g.get("h", 0)))
        for g in root.iter("g")
    }
