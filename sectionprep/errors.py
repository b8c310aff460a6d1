"""One class per cause of failure; each carries its exit code and says what to do.

A message has the form "where: what. Remedy." so that one line is enough for a person at 7 p.m.
"""

from __future__ import annotations


class SectionprepError(Exception):
    """Base of every failure that is explained to the user in one line."""

    exit_code = 1

    def __init__(self, what: str, *, where: str = "", remedy: str = "") -> None:
        self.what = what
        self.where = where
        self.remedy = remedy
        text = f"{where}: {what}" if where else what
        if remedy:
            text = f"{text} {remedy}"
        super().__init__(text)

    def says_shortly(self, file: object) -> str:
        """The message where the file has been named already."""
        return str(self).removeprefix(str(file)).lstrip(",: ")


class BadArgument(SectionprepError):
    """The command was called with something it cannot use."""

    exit_code = 2


class UnreadableFile(SectionprepError):
    """The file is missing, empty, damaged, or may not be opened."""

    exit_code = 3


class NotAScore(SectionprepError):
    """The file can be opened but is no score we can read."""

    exit_code = 4


class DestinationError(SectionprepError):
    """The place to write to cannot be written."""

    exit_code = 5


class OverLimit(SectionprepError):
    """The file asks for more than the limits allow (size, notes, bars, parts)."""

    exit_code = 6


class UnusableSettings(SectionprepError):
    """A plan, roster, style or decision file cannot be used as it stands."""

    exit_code = 7


#: A part was not printed, or a bar is not drawn as the file has it; everything else was written.
NOT_PRINTED_EXIT_CODE = 9
#: `check --strict` ends with this code when anything was found.
FINDINGS_EXIT_CODE = 8
