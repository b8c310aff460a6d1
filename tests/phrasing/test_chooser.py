"""The optimum is the optimum, and the patterns it must avoid lose."""

from collections.abc import Sequence
from itertools import chain, combinations, pairwise

import pytest
from build import chart
from hypothesis import given, settings
from hypothesis import strategies as st

from sectionprep.phrasing.chooser import Chooser, Option, pair_cost
from sectionprep.phrasing.styles import styles
from sectionprep.phrasing.view import LineView, view_line


def _view(line: str) -> LineView:
    c = chart({"Alto Sax 1": line})
    return view_line(c, c.lines[0], styles()["medium-swing"], 0)


def _score(pitches: Sequence[str], options: Sequence[Option], chosen: Sequence[int]) -> float:
    """Score of one set of leans in ten eighths of 4/4, from prices and patterns that stand here
    once more, in plain numbers: the chooser's own are what is tested. Judgements, but for the veto
    (AfroImpro, Accentuation, rule 5)."""
    heights = ["C5", "D5", "E5", "G5", "A5", "C6"]
    line = [heights.index(p) for p in pitches]
    inside = range(1, 9)
    turns = [
        n in inside and (line[n] - line[n - 1]) * (line[n + 1] - line[n]) < 0 for n in range(10)
    ]
    tops = [turns[n] and line[n] > line[n - 1] and n % 2 == 0 for n in range(10)]  # on the beat

    def bare(eighths: int) -> float:
        return 0.22 * max(0, eighths / 2 - 4.5)

    def pair(a: int, b: int) -> float:
        if b == a + 1:
            return 50.0 if b % 2 == 0 else 1.2  # an off-beat right before a beat; side by side
        price = bare(b - a)
        if b == a + 2:
            price += 0.35  # within one beat
        if (a, b) in ((0, 4), (4, 8)):
            price += 0.9  # 1 and 3, 3 and 1
        if tops[a] and tops[b] and b - a != 6:
            price += 0.6  # one top on the beat after the other; three beats cut across the bar
        if turns[a] and turns[b] and not any(turns[a + 1 : b]):
            price += 0.5  # every turning note
        return price

    def locked(*notes: int) -> bool:
        return all(options[n].locked for n in notes)

    if not chosen:
        return -0.5 - bare(9)
    total = sum(options[n].gain for n in chosen) - bare(chosen[0]) - bare(9 - chosen[-1])
    total -= sum(pair(a, b) for a, b in pairwise(chosen) if not locked(a, b))
    for a, b, c in zip(chosen, chosen[1:], chosen[2:], strict=False):
        if b - a == c - b and b - a in (2, 4, 8) and not locked(a, b, c):
            total -= 0.45  # one, two or four beats, twice in a row
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
    best = max(_score(pitches, options, s) for s in every if locks <= set(s))
    assert score == pytest.approx(best, abs=1e-6)
    assert desk.score(options, chosen) == pytest.approx(score, abs=1e-6)
    assert all(
        desk.score(options, s) == pytest.approx(_score(pitches, options, s), abs=1e-6)
        for s in [(), (0, 3), (1, 2, 7), (0, 2, 4, 6)]
    )
    assert locks <= set(chosen)


def _gains(**by_note: float) -> list[Option]:
    return [Option(gain=by_note.get(f"n{n}", -1.0)) for n in range(8)]


def test_one_and_three_in_a_row_lose_against_an_off_beat() -> None:
    """Common practice, no source: leaning on 1 and 3 one after the other sounds square."""
    spots = _view("C5/8 D5/8 E5/8 F5/8 G5/8 F5/8 E5/8 D5/8").spots
    _, chosen = Chooser(spots).choose(_gains(n0=0.6, n4=0.6, n3=0.5))
    assert chosen == (0, 3)


def test_the_same_distance_twice_in_a_row_loses_against_a_shifted_one() -> None:
    """Leans on 1and, 2and and 3and earn a little more than on 1and, 2and and 4, and are
    predictable: judgement."""
    spots = _view("C5/8 D5/8 E5/8 F5/8 G5/8 A5/8 B5/8 C6/8").spots
    _, chosen = Chooser(spots).choose(_gains(n1=1.5, n3=1.5, n5=1.5, n6=1.0))
    assert chosen == (1, 3, 6)


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


@pytest.mark.parametrize(
    ("line", "square"),
    [
        ("C5/8 D5/8 E5/8 D5/8 C5/8 D5/8 r/4", True),
        ("C5/4 D5/4 E5/4 r/4", False),
        ("C5/2 E5/2", False),
    ],
)
def test_only_eighths_are_square_on_one_and_three(line: str, square: bool) -> None:
    """Common practice, no source: held notes and quarters stand on 1 and 3 by nature."""
    spots = _view(f"r/1 {line} r/1").spots
    one, three = (next(s for s in spots if s.beat == beat) for beat in (1, 3))
    assert ("square" in pair_cost(one, three, turns_between=False)[1]) is square
    assert "square" not in pair_cost(one, three, turns_between=False, sits=True)[1], "a shuffle"


def test_tops_three_beats_apart_cut_across_the_bar() -> None:
    """One of them stands on 2 or 4: no predictable pair, as two or four beats apart."""
    spots = _view("r/8 C5/8 E5/8 C5/8 C5/8 C5/8 C5/8 C5/8 E5/8 C5/8 E5/8 C5/8 r/2").spots
    first, second, third = (s for s in spots if s.is_top)
    assert "on-beat top" not in pair_cost(first, second, turns_between=True)[1]
    assert "on-beat top" in pair_cost(first, third, turns_between=True)[1]


def test_a_push_is_not_left_out_for_evenness() -> None:
    """Syncopations usually have stress (AfroImpro, Accentuation, rule 3): where the composer has
    written three of them two beats apart, each is brought out."""
    view = _view("r/1 C5/8 E5/4 D5/8 C5/8 E5/4 D5/8 C5/8 E5/4 D5/8 C5/2 r/1")
    pushes = [s.index for s in view.spots if s.pushed]
    options = [Option(0.4 if n in pushes else -1.0) for n in range(len(view.spots))]
    assert len(pushes) == 3
    assert Chooser(view.spots).choose(options)[1] == tuple(pushes)
