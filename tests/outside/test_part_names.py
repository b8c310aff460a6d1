"""Names of instruments that music21 ships (music21/languageExcerpts/instrumentLookup.py, version
10: abbreviations, English, French, German, Italian, Spanish, and Russian in Latin letters) and what
we take them for.

classes of music21 -> our rows stand in tests/cases/music21_instruments.toml, with the names where
we judge otherwise and why.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from music21 import instrument as m21
from music21.languageExcerpts import instrumentLookup

from sectionprep.music.chairs import Clues, recognise
from sectionprep.music.instruments import instrument, instruments
from sectionprep.music.part_names import read_name

TABLE = tomllib.loads(
    (Path(__file__).parent.parent / "cases" / "music21_instruments.toml").read_text("utf-8")
)
LANGUAGES = ("abbreviation", "english", "french", "german", "italian", "russian", "spanish")


def _names(language: str) -> dict[str, str]:
    found: dict[str, str] = getattr(instrumentLookup, f"{language}ToClassName")
    return found


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_name_is_taken_for_what_it_is(language: str) -> None:
    """An open word ("alto") must at least mean the library's instrument too."""
    judged = TABLE["otherwise"].get(language, {})
    wrong = {
        name: (kind, read_name(name).keys)
        for name, kind in _names(language).items()
        if name not in judged
        and kind not in TABLE["families"]["classes"]
        and TABLE["classes"].get(kind) not in read_name(name).keys
    }
    assert wrong == {}
    assert [name for name in judged if name not in _names(language)] == []
    assert {name: read_name(name).keys[:1] for name in judged} == {
        name: (key,) if key else () for name, key in judged.items()
    }


def test_enough_of_them_are_held() -> None:
    held = sum(
        kind in TABLE["classes"] for language in LANGUAGES for kind in _names(language).values()
    )
    assert held - sum(map(len, TABLE["otherwise"].values())) > 950


def _winds() -> list[m21.Instrument]:
    kinds = [getattr(m21, name) for name, key in TABLE["classes"].items() if hasattr(m21, name)]
    return [kind() for kind in kinds]


@pytest.mark.parametrize("theirs", _winds(), ids=lambda one: type(one).__name__)
def test_sound_ids_and_transpositions_are_the_librarys(theirs: m21.Instrument) -> None:
    """music21.instrument gives each class its MusicXML sound id and its transposition; those of
    the sax and of unpitched instruments are left out there or not ours to compare."""
    key = TABLE["classes"][type(theirs).__name__]
    if theirs.instrumentSound and type(theirs).__name__ not in TABLE["sounds_otherwise"]["classes"]:
        assert recognise(Clues(name="", sound=theirs.instrumentSound)).instrument.key == key
    if (
        theirs.transposition is not None
        and type(theirs).__name__ not in TABLE["transpositions_otherwise"]["classes"]
    ):
        ours = instrument(key).transposition
        assert (ours.diatonic, ours.chromatic) == (
            theirs.transposition.generic.staffDistance,
            theirs.transposition.semitones,
        )


def test_the_families_are_complete() -> None:
    assert set(TABLE["classes"].values()) <= {one.key for one in instruments()}
