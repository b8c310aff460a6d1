"""How sheets look: templates/sheets.toml as a class."""

from __future__ import annotations

from functools import cache

from sectionprep.settings import load_toml
from sectionprep.shapes import File, shaped


class Page(File, frozen=True, kw_only=True):
    """Lengths of a page in millimetres; the file says what each is."""

    side: float
    top: float
    bottom: float
    head_first: float
    head_later: float
    gap: float
    gap_most: float
    line_least: float


class Levels(File, frozen=True, kw_only=True):
    """How a part gives way before it takes another page. staff: millimetres; gap: share of the
    usual white between two lines."""

    staff: tuple[float, ...]
    gap: tuple[float, ...]


class TypeSizes(File, frozen=True, kw_only=True):
    """Type sizes in points."""

    part: float
    title: float
    credit: float
    running: float
    footer: float
    bar_number: float
    syllable: float


class SheetLook(File, frozen=True, kw_only=True):
    """All of it. paper: width and height of each paper, in millimetres."""

    paper: dict[str, tuple[float, float]]
    page: Page
    levels: Levels
    type: TypeSizes


@cache
def sheet_look() -> SheetLook:
    """The look of sheets as the file has it."""
    name = "templates/sheets.toml"
    return shaped(load_toml(name), SheetLook, name, {})
