"""Other formats come in through music21 and leave as MusicXML. What that loses is said, every time."""

from __future__ import annotations

import warnings
from pathlib import Path

from sectionprep.errors import NotAScore
from sectionprep.musicxml.document import Document, parse_document
from sectionprep.settings import Limits

FORMATS = {
    ".krn": ("humdrum", "Humdrum"), ".abc": ("abc", "ABC"), ".mei": ("mei", "MEI"), ".mid": ("midi", "MIDI"),
    ".midi": ("midi", "MIDI"),
}
_LOSSES = {
    "MIDI": "spelling, slurs, marks and hairpins were not in the file, and rhythm is a guess",
    "ABC": "layout and some decorations are lost",
    "Humdrum": "layout and editorial signs are lost",
    "MEI": "layout and editorial signs are lost",
}


def is_foreign(path: Path) -> bool:
    """True for a file that has to be converted."""
    return path.suffix.lower() in FORMATS


def convert(path: Path, limits: Limits) -> tuple[Document, str]:
    """The file as a MusicXML document, and what the conversion means. Raises NotAScore."""
    import music21

    kind, says = FORMATS[path.suffix.lower()]
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            parsed = music21.converter.parse(path, format=kind, forceSource=True)
            data = music21.musicxml.m21ToXml.GeneralObjectExporter(parsed).parse()
    except Exception as error:  # the library raises whatever its parsers meet
        raise NotAScore(
            f"cannot be read as {says} ({type(error).__name__}).", where=str(path),
            remedy="Export the chart as MusicXML and try that file.",
        ) from error
    document = parse_document(path, data, limits)
    return document, f"was converted from {says} through music21: {_LOSSES[says]}; the marked score is MusicXML"
