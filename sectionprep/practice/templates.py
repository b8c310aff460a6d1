"""The templates of the pages for players: templates/practice."""

from __future__ import annotations

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from sectionprep.settings import data_path

FOLDER = "templates/practice"


def environment() -> Environment:
    """Templates that escape whatever a title says, and fail where something is not given."""
    return Environment(
        loader=FileSystemLoader(data_path(FOLDER)),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
