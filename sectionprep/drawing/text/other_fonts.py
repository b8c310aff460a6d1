"""Letters that our own text face lacks, out of a font that is installed on this machine.

A font is looked for only when such a letter is met. What each font holds is remembered beside our
own fonts, so that a machine with hundreds of them is searched once. Only the letters asked for are
taken over, as outlines that can be embedded whatever kind of font they come from.
"""

from __future__ import annotations

import io
import json
import logging
import os
import sys
import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from functools import cache
from pathlib import Path
from typing import Any

_SUFFIXES = frozenset({".ttf", ".otf", ".ttc", ".otc"})
_SLANTED_OR_HEAVY = (
    "bold",
    "italic",
    "oblique",
    "mono",
    "black",
    "light",
    "thin",
    "condensed",
    "medium",
)
_SHAPED = (
    (0x0900, 0x109F),
    (0x1780, 0x17FF),
)  # scripts whose letters change with their neighbours (Unicode blocks)
Ranges = list[list[int]]


def folders() -> list[Path]:
    """Where fonts lie on the usual systems; those of the person first."""
    home = Path.home()
    if sys.platform == "win32":
        return [
            Path(os.environ.get("LOCALAPPDATA", home)) / "Microsoft/Windows/Fonts",
            Path(os.environ.get("WINDIR", "C:/Windows")) / "Fonts",
        ]
    if sys.platform == "darwin":
        return [home / "Library/Fonts", Path("/Library/Fonts"), Path("/System/Library/Fonts")]
    return [
        home / ".local/share/fonts",
        home / ".fonts",
        Path("/usr/local/share/fonts"),
        Path("/usr/share/fonts"),
    ]


def can_be_set(letter: str) -> bool:
    """Whether a letter reads right when it is simply put after the one before it: not in scripts
    that run from the right or whose letters join."""
    code = ord(letter)
    return unicodedata.bidirectional(letter) not in ("R", "AL") and not any(
        a <= code <= b for a, b in _SHAPED
    )


def files_with(letters: Iterable[str], memory: Path) -> list[tuple[Path, frozenset[str]]]:
    """The font files that hold these letters, and which of them each is to give; as few files as a
    plain search finds. memory: a file in which the search remembers what fonts hold."""
    wanted = {letter for letter in letters if can_be_set(letter)}
    if not wanted:
        return []
    known = _remembered(memory)
    before = len(known)
    found: list[tuple[Path, frozenset[str]]] = []
    for path in _files():
        ranges = _ranges_of(path, known)
        here = frozenset(
            letter for letter in wanted if any(a <= ord(letter) <= b for a, b in ranges)
        )
        if here:
            found.append((path, here))
            wanted -= here
        if not wanted:
            break
    if len(known) != before:
        _remember(memory, known)
    return found


@cache
def _files() -> tuple[Path, ...]:
    """All font files, upright ones of usual weight first."""
    found: list[Path] = []
    for folder in folders():
        with suppress(OSError):
            found += sorted(p for p in folder.rglob("*") if p.suffix.lower() in _SUFFIXES)
    return tuple(
        sorted(found, key=lambda p: any(word in p.stem.lower() for word in _SLANTED_OR_HEAVY))
    )


def _ranges_of(path: Path, known: dict[str, Ranges]) -> Ranges:
    """The code points of a font as ranges (first, last); none for a file that cannot be read."""
    try:
        key = f"{path}|{path.stat().st_mtime_ns}"
    except OSError:
        return []
    if key not in known:
        known[key] = []
        with (
            suppress(Exception),
            _opened(path) as font,
        ):  # font files are anybody's: what is damaged holds no letters
            known[key] = _as_ranges(sorted(font.getBestCmap() or ()))
    return known[key]


def _as_ranges(codes: Sequence[int]) -> Ranges:
    ranges: Ranges = []
    for code in codes:
        if ranges and code == ranges[-1][1] + 1:
            ranges[-1][1] = code
        else:
            ranges.append([code, code])
    return ranges


def _remembered(memory: Path) -> dict[str, Ranges]:
    """What an earlier run found in each font; damaged entries are looked for anew."""
    try:
        data = json.loads(memory.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return {}
    return {k: v for k, v in data.items() if _are_ranges(v)} if isinstance(data, dict) else {}


def _are_ranges(value: object) -> bool:
    return isinstance(value, list) and all(
        isinstance(pair, list) and len(pair) == 2 and all(isinstance(n, int) for n in pair)
        for pair in value
    )


def _remember(memory: Path, known: dict[str, Ranges]) -> None:
    with suppress(OSError):  # no place to remember it: search again next time
        memory.parent.mkdir(parents=True, exist_ok=True)
        fresh = memory.with_suffix(f".{os.getpid()}")
        fresh.write_text(json.dumps(known), encoding="utf-8")
        os.replace(fresh, memory)


@contextmanager
def _opened(path: Path) -> Iterator[Any]:
    """The font in a file, the first one of a collection."""
    from fontTools.ttLib import TTFont

    with path.open("rb") as file:
        yield TTFont(file, fontNumber=0, lazy=True)


def few_letters(path: Path, letters: Iterable[str], name: str) -> bytes:
    """A TrueType font with just these letters of the one in the file. name: its own, since a PDF
    tells fonts apart by name."""
    from fontTools.subset import Options, Subsetter

    logging.getLogger("fontTools").setLevel(
        logging.ERROR
    )  # it tells of every table that it leaves out
    options = Options(
        layout_features=[], notdef_outline=True, hinting=False, ignore_missing_unicodes=True
    )
    options.drop_tables += [
        "GSUB",
        "GPOS",
        "GDEF",
        "MATH",
        "COLR",
        "CPAL",
        "SVG ",
        "vhea",
        "vmtx",
        "VORG",
        "BASE",
    ]
    subsetter = Subsetter(options)
    subsetter.populate(text="".join(letters))
    out = io.BytesIO()
    with _opened(path) as font:
        subsetter.subset(font)
        for record in (1, 4, 6):  # family, full name, PostScript name
            font["name"].setName(name, record, 3, 1, 0x409)
            font["name"].setName(name, record, 1, 0, 0)
        if "CFF " in font:
            _as_truetype(font)
        font.save(out)
    return out.getvalue()


_CLOSE_ENOUGH = 0.001  # of an em: how far a converted curve may be from the original


def _as_truetype(font: Any) -> None:
    """Turn cubic outlines into quadratic ones, in place: PDF writers embed only those."""
    from fontTools.pens.cu2quPen import Cu2QuPen
    from fontTools.pens.ttGlyphPen import TTGlyphPen
    from fontTools.ttLib import newTable

    shapes, order = font.getGlyphSet(), font.getGlyphOrder()
    glyphs = {}
    for name in order:
        pen = TTGlyphPen(None)
        shapes[name].draw(
            Cu2QuPen(pen, font["head"].unitsPerEm * _CLOSE_ENOUGH, reverse_direction=True)
        )
        glyphs[name] = pen.glyph()
    outlines = font["glyf"] = newTable("glyf")
    outlines.glyphOrder, outlines.glyphs = order, glyphs
    font["loca"] = newTable("loca")
    del font["CFF "]
    sizes = font["maxp"]
    sizes.tableVersion = 0x00010000
    for name in (
        "maxTwilightPoints",
        "maxStorage",
        "maxFunctionDefs",
        "maxInstructionDefs",
        "maxStackElements",
        "maxSizeOfInstructions",
        "maxZones",
    ):
        setattr(sizes, name, int(name == "maxZones"))
    font["head"].glyphDataFormat = 0
    font["post"].formatType = 3.0
    font.sfntVersion = "\000\001\000\000"
