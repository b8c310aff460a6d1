"""Shared fixtures: the demo chart at every stage, and the schema of MusicXML 4.0."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest
from lxml import etree

sys.path.insert(0, str(Path(__file__).parent))

from sectionprep import stages
from sectionprep.results import Marked, Options, Score

ROOT = Path(__file__).resolve().parent.parent
DEMO = ROOT / "demo_chart" / "late_tram_home.musicxml"
_SAXES, _TO_LETTER_C = 5, 27  # parts, bars

#: folders and modules of tests that kill, listen, browse, or run whole commands again and again:
#: `pytest` leaves them out, `pytest -m thorough` runs them; CI runs both
THOROUGH = (
    "outside",
    "practice",
    "review",
    "test_audition.py",
    "test_charts.py",
    "test_cluster.py",
    "test_decided_twice.py",
    "test_ends.py",
    "test_fuzz.py",
    "test_fuzz_commands.py",
    "test_hostile.py",
    "test_killed_commands.py",
    "test_long_names.py",
    "test_page_faults.py",
    "test_rehearsed.py",
    "test_sound.py",
    "test_stories.py",
    "test_workbook_in_office.py",
)
_LONGEST = ("test_fuzz_commands.py", "test_sound.py")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    for item in items:
        if not {*item.path.parts}.isdisjoint(THOROUGH):
            item.add_marker(pytest.mark.thorough)
    # the longest first, so that no process waits for them at the end
    items.sort(key=lambda item: item.path.name not in _LONGEST)


@pytest.fixture(scope="session")
def demo_path() -> Path:
    return DEMO


@pytest.fixture(scope="session")
def saxes_path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The saxes of the demo up to letter C, in a file of the same name: for tests of commands and
    files, where as much music is needed as has passages, findings and decisions."""
    score = etree.parse(DEMO, etree.XMLParser(remove_blank_text=False))
    parts = score.findall("part")
    for part in parts[_SAXES:]:
        score.getroot().remove(part)
    for listed in score.findall("part-list/score-part")[_SAXES:]:
        listed.getparent().remove(listed)
    for part in parts[:_SAXES]:
        for measure in part.findall("measure")[_TO_LETTER_C:]:
            part.remove(measure)
    path = tmp_path_factory.mktemp("saxes") / DEMO.name
    score.write(path, xml_declaration=True, encoding="UTF-8")
    return path


@pytest.fixture(scope="session")
def saxes_marked(saxes_path: Path) -> Marked:
    return stages.mark_score(stages.read_score(saxes_path, Options()), Options())


@pytest.fixture(scope="session")
def demo_score() -> Score:
    return stages.read_score(DEMO, Options())


@pytest.fixture(scope="session")
def demo_marked(demo_score: Score) -> Marked:
    return stages.mark_score(demo_score, Options())


@pytest.fixture(scope="session")
def schema() -> etree.XMLSchema:
    """MusicXML 4.0 (W3C), as the registry package `musicxml` ships it (the copies inside music21
    and partitura are of older versions); references to the xml: and xlink: schemas, which would
    have to be fetched, are taken out."""
    from importlib.util import find_spec

    package = Path(
        (find_spec("musicxml") or pytest.fail("the package musicxml is missing")).origin or ""
    ).parent
    text = (package / "generate_classes" / "musicxml_4_0.xsd").read_text(encoding="utf-8")
    assert "Version 4.0" in text
    text = re.sub(r"<xs:import[^>]*/>", "", text)
    text = re.sub(r'<xs:attribute ref="(?:xml|xlink):[^>]*/>', "", text)
    text = re.sub(
        r'<xs:attribute ref="(?:xml|xlink):[^>]*>.*?</xs:attribute>', "", text, flags=re.DOTALL
    )
    return etree.XMLSchema(etree.fromstring(text.encode()))
