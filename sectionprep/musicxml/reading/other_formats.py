"""Other formats come in through music21 and leave as MusicXML. What that loses is said, every
time."""

from __future__ import annotations

import re
import warnings
from pathlib import Path

from sectionprep.errors import BadArgument, NotAScore
from sectionprep.musicxml.document import Document, parse_document
from sectionprep.musicxml.files import read_bytes
from sectionprep.settings import Limits

FORMATS = {
    ".krn": ("humdrum", "Humdrum"),
    ".abc": ("abc", "ABC"),
    ".mei": ("mei", "MEI"),
    ".mid": ("midi", "MIDI"),
    ".midi": ("midi", "MIDI"),
}
_LOSSES = {
    "MIDI": "spelling, slurs, marks and hairpins were not in the file, and rhythm is a guess",
    "ABC": "layout and some decorations are lost",
    "Humdrum": "layout and editorial signs are lost",
    "MEI": "layout and editorial signs are lost",
}
_MOST_LISTED = 40  # tunes in one message: about a screen (judgement)


def is_foreign(path: Path) -> bool:
    """True for a file that has to be converted."""
    return path.suffix.lower() in FORMATS


def convert(path: Path, limits: Limits, tune: int | None = None) -> tuple[Document, str]:
    """The file as a MusicXML document, and what the conversion means. tune: which one of an ABC
    collection. Raises NotAScore; BadArgument where a tune must be named, or there is none of
    that number."""
    import music21

    kind, says = FORMATS[path.suffix.lower()]
    raw = read_bytes(path, limits)
    text = _one_tune(path, raw, tune) if kind == "abc" else None
    if tune is not None and text is None:
        raise no_collection(path)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            parsed = music21.converter.parse(
                path if text is None else text, format=kind, forceSource=True
            )
            data = music21.musicxml.m21ToXml.GeneralObjectExporter(parsed).parse()
    except Exception as error:  # the library raises whatever its parsers meet
        raise NotAScore(
            f"cannot be read as {says} ({type(error).__name__}).",
            where=str(path),
            remedy="Export the chart as MusicXML and try that file.",
        ) from error
    document = parse_document(path, _without_stand_ins(data), limits)
    return (
        document,
        f"was converted from {says} through music21: {_LOSSES[says]}; the marked score is MusicXML",
    )


def no_collection(path: Path) -> BadArgument:
    """What is said to --tune where there is but one chart to take."""
    return BadArgument(
        f"{path} is no collection of tunes.", remedy="Leave --tune out; it is for ABC files."
    )


def _without_stand_ins(data: bytes) -> bytes:
    """The exported score without the title and the composer that the library puts where the file
    names none."""
    for stand_in in (
        rb"<movement-title>Music21 Fragment</movement-title>",
        rb"<creator type=\"composer\">Music21</creator>",
    ):
        data = re.sub(rb"\s*" + stand_in, b"", data)
    return data


# -- collections in ABC --------------------------------------------------------------------------

_TUNE = re.compile(r"^X:\s*(\d*)", re.MULTILINE)
_TITLE = re.compile(r"^T:[ \t]*(.*)", re.MULTILINE)


def _one_tune(path: Path, data: bytes, wanted: int | None) -> str:
    """The text of one tune, with the head of its file."""
    text = _decoded(data).replace("\r\n", "\n").replace("\r", "\n")
    starts = [found.start() for found in _TUNE.finditer(text)]
    if not starts and wanted is None:
        return text
    pieces = [text[start:end] for start, end in zip(starts, [*starts[1:], len(text)], strict=True)]
    tunes = dict(zip(_numbers(pieces), pieces, strict=True))
    if wanted is None and len(tunes) > 1:
        raise BadArgument(
            f"{path} holds {len(tunes)} tunes: {_listed(tunes)}.",
            remedy=f"Take one with --tune, for example --tune {next(iter(tunes))}.",
        )
    if wanted is not None and wanted not in tunes:
        raise BadArgument(f"{path} has no tune {wanted}.", remedy=f"Its tunes: {_listed(tunes)}.")
    return text[: starts[0]] + (tunes[wanted] if wanted is not None else pieces[0])


def _decoded(data: bytes) -> str:
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def _numbers(pieces: list[str]) -> list[int]:
    """The tunes' own numbers; where two are alike or one is missing, their places in the file,
    from 1."""
    own = [int(found[1]) if (found := _TUNE.match(piece)) and found[1] else 0 for piece in pieces]
    return own if len(set(own)) == len(own) and 0 not in own else list(range(1, len(own) + 1))


def _listed(tunes: dict[int, str]) -> str:
    said = [
        f"{number} {found[1].strip() if (found := _TITLE.search(piece)) else '(no title)'}"
        for number, piece in tunes.items()
    ]
    more = f"; and {len(said) - _MOST_LISTED} more" if len(said) > _MOST_LISTED else ""
    return "; ".join(said[:_MOST_LISTED]) + more
