"""Who a sheet is for, under the name of its part: the player, the chair where the name does not say
it, and for doublers the key of the chart's beginning, as it sounds and on each instrument."""

from __future__ import annotations

from sectionprep.music.chart import Chart, Part
from sectionprep.music.pitch import Transposition
from sectionprep.music.roster import Seat


def who_plays(chart: Chart, part: Part, seat: Seat | None) -> tuple[str, ...]:
    """Short lines, none where the part's name says it all."""
    lines = []
    if seat is not None and seat.player:
        lines.append(seat.player)
    chair = part.chair
    if chair.sure and not set(chair.says.lower().split()) <= set(part.label.lower().split()):
        lines.append(chair.says)
    keys = _keys(chart, part)
    return (*lines, keys) if keys else tuple(lines)


def _keys(chart: Chart, part: Part) -> str:
    """ "concert: 1 flat; Alto: 2 sharps; Flute: 1 flat"; "" where the player keeps to one
    instrument."""
    held = {one.key: one for _, one in part.instruments}
    if len(held) < 2 or not part.keys:
        return ""
    concert = part.keys[0][1]
    if not chart.concert:
        concert -= _sharper(part.transposition_at(chart.bars[0].start))
    keys = [
        f"{one.says}: {say_key(concert + _sharper(one.transposition))}" for one in held.values()
    ]
    return "; ".join((f"concert: {say_key(concert)}", *keys))


def _sharper(transposition: Transposition) -> int:
    """How many sharps more a transposing player reads than sound."""
    return (-transposition.chromatic * 7 + 5) % 12 - 5


def say_key(fifths: int) -> str:
    """ "2 sharps", "1 flat", "no accidentals"; what nobody would write is respelled."""
    if abs(fifths) > 7:
        fifths -= 12 if fifths > 0 else -12
    if not fifths:
        return "no accidentals"
    return f"{abs(fifths)} {'sharp' if fifths > 0 else 'flat'}{'s' * (abs(fifths) > 1)}"
