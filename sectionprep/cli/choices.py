"""Choices: every option that takes one of a few words, and what it does with another."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from difflib import get_close_matches
from typing import Any

import typer

from sectionprep.settings import load_toml

#: from what a person may say to the name it stands for
Words = Mapping[str, str]


def same(*names: str) -> Words:
    """Words that stand for themselves."""
    return {name: name for name in names}


def style_words() -> Words:
    """Styles of shared/styles.toml by their names and by the tempo words that mean them (bossa is
    latin): one added there is there at once."""
    rows = load_toml("shared/styles.toml")
    words = {word: name for name, row in rows.items() for word in row["words"]}
    return {**words, **same(*rows)}


def paper_words() -> Words:
    """Paper sizes of templates/sheets.toml."""
    return same(*load_toml("templates/sheets.toml")["paper"])


def chosen(words: Words, value: str) -> str:
    """The name that a word stands for, in any case, hyphens or blanks inside it. Raises
    typer.BadParameter for another word, with the nearest one suggested."""
    said = " ".join(value.casefold().split())
    for form in (said, said.replace(" ", "-")):
        if form in words:
            return words[form]
    near = get_close_matches(said, words, n=1, cutoff=0.6)
    meant = f" Did you mean {near[0]}?" if near else ""
    names = ", ".join(dict.fromkeys(words.values()))
    raise typer.BadParameter(f"it cannot be {value!r}.{meant} Choose one of: {names}.")


def one_of(words: Callable[[], Words], *names: str, says: str, then: str = "") -> Any:
    """An option that takes one of these words. says, then: its help before and after the list."""
    listed = ", ".join(dict.fromkeys(words().values()))
    return typer.Option(
        *names,
        parser=lambda value: chosen(words(), value),
        metavar="<word>",
        help=f"{says}: {listed}{then}.",
        show_default=False,
    )
