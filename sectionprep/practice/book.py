"""The page over the practice folders of a whole book."""

from __future__ import annotations

from collections.abc import Sequence
from urllib.parse import quote

from sectionprep.practice.templates import FOLDER, environment
from sectionprep.settings import data_path


def book_page(charts: Sequence[tuple[str, str]]) -> bytes:
    """One page that leads to the charts' own. charts: place of each one's page from here, with /
    between folders, and its title."""
    rules = data_path(f"{FOLDER}/practice.css").read_text(encoding="utf-8").splitlines()
    look = "\n".join(rule for rule in rules if "@MUSIC@" not in rule)  # it shows no music
    text = (
        environment()
        .get_template("book.html")
        .render(look=look, charts=[(quote(place), title) for place, title in charts])
    )
    return text.encode("utf-8")
