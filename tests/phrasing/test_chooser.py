"""The optimum is the optimum, and the patterns it must avoid lose."""

from collections.abc import Sequence
from itertools import chain, combinations, pairwise

import pytest
from build import chart
from hypothesis import given, settings
from hypothesis import strategies as st

from sectionprep.phrasing import chooser
from sectionprep.phrasing.chooser import Chooser, Option, even_cost, pair_cost
from sectionprep.phrasing.styles import styles
from sectionprep.phrasing.view import LineView, Spot, view_line


def _view(line: str) -> LineView:
    c = chart({"Alto Sax 1": line})
    return view_line(c, c.lines[0], styles()["medium-swing"], 0)


def _score(spots: Sequence[Spot], options: Sequence[Option], chosen: Sequence[int]) -> float:
    """Score of one set, added up from the prices of its pairs and triples, apart from how the chooser keeps them."""
    def empty(beats: float) -> float:
        return chooser._EMPTY * max(0.0, beats - chooser._EMPTY_BEATS)

    beats = [n / 2 for n in range(len(spots))]  # eighths
    if not chosen:
        return -empty(beats[-1]) - chooser._BARE
    total = sum(options[n].gain for n in chosen) - empty(beats[chosen[0]]) - empty(beats[-1] - beats[chosen[-1]])
    for a, b in pairwise(chosen):
        if not (options[a].locked and options[b].locked):
            total -= pair_cost(spots[a], spots[b], any(spots[n].turns for n in range(a + 1, b)))[
                0
            ] + empty(beats[b] - beats[a])
    for a, b, c in zip(chosen, chosen[1:], chosen[2:], strict=False):
        if not (options[a].locked and options[b].locked and options[c].locked):
            total -= even_cost(spots[a], spots[b], spots[c])
    return total


def test_a_note_that_earns_too_little_by_itself_may_still_be_the_best_one() -> None:
    """Nothing is left out beforehand: seven beats of eighths at a dear price are leaned on once."""
    spots = _view(" ".join(["C5/8"] * 14 + ["r/4"])).spots
    score, chosen = Chooser(spots).choose([Option(gain=-1.3)] * 14)
    every = chain.from_iterable(combinations(range(14), k) for k in range(3))
    assert score == pytest.approx(
        max(Chooser(spots).score([Option(gain=-1.3)] * 14, s) for s in every)
    )
    assert len(chosen) == 1


@given(
    pitches=st.lists(
        st.sampled_from(["C5", "D5", "E5", "G5", "A5", "C6"]), min_size=10, max_size=10
    ),
    gains=st.lists(
        st.floats(-1, 1.5, allow_nan=False).map(lambda x: round(x, 2)), min_size=10, max_size=10
    ),
    locks=st.sets(st.integers(0, 9), max_size=2),
)
@settings(max_examples=60, deadline=None)
def test_agrees_with_brute_force(pitches: list[str], gains: list[float], locks: set[int]) -> None:
    spots = _view(" ".join(f"{p}/8" for p in pitches)).spots
    options = [Option(gain=g, locked=n in locks) for n, g in enumerate(gains)]
    desk = Chooser(spots)
    score, chosen = desk.choose(options)
    every = chain.from_iterable(combinations(range(10), k) for k in range(11))
    best = max(_score(spots, options, s) for s in every if locks <= set(s))
    assert score == pytest.approx(best, abs=1e-6)
    assert desk.score(options, chosen) == pytest.approx(score, abs=1e-6)
    assert all(desk.score(options, s) == pytest.approx(_score(spots, options, s), abs=1e-6) for s in [(), (0, 3), (1, 2, 7), (0, 2, 4, 6)])
    assert locks <= set(chosen)


def _gains(**by_note: float) -> list[Option]:
    return [Option(gain=by_note.get(f"n{n}", -1.0)) for n in range(8)]


def test_one_and_three_in_a_row_lose_against_an_off_beat() -> None:
    """Common practice, no source: leaning on 1 and 3 one after the other sounds square."""
    spots = _view("C5/8 D5/8 E5/8 F5/8 G5/8 F5/8 E5/8 D5/8").spots
    _, chosen = Chooser(spots).choose(_gains(n0=0.6, n4=0.6, n3=0.5))
    assert chosen == (0, 3)


def test_off_beat_right_before_an_accented_beat_is_not_accented() -> None:
    """AfroImpro, Accentuation, rule 5."""
    spots = _view("C5/8 D5/8 E5/8 F5/8 G5/8 F5/8 E5/8 D5/8").spots
    _, chosen = Chooser(spots).choose(_gains(n3=1.5, n4=1.6))
    assert chosen == (4,)


def test_every_turning_note_in_a_row_is_dearer_than_one() -> None:
    """Common practice, no source: leaning on every turning note in a row sounds predictable."""
    spots = _view("C5/8 E5/8 C5/8 E5/8 C5/8 E5/8 C5/8 r/8").spots
    cost, why = pair_cost(spots[1], spots[4], False)
    far, _ = pair_cost(spots[1], spots[4], True)
    assert cost > far
    assert "turning" in why


def test_a_rest_parts_two_accents() -> None:
    spots = _view("C5/8 r/8 D5/8 E5/8 F5/8 E5/8 D5/8 C5/8").spots
    assert pair_cost(spots[0], spots[1], False)[0] < pair_cost(spots[1], spots[2], False)[0]


def test_a_line_without_rests_is_cut_into_phrases_so_that_time_stays_in_proportion() -> None:
    view = _view(" ".join(["C5/8 D5/8 E5/8 F5/8 G5/8 F5/8 E5/8 D5/8"] * 40))
    assert len(view.phrases) >= 4
    assert max(last - first + 1 for first, last in view.phrases) <= 128
