"""The commands that a person types."""

from sectionprep.cli.commands import main

__all__ = ["main"]
