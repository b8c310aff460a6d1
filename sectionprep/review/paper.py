"""Templates, scripts, style and fonts of the page: a fixed list, nothing else can be had."""

from __future__ import annotations

from functools import cache
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from sectionprep.drawing.text import fonts
from sectionprep.settings import data_path
from sectionprep.version import __version__

_FILES = {
    "icon.svg": "image/svg+xml",
    "page.css": "text/css; charset=utf-8",
    "page.js": "text/javascript; charset=utf-8",
    "music.js": "text/javascript; charset=utf-8",
    "listen.js": "text/javascript; charset=utf-8",
    "map.js": "text/javascript; charset=utf-8",
}
_FACES = {
    "text.ttf": fonts.TEXT,
    "bold.ttf": fonts.BOLD,
    "italic.ttf": fonts.ITALIC,
    "music.ttf": fonts.MUSIC,
}


class Papers:
    """What a page is made of."""

    def __init__(self) -> None:
        self._env = Environment(
            loader=FileSystemLoader(data_path("templates/review")),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self._env.globals["program"] = __version__

    def page(self, name: str, **facts: Any) -> str:
        """A page with these facts in it, every one escaped."""
        return self._env.get_template(name).render(facts)

    @staticmethod
    @cache
    def file(name: str) -> tuple[bytes, str] | None:
        """A file of the page and its kind; None for any other."""
        if name in _FACES:
            return fonts.font_file(_FACES[name]), "font/ttf"
        if name in _FILES:
            return data_path(f"templates/review/{name}").read_bytes(), _FILES[name]
        return None
