"""Words over the staff."""

from __future__ import annotations

import re
from collections.abc import Iterable


def any_of(words: Iterable[str]) -> re.Pattern[str]:
    """Finds any of these words where it stands by itself, or with an ending such as in "16ths"; the
    longest first."""
    return re.compile(
        r"(?<!\w)("
        + "|".join(map(re.escape, sorted(words, key=len, reverse=True)))
        + r")(?:s|ths|th)?(?!\w)"
    )
