"""Staves under each other go apart until what stands between them is clear of each other."""

from __future__ import annotations

from dataclasses import replace

from page_faults import collisions, near_misses, signs_of

from sectionprep.drawing.scene.ink import Box, Glyph, Ink, InkSpot, Line, System
from sectionprep.drawing.scene.staff_rows import rows_apart

_TOPS = (0.0, 700.0)


def _sign(kind: str, box: Box, staff: float | None = None, owner: str = "") -> Ink:
    within = ("system", "measure", "staff", kind) if staff is not None else ("system", kind)
    return Ink(Glyph("E0A4", box[0], box[1], 1.0), box, within, owner or kind, "", staff)


def _line(*signs: Ink) -> System:
    """Two staves of four spaces of a millimetre, joined by a bar line."""
    bar = Ink(Line(5000, 0, 5000, 1100, 10), (4995, 0, 5005, 1100), ("system", "barLine"))
    return System(
        ink=(bar, *signs),
        heads={sign.owner: InkSpot(sign.box[0], sign.box[1]) for sign in signs if sign.staff},
        staves=frozenset(_TOPS),
        bar_edges=(("1", 0.0, 5000.0),),
        staff_top=0.0,
        staff_bottom=1100.0,
        bottom=1200.0,
    )


def _faults(system: System) -> int:
    signs = signs_of(system, ())
    return len(collisions("", 1, signs)) + len(near_misses("", 1, signs))


_HEAD = _sign("notehead", (1000, 560, 1100, 640), 700.0, "high note of the lower staff")


def test_a_dynamic_over_a_high_note_of_the_next_staff() -> None:
    dynamic = _sign("dynam", (980, 430, 1200, 600))
    before = _line(dynamic, _HEAD)
    assert _faults(before)
    after = rows_apart(before, {})
    assert not _faults(after)
    (lower,) = after.staves - {0.0}
    assert lower > 700
    assert after.staff_bottom == lower + 400
    bar = next(ink for ink in after.ink if "barLine" in ink.classes)
    assert bar.box[1] == 0
    assert bar.box[3] == lower + 400
    head = next(ink for ink in after.ink if ink.owner == _HEAD.owner)
    assert head.box[1] - lower == 560 - 700  # no note leaves its place on the staff
    assert after.heads[_HEAD.owner].y == head.box[1]


def test_a_dynamic_on_its_own_staffs_low_note() -> None:
    low = _sign("notehead", (1000, 430, 1100, 530), 0.0, "low note")
    before = _line(low, _sign("dynam", (1020, 480, 1200, 600)))
    assert _faults(before)
    assert not _faults(rows_apart(before, {}))


def test_a_dynamic_keeps_its_distance_from_a_fermata_of_the_next_staff() -> None:
    """A tenth of a millimetre apart they read as one sign."""
    before = _line(_sign("dynam", (1000, 430, 1250, 560)), _sign("fermata", (1010, 570, 1230, 680)))
    assert _faults(before)
    assert not _faults(rows_apart(before, {}))


def test_a_syllable_close_under_a_dynamic_and_the_weights_with_it() -> None:
    signs = _sign("dynam", (1000, 430, 1200, 560)), _sign("syl", (1100, 570, 1300, 660))
    before = replace(_line(*signs), wedges={"a": InkSpot(1150, 670)})
    assert _faults(before)
    after = rows_apart(before, {})
    assert not _faults(after)
    down = after.ink[2].box[1] - 570
    assert down > 0
    assert after.wedges["a"].y == 670 + down


def test_a_chord_symbol_on_a_high_note_of_its_staff() -> None:
    before = replace(_line(_HEAD), chords={"c": InkSpot(1000, 620)}, chord_texts={"c": "C7"})
    after = rows_apart(before, {"c": (1000, 500, 1300, 625)})
    assert after.chords["c"].y == 620  # it stays, and the staff with its note goes down
    assert after.ink[1].box[1] > 625


def test_what_is_clear_stays_as_it_is() -> None:
    before = _line(_sign("dynam", (2000, 430, 2200, 560)), _HEAD)
    assert rows_apart(before, {}) is before


def test_staves_that_share_a_beam_keep_their_distance() -> None:
    """A note of the upper staff that stands on the lower one (a pianist's left hand) would change
    its pitch if the staves went apart."""
    across = _sign("notehead", (1500, 800, 1600, 900), 0.0, "left hand")
    before = _line(_sign("dynam", (980, 430, 1200, 600)), _HEAD, across)
    after = rows_apart(before, {})
    (lower,) = after.staves - {0.0}
    crossing = next(ink for ink in after.ink if ink.owner == "left hand")
    assert crossing.box[1] - lower == 800 - 700


def test_two_dynamics_between_two_staves_go_apart() -> None:
    """One under a trumpet, the other over the words of a singer: at the same height they were one
    blot, and both belonged to the upper staff."""
    mine = _sign("dynam", (1000, 470, 1200, 560), owner="trumpet's")
    theirs = _sign("dynam", (1000, 520, 1200, 610), owner="singer's")
    before = _line(mine, theirs, _HEAD)
    assert _faults(before)
    after = rows_apart(before, {})
    assert not _faults(after)
    (lower,) = after.staves - {0.0}
    sung = next(ink for ink in after.ink if ink.owner == "singer's")
    assert sung.box[3] < lower


def test_words_under_a_staff_on_the_stem_of_its_low_note() -> None:
    """Found in a string quartet: "cresc." over a stem, and no free place near it."""
    stem = _sign("stem", (1100, 300, 1115, 520), 0.0)
    before = _line(stem, _sign("dir", (1050, 440, 1400, 530), owner="cresc."), _HEAD)
    assert _faults(before)
    after = rows_apart(before, {})
    words = next(ink for ink in after.ink if ink.owner == "cresc.")
    assert words.box[1] > stem.box[3]
    assert min(after.staves - {0.0}) > words.box[3]


def test_words_that_lie_on_each_other_stand_one_under_the_other() -> None:
    """Found on a scanned madrigal: three titles in one blot over the second staff."""
    pile = [
        _sign("dir", (1000, 450 + 10 * n, 1400, 530 + 10 * n), owner=f"title {n}")._replace(
            group=f"title {n}"
        )
        for n in range(3)
    ]
    before = _line(*pile, _HEAD)
    assert _faults(before)
    after = rows_apart(before, {})
    assert not _faults(after)
    tops = [ink.box[1] for ink in after.ink if "dir" in ink.classes]
    assert tops == sorted(tops)
    assert tops[0] == 450


def test_words_that_lie_on_a_dynamic_stand_to_the_right_of_it() -> None:
    dynamic = _sign("dynam", (1000, 450, 1150, 540))
    words = _sign("dir", (1100, 455, 1500, 540), owner="dolce")._replace(group="dolce")
    before = _line(dynamic, words)
    assert _faults(before)
    after = rows_apart(before, {})
    assert not _faults(after)
    moved = next(ink for ink in after.ink if ink.owner == "dolce")
    assert moved.box[0] > 1150
    assert moved.box[1] == 455


def test_a_dynamic_over_the_lower_staff_does_not_push_the_words_of_the_upper_one_down() -> None:
    """Found in a quartet: a second violin's ff, placed above, counted as the first's; the syllables
    had to stand under it, and 4 cm were white."""
    words, loud = _sign("syl", (1000, 480, 1200, 540)), _sign("dynam", (1100, 590, 1300, 680))
    after = rows_apart(_line(words, loud), {})
    syllable = next(ink for ink in after.ink if "syl" in ink.classes)
    assert syllable.box[1] == 480
    assert not _faults(after)
