"""A movement of 31 parts and 940 bars, for measuring time and memory.

    python tests/long_movement.py OUT.musicxml [--bars 940] [--parts 31]

Charts of tests/charts one after the other, and further players from other seeds beside them.
"""

from __future__ import annotations

import argparse
import copy
import sys
from pathlib import Path

from charts import plant_chart
from lxml import etree

_HORNS = 13  # parts of a planted chart that are taken for further players: the horns


def long_movement(bars: int = 940, parts: int = 31) -> bytes:
    """A partwise score with so many bars and parts."""
    first = _movement(0, bars)
    listed, whole = first.find("part-list"), list(first.findall("part"))
    assert listed is not None
    seed = 1000
    while len(whole) < parts:
        more = _movement(seed, bars)
        names = {e.get("id"): e for e in more.iter("score-part")}
        for part in more.findall("part")[: min(_HORNS, parts - len(whole))]:
            number = len(whole) + 1
            name = copy.deepcopy(names[part.get("id")])
            name.set("id", f"P{number}")
            for inner in list(name):
                if inner.tag not in ("part-name", "part-abbreviation"):
                    name.remove(inner)
            title = name.find("part-name")
            assert title is not None
            title.text = f"{title.text} of the second band"
            listed.append(name)
            part.set("id", f"P{number}")
            for note in part.iter("note"):
                for instrument in note.findall("instrument"):
                    note.remove(instrument)
            first.append(part)
            whole.append(part)
        seed += 1000
    return etree.tostring(first, xml_declaration=True, encoding="UTF-8")


def _movement(seed: int, bars: int) -> etree._Element:
    """Charts one after the other until there are enough bars."""
    score = etree.fromstring(plant_chart(seed, kind="ordinary")[0])
    own = list(score.findall("part"))
    while len(own[0]) < bars:
        seed += 1
        more = etree.fromstring(plant_chart(seed, kind="ordinary")[0])
        others = more.findall("part")
        if len(others) == len(own):  # bands differ in size
            for part, further in zip(own, others, strict=True):
                part.extend(list(further))
    for part in own:
        for measure in list(part)[bars:]:
            part.remove(measure)
        for number, measure in enumerate(part, start=1):
            measure.set("number", str(number))
    return score


def main() -> None:
    """Write it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("--bars", type=int, default=940)
    parser.add_argument("--parts", type=int, default=31)
    args = parser.parse_args()
    args.out.write_bytes(long_movement(args.bars, args.parts))


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parent))
    main()
