"""What README.md and DEVELOPERS.md name is there: files, tests, and names in modules."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
_HERE = ("sectionprep", "tests", "templates", "shared", "demo_chart")
_CODE = re.compile(r"`([^`\n]+)`")
_FILE = re.compile(r"^[\w./-]+\.(?:py|toml|md|html|css|js|musicxml)$")
_IN_MODULE = re.compile(r"^(\w+)\.(_?[A-Za-z]\w*)(?:\.(_?[A-Za-z]\w*))?(?:\(.*\))?$")


@cache
def _files() -> dict[str, Path]:
    """Every file of the project by its path."""
    found = (path for top in _HERE for path in (ROOT / top).rglob("*") if path.is_file())
    more = (path for path in ROOT.iterdir() if path.is_file())
    return {"/".join(path.relative_to(ROOT).parts): path for path in (*found, *more)}


def _named(words: str) -> list[Path]:
    """The files that a path may mean, from the top or from any folder on."""
    return [path for name, path in _files().items() if f"/{name}".endswith(f"/{words}")]


def _mentioned(guide: str) -> list[str]:
    text = re.sub(r"```.*?```", "", (ROOT / guide).read_text(encoding="utf-8"), flags=re.DOTALL)
    return sorted(set(_CODE.findall(text)))


@pytest.mark.parametrize("guide", ["README.md", "DEVELOPERS.md"])
def test_files_and_tests_that_a_guide_names_are_there(guide: str) -> None:
    made = re.compile(r"NAME|CHART|_plan\.toml|roster\.toml|house\.toml|^(?:journal|practice)\.")
    missing = []
    for words in _mentioned(guide):
        file, _, test = words.partition("::")
        if not _FILE.match(file) or made.search(file):
            continue  # what a user has, or what is written beside results
        places = _named(file)
        if not places or (
            test and not any(test.rstrip(".") in place.read_text("utf-8") for place in places)
        ):
            missing.append(words)
    assert not missing


def test_names_in_modules_that_the_guide_names_are_there() -> None:
    missing = []
    for words in _mentioned("DEVELOPERS.md"):
        match = _IN_MODULE.match(words)
        places = _named(f"{match[1]}.py") if match else []
        if not match or not places or match[2] in ("py", "toml", "json", "xlsx"):
            continue
        wanted = [name for name in match.groups()[1:] if name]
        sources = [place.read_text(encoding="utf-8") for place in places]
        if not any(all(re.search(rf"\b{name}\b", text) for name in wanted) for text in sources):
            missing.append(words)
    assert not missing
