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


def _tests_named(guide: str) -> list[str]:
    """What stands for a test file or a test in it, however it is cut: `test_x`, `test_x::...end`,
    `test_x::start...`."""
    return [words for words in _mentioned(guide) if re.match(r"test_\w+(?:::[\w.]+|\.*)?$", words)]


def _not_there(words: str) -> bool:
    module, _, test = words.rstrip(".").partition("::")
    begun = words.endswith("...")
    name = (test or module).strip(".")
    found = _named(f"{module}.py")
    if not test and found:
        return False
    sources = found if test else [p for n, p in _files().items() if n.startswith("tests/")]
    wanted = re.compile(rf"def \w*{name}" if begun else rf"def \w*{name}\b")
    return not any(p.suffix == ".py" and wanted.search(p.read_text("utf-8")) for p in sources)


def test_tests_that_the_guide_names_without_their_file_ending_are_there() -> None:
    named = _tests_named("DEVELOPERS.md")
    assert named
    assert not [words for words in named if _not_there(words)]


@pytest.mark.parametrize("guide", ["README.md", "DEVELOPERS.md"])
def test_scripts_and_folders_that_a_guide_names_are_there(guide: str) -> None:
    """A script as it is called (`python tests/NAME.py --option`), a folder (`tests/keys`)."""
    called = (words.removeprefix("python ").split()[0] for words in _mentioned(guide))
    ours = [path for path in called if re.match(r"(?:tests|sectionprep|shared)/[\w./]*$", path)]
    assert not [path for path in ours if "NAME" not in path and not (ROOT / path).exists()]


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
