"""An accidental or a clef on the note before it gets room; nothing is torn from its note."""

from __future__ import annotations

from page_faults import line_faults

from sectionprep.drawing.scene.ink import Box, Glyph, Ink, InkSpot, Line, System
from sectionprep.drawing.scene.spacing import unclashed

_END = 10000.0


def _sign(kind: str, box: Box, owner: str = "") -> Ink:
    return Ink(Glyph("E0A4", box[0], box[1], 1.0), box, ("system", "staff", kind), owner)


def _stem(x: float, owner: str) -> Ink:
    line = Line(x, 0, x, 300, 10)
    return Ink(line, (x - 5, 0, x + 5, 300), ("system", "staff", "stem"), owner)


def _line(*signs: Ink) -> System:
    return System(
        ink=signs,
        heads={i.owner: InkSpot(i.box[0], 0.0) for i in signs if "notehead" in i.classes},
        bar_edges=(("1", 0.0, _END),),
        staves=frozenset((0.0,)),
        staff_bottom=600.0,
    )


_FIRST = _sign("notehead", (1000, 200, 1200, 400), "a"), _stem(1195, "a")
_SECOND = _sign("notehead", (1500, 200, 1700, 400), "b"), _stem(1505, "b")
_LAST = (_sign("notehead", (9000, 200, 9200, 400), "z"),)


def _reminder(left: float) -> tuple[Ink, ...]:
    """An accidental in parentheses: three signs of one note."""
    return tuple(
        _sign("accid", (left + 100 * n, 150, left + 100 * (n + 1), 450), "b") for n in range(3)
    )


def test_an_accidental_in_parentheses_gets_room() -> None:
    before = _line(*_FIRST, *_reminder(1150), *_SECOND, *_LAST)
    assert line_faults("", 1, before, (), None)
    after = unclashed(before)
    assert not line_faults("", 1, after, (), None)
    assert after.bar_edges == before.bar_edges  # the line is as wide as it was
    assert round(after.ink[1].box[0] - after.ink[0].box[0], 6) == 190  # the stem is on its head
    moved = [new.box[0] - old.box[0] for new, old in zip(after.ink, before.ink, strict=True)]
    sign, head = {round(by, 6) for by in moved[2:5]}, {round(by, 6) for by in moved[5:7]}
    assert len(sign) == len(head) == 1  # the sign with its parentheses, the head with its stem
    assert sign.pop() > 0
    assert after.ink[4].box[2] < after.ink[5].box[0]
    assert after.heads["b"].x == after.ink[5].box[0]


def test_a_clef_on_a_flag_gets_room() -> None:
    flag = _sign("flag", (1195, 0, 1330, 250), "a")
    before = _line(*_FIRST, flag, _sign("clef", (1300, 0, 1450, 600)), *_SECOND, *_LAST)
    assert line_faults("", 1, before, (), None)
    assert not line_faults("", 1, unclashed(before), (), None)


def test_what_stands_under_it_in_another_voice_is_not_torn() -> None:
    """A wider head at the same place, with its stem at the right, keeps its stem."""
    wide = _sign("notehead", (1050, 500, 1280, 700), "w"), _stem(1275, "w")
    before = _line(*_FIRST, *wide, *_reminder(1150), *_SECOND, *_LAST)
    after = unclashed(before)
    assert after is not before
    assert round(after.ink[3].box[0] - after.ink[2].box[0], 6) == 220


def test_a_line_without_white_stays_and_so_does_one_without_clash() -> None:
    full = [
        _sign("rest", (n, 200, n + 250, 400), str(n))
        for n in (*range(0, 1000, 250), *range(1700, 10000, 250))
    ]
    packed = _line(*_FIRST, *_reminder(1150), *_SECOND, *full)
    assert unclashed(packed) is packed
    clear = _line(*_FIRST, *_reminder(1220), *_LAST)
    assert unclashed(clear) is clear
