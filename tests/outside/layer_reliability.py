"""How far `confidence` can be trusted on music that others annotated.

    python tests/outside/layer_reliability.py TRUTH.pkl

TRUTH.pkl is made by the project's layers tool from public data, which stays outside this
repository: scores of MarkGotham/Hauptstimme (CC0) and annotations of Le, Giraud, Leve and
Compagnolo, "A corpus describing orchestral texture in first movements of classical and
early-romantic symphonies", DLfM 2022.

A pair-bar is a pair of parts that both sound in an annotated bar. For every passage found, all
pair-bars of its members in its bars are looked up: a passage is right when most of them share a
layer. The table gives, by confidence: passages, share right, and share of their pair-bars in one
layer.
"""

from __future__ import annotations

import sys
from collections import defaultdict
from itertools import combinations
from pathlib import Path

import pandas as pd

from sectionprep import stages
from sectionprep.results import Options

BINS = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 1.01)
MOST = 0.5


def agreement(file: str, rows: pd.DataFrame) -> list[tuple[float, float, int]]:
    """For every passage that lies in annotated bars: confidence, share of pair-bars in one layer,
    count."""
    score = stages.read_score(Path(file), Options())
    same: dict[tuple[int, int, int], bool] = {}
    for bar, one, other, gold in zip(rows.bar, rows.one, rows.other, rows.gold, strict=True):
        for a in one:
            for b in other:
                same[bar, min(a, b), max(a, b)] = gold != "diff"
    found = []
    for passage in score.together.passages:
        first = score.chart.bar_at(passage.start).index
        last = score.chart.bar_at(passage.end - 1).index
        bars = {
            int("".join(filter(str.isdigit, b.number)) or -1)
            for b in score.chart.bars[first : last + 1]
        }
        keys = [(bar, a, b) for bar in bars for a, b in combinations(sorted(passage.parts), 2)]
        known = [same[key] for key in keys if key in same]
        if known:
            found.append((passage.confidence, sum(known) / len(known), len(known)))
    return found


def main() -> None:
    """Print the table."""
    table = pd.read_pickle(sys.argv[1])
    bins: dict[int, list[tuple[float, int]]] = defaultdict(list)
    for file, rows in table.groupby("file", sort=False):
        for confidence, share, count in agreement(str(file), rows):
            place = max(n for n, low in enumerate(BINS[:-1]) if confidence >= low)
            bins[place].append((share, count))
    print("confidence   passages  right  pair-bars in one layer")
    for n, low in enumerate(BINS[:-1]):
        here = bins[n]
        if not here:
            continue
        right = sum(share > MOST for share, _ in here) / len(here)
        pairs = sum(share * count for share, count in here) / sum(count for _, count in here)
        print(f"{low:4.2f}-{BINS[n + 1]:4.2f}   {len(here):8d}  {right:5.3f}  {pairs:5.3f}")


if __name__ == "__main__":
    main()
