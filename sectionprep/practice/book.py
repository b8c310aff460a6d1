"""The page over the practice folders of a whole book."""

from __future__ import annotations

from collections.abc import Sequence
from urllib.parse import quote

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from sectionprep.settings import data_path


def book_page(charts: Sequence[tuple[str, str]]) -> bytes:
    """One page that leads to the charts' own. charts: place of each one's page from here, with /
    between folders, and its title."""
    folder = data_path("templates/practice")
    env = Environment(
        loader=FileSystemLoader(folder),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    rules = (folder / "practice.css").read_text(encoding="utf-8").splitlines()
    look = "\n".join(rule for rule in rules if "@MUSIC@" not in rule)  # it shows no music
    text = env.get_template("book.html").render(
        look=look, charts=[(quote(place), title) for place, title in charts]
    )
    return text.encode("utf-8")
