"""Numbers as they stand in files: read strictly, so that no odd digit, exponent or length can do
harm."""

from __future__ import annotations

import re
from fractions import Fraction

_DECIMAL = re.compile(r"[+-]?\d{1,15}(?:\.\d{0,15})?|[+-]?\.\d{1,15}", re.ASCII)


def whole(text: str | None, default: int, digits: int = 3) -> int:
    """A small whole number without sign; `default` for anything else."""
    plain = (text or "").strip()
    return int(plain) if plain.isascii() and plain.isdecimal() and len(plain) <= digits else default


def decimal(text: str | None) -> Fraction | None:
    """A decimal number of ordinary length, exactly; None for anything else."""
    plain = (text or "").strip()
    return Fraction(plain) if _DECIMAL.fullmatch(plain) else None
