"""Names of files made from names of charts and parts."""

from __future__ import annotations

import os
import re
from pathlib import Path

_ENDING = re.compile(r"\.(?=[A-Za-z0-9]{1,9}$)[0-9]*[A-Za-z][A-Za-z0-9]*$")
_LONGEST = 60  # characters, so that endings and numbers still fit
#: bytes of a name that is ours to make longer: 255 is what file systems hold (common practice, no
#: source), and what we make beside it needs the rest; judgement
MOST_BYTES = 200


def stem_of(path: Path) -> str:
    """A chart's name without the ending of its format; dots inside it stay (Vol. 1 No. 3). A name
    to which nothing could be added is cut."""
    name = path.name if path.is_dir() else _ENDING.sub("", path.name) or path.name
    while len(os.fsencode(name)) > MOST_BYTES:
        name = name[:-1]
    return name


def safe_name(text: str, fallback: str = "part") -> str:
    """A file name that is only letters, digits and single underscores, whatever a part is
    called."""
    plain = re.sub(r"[^\w]+", "_", text, flags=re.UNICODE).strip("_")
    return plain[:_LONGEST] or fallback
