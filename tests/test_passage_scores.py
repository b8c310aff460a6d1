"""When a found passage counts as right: the rule of the measuring script, case by case."""

from __future__ import annotations

from typing import Any

import pytest
from charts import Join, Passage, Place, Truth
from passage_scores import compare, reliability, table

SAXES = ("Alto 1", "Alto 2", "Tenor 1")


def truth(*joins: Join) -> Truth:
    passage = Passage(
        texture="soli",
        parts=SAXES,
        start=Place(2, 1.0),
        end=Place(9, 5.0),
        lead="Alto 1",
        leads=("Alto 1",),
        deviations=(),
        traits=(),
        joins=joins,
    )
    return Truth(
        seed=0,
        parts=(*SAXES, "Trumpet 1 & 2", "Bass"),
        bar_numbers=tuple("123456789abc"),
        bar_beats=(4,) * 12,
        passages=(passage,),
        others=(),
    )


def found(
    start: tuple[int, float], end: tuple[int, float], *more: str, **other: Any
) -> dict[str, Any]:
    edges = {"start": start, "end": end}
    said = {name: {"index": bar, "beat": beat} for name, (bar, beat) in edges.items()}
    parts = [*SAXES, *more]
    return {
        "parts": parts,
        "lead": "Alto 1",
        "texture": "soli",
        "confidence": 0.96,
        **said,
        **other,
    }


CHANCE = Join(part="Trumpet 1 & 2", doubles="", start=Place(4, 1.0), end=Place(5, 5.0))
REAL = Join(part="Trumpet 1 & 2", doubles="Alto 1", start=Place(4, 1.0), end=Place(7, 5.0))
WHOLE = found((2, 1), (9, 5))
CUT = [found((2, 1), (3, 5)), found((4, 1), (7, 5), "Trumpet 1 & 2 (2)"), found((8, 1), (9, 5))]


@pytest.mark.parametrize(
    ("answer", "right"),
    [
        ([WHOLE], True),
        ([found((2, 2), (9, 4))], True),
        ([found((2, 2.5), (9, 5))], False),
        ([found((2, 1), (9, 5), "Bass")], False),
        ([found((2, 1), (9, 5), parts=list(SAXES[:2]))], False),
        ([], False),
    ],
)
def test_members_are_equal_and_edges_within_a_beat(
    answer: list[dict[str, Any]], right: bool
) -> None:
    result = compare(truth(), answer)
    assert [p.found is not None for p in result.pairs] == [right]
    assert len(result.right) == right
    assert len(result.spare) == (not right and len(answer))


def test_a_short_passage_may_not_be_a_beat_off() -> None:
    """A beat of eight is more than a tenth."""
    whole = truth()
    short = Truth(
        seed=0,
        parts=whole.parts,
        bar_numbers=whole.bar_numbers,
        bar_beats=whole.bar_beats,
        passages=(
            Passage(
                texture="soli",
                parts=SAXES,
                start=Place(2, 1.0),
                end=Place(3, 5.0),
                lead="Alto 1",
                leads=("Alto 1",),
                deviations=(),
                traits=(),
            ),
        ),
        others=(),
    )
    assert compare(short, [found((2, 1), (3, 5))]).spare == []
    assert len(compare(short, [found((2, 2), (3, 5))]).spare) == 1


def test_who_really_joins_may_be_told_in_three_ways() -> None:
    own = found((4, 1), (7, 5), parts=["Alto 1", "Trumpet 1 & 2"])
    for answer in ([WHOLE], [WHOLE, own], CUT):
        result = compare(truth(REAL), answer)
        assert result.pairs[0].found is not None
        assert result.pairs[0].start
        assert result.pairs[0].end
        assert result.spare == []
        assert len(result.right) == len(answer)


def test_who_joins_by_chance_neither_cuts_nor_adds() -> None:
    assert len(compare(truth(CHANCE), CUT).spare) == 3
    extra = compare(truth(CHANCE), [WHOLE, found((4, 1), (5, 5), "Trumpet 1 & 2")])
    assert (len(extra.right), len(extra.spare)) == (1, 1)


def test_a_piece_of_four_beats_or_more_may_not_be_missing() -> None:
    assert compare(truth(REAL), CUT[:2]).pairs[0].found is None


def test_a_second_answer_for_the_same_passage_is_wrong() -> None:
    assert len(compare(truth(), [WHOLE, WHOLE]).spare) == 1


def test_the_tables_add_up() -> None:
    unsure = found((0, 1), (1, 1), "Bass", confidence=0.3)
    results = [compare(truth(), [WHOLE, unsure])]
    assert table(results).splitlines()[1].split()[:6] == ["all", "1", "2", "1", "0.500", "1.000"]
    rows = [line.split()[-4:] for line in reliability(results).splitlines()[1:]]
    assert rows[0] == ["1", "0.300", "0", "0.000"]
    assert rows[-1] == ["1", "0.960", "1", "1.000"]
