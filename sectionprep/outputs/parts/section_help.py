"""What a part says where a passage begins: how it belongs. "soli, lead Alto 1", "8vb of Alto 1",
"unis.: you lead"."""

from __future__ import annotations

from sectionprep.music.chart import Chart
from sectionprep.passages import Together

_AGAIN = 4  # bars of rest after which a player wants to be told again; judgement


def section_help(chart: Chart, together: Together, part: int) -> dict[int, str]:
    """Words by note address for one part. What was said a moment ago, with less than four bars'
    rest since, is not said again."""
    words: dict[int, str] = {}
    said, until = "", 0
    for passage in sorted(together.passages, key=lambda p: p.start):
        if part not in passage.parts:
            continue
        read = chart.read_by(passage.seconds)
        first = next((t for t in read.lines[part] if passage.start <= t.onset < passage.end), None)
        if first is None:
            continue
        kind = "unis." if passage.texture == "unison" else passage.texture
        lead = read.parts[passage.lead].says
        if part == passage.lead:
            text = f"{kind}: you lead"
        elif passage.texture == "soli":
            text = f"soli, lead {lead}"
        else:
            octaves = dict(passage.octaves).get(part, 0)
            distance = {0: "unis. with", -1: "8vb of", 1: "8va of", -2: "15mb of"}.get(
                octaves, f"{octaves:+d} octaves of"
            )
            text = f"{distance} {lead}"
        text = f"2nd: {text}" if part in passage.seconds else text
        if text != said or first.onset - until >= _AGAIN * chart.bars[first.bar].length:
            words[first.head.address] = text
        said, until = text, passage.end
    return words
