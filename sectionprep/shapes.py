"""Tables read into classes, by msgspec; what does not fit is said in words that a director uses.

A class of `File` holds no more than its fields, so a misspelt name in a file is found.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any, TypeVar

# first, since typing_extensions, which msgspec brings, makes its loading .07 s longer
import numpy  # noqa: F401

# isort: split
import msgspec

from sectionprep.errors import UnusableSettings

T = TypeVar("T")


class File(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A table of a file; its fields are the names that the file may use."""


_WORDS = {
    "str": "text in quotes",
    "int": "a whole number",
    "float": "a number",
    "int | str": "a number or text in quotes",
    "bool": "true or false",
    "array": "a list",
    "object": "a table",
}
_EXPECTED = re.compile(r"Expected `(?P<wants>[^`]+)`(?:, got `(?P<has>[^`]+)`)?")
_NAMED = re.compile(r"Object (?P<how>contains unknown|missing required) field `(?P<name>.*)`")
_STEP = re.compile(r"\[(?P<number>\d+)\]|\.(?P<name>[^.\[]+)|(?P<any>\[\.\.\.\])")


def shaped(
    table: object, shape: type[T], where: str, remedies: Mapping[str, str], remedy: str = ""
) -> T:
    """A table as a class. where: the file (and the place in it) for messages; remedies: what to
    write, by the name of the field; remedy: for all others, and for names that
    nobody knows. Raises UnusableSettings with the place and what it wants."""
    try:
        return msgspec.convert(table, shape)
    except msgspec.ValidationError as error:
        what, _, path = str(error).partition(" - at `")
        steps = _steps(path.rstrip("`"))
        field, said = _said(what)
        names = [field] if field else [step for step in reversed(steps) if not step.isdecimal()]
        raise UnusableSettings(
            said,
            where=", ".join([where, *_places(steps)]),
            remedy=next((remedies[name] for name in names if name in remedies), remedy),
        ) from error


def _steps(path: str) -> list[str]:
    """The names and numbers on the way to what is wrong; lists are counted from 1."""
    found = []
    for step in _STEP.finditer(path.removeprefix("$")):
        if step["name"]:
            found.append(step["name"])
        elif step["number"]:
            found.append(str(int(step["number"]) + 1))
    return found


def _places(steps: list[str]) -> list[str]:
    """ "seat 2", "lines 3": each list with the number in it."""
    found: list[str] = []
    for step in steps:
        if step.isdecimal() and found:
            found[-1] += f" {step}"
        else:
            found.append(step)
    return found


def _said(what: str) -> tuple[str, str]:
    """The field that a message of msgspec is about, if it names one, and our words for it."""
    named = _NAMED.fullmatch(what)
    if named:
        name = named["name"][:60]
        lacks = named["how"].startswith("missing")
        return name, f"lacks {name}." if lacks else f"does not know {name!r}."
    expected = _EXPECTED.match(what)
    if expected is None:
        return "", f"cannot be used: {what}."
    wants = _WORDS.get(expected["wants"], expected["wants"])
    has = _WORDS.get(expected["has"] or "", expected["has"] or "")
    return "", f"must be {wants}{f', and is {has}' if has else ''}."


def rows(table: Mapping[str, Any], shape: type[T], where: str) -> dict[str, T]:
    """One of our own tables as classes by the names of its rows; a row knows its name if its class
    has a field `name` or `key`."""
    fields = {field.name for field in msgspec.structs.fields(shape)}  # type: ignore[arg-type]
    own = next((name for name in ("key", "name") if name in fields), None)
    return {
        name: shaped({**row, own: name} if own else row, shape, f"{where}, {name}", {})
        for name, row in table.items()
    }
