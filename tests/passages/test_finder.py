"""The finder on small cases, on definitions of voicings, and on planted charts."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest
from build import chart, part_xml, score_xml, transposed
from charts import plant_chart

from sectionprep import stages
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.passages import Passage, find_passages
from sectionprep.passages.guests import say_guests
from sectionprep.passages.texture import voicing_of
from sectionprep.results import Options, Score

TUNE = "r/8 D5/8 F5/8 A5/8 C6/4 A5/8 F5/8 G5/4 E5/4 r/8 D5/8 F5/8 E5/8 E5/4 D5/8 C5/8 B4/4 r/4"
OTHER = "C4/4 r/4 G4/2 A4/4. B4/8 r/2 G4/2. r/4"


def _found(parts: dict[str, str]) -> tuple[Passage, ...]:
    return find_passages(chart(parts)).passages


def test_unison_octaves_and_soli() -> None:
    assert [p.texture for p in _found({"Alto 1": TUNE, "Alto 2": TUNE, "Bass": OTHER})] == [
        "unison"
    ]
    assert [
        p.texture
        for p in _found({"Alto 1": TUNE, "Bari Sax": transposed(TUNE, -12), "Bass": OTHER})
    ] == ["octaves"]
    assert [
        p.texture for p in _found({"Alto 1": TUNE, "Alto 2": transposed(TUNE, -4), "Bass": OTHER})
    ] == ["soli"]


def test_parts_that_move_differently_are_not_together() -> None:
    assert _found({"Alto 1": TUNE, "Alto 2": OTHER}) == ()


@pytest.mark.parametrize(
    ("name", "change", "kind"),
    [
        ("wrong note", ("G5/4 E5/4", "G5/4 Eb5/4"), "pitch"),
        ("dropped note", ("G5/4 E5/4", "G5/4 r/4"), "missing"),
        ("short note", ("G5/4 E5/4", "G5/8 r/8 E5/4"), "release"),
        ("tie for a rest", ("B4/4 r/4", "B4/8~ B4/8 r/4"), ""),
    ],
)
def test_a_passage_goes_on_through_a_deviation(
    name: str, change: tuple[str, str], kind: str
) -> None:
    spoiled = TUNE.replace(*change)
    assert spoiled != TUNE
    (passage,) = _found({"Alto 1": TUNE, "Alto 2": spoiled, "Tenor 1": TUNE, "Bass": OTHER})
    assert passage.texture == "unison"
    assert passage.parts == (0, 1, 2)
    assert {d.kind for d in passage.deviations} == ({kind} if kind else set())
    assert all(d.part == 1 for d in passage.deviations)


def test_boundaries_fall_where_the_line_begins_and_ends() -> None:
    c = chart(
        {
            "Alto 1": "r/2 r/8 D5/8 F5/8 A5/8 C6/4 A5/4 F5/4 D5/4~ D5/8 r/8 r/4 r/2",
            "Alto 2": "r/2 r/8 D5/8 F5/8 A5/8 C6/4 A5/4 F5/4 D5/4~ D5/8 r/8 r/4 r/2",
        }
    )
    (p,) = find_passages(c).passages
    assert (c.place(p.start).index, float(c.place(p.start).beat)) == (0, 3.5)
    assert (c.end_place(p.end).index, float(c.end_place(p.end).beat)) == (2, 1.5)


def test_lead_is_the_top_line_and_among_equals_the_bands_lead() -> None:
    """Top sounding line first; lead trumpet over lead alto over lead trombone (D. Berger; Jazz at
    Lincoln Center)."""
    (p,) = _found({"Alto 1": TUNE, "Alto 2": transposed(TUNE, 3), "Bass": OTHER})
    assert p.lead == 1
    (p,) = _found({"Trombone 1": TUNE, "Alto 2": TUNE, "Alto 1": TUNE, "Bass": OTHER})
    assert p.lead == 2
    (p,) = _found({"Alto 1": TUNE, "Trumpet 2": TUNE, "Trumpet 1": TUNE, "Bass": OTHER})
    assert p.lead == 2


@pytest.mark.parametrize(
    ("leads", "others"),
    [
        ("Tenor Sax 2", ("Guitar", "Bass")),  # the rhythm section doubles the horns
        ("Trumpet 2", ("Tenor Sax 1", "Guitar")),
        ("Baritone Sax", ("Bass Trombone", "Bass")),
        ("Clarinet", ("Alto Sax 1", "Alto Sax 2")),  # the upper one in the order of scores
        ("Horn in F", ("Trombone 1", "Trombone 2")),
        ("Violin 1", ("Viola", "Violoncello")),
        ("Alto Sax 1", ("Trombone 1", "Flute 2")),
    ],
)
def test_of_equals_the_band_s_leader_leads(leads: str, others: tuple[str, ...]) -> None:
    """Common practice, no source, but for trumpet, alto, trombone (above)."""
    (passage,) = _found(dict.fromkeys((*others, leads), TUNE))
    assert passage.parts[-1] == passage.lead == len(others)


def test_order_of_parts_does_not_matter() -> None:
    parts = {
        "Alto 1": TUNE,
        "Alto 2": transposed(TUNE, -4),
        "Tenor 1": transposed(TUNE, -7),
        "Bass": OTHER,
    }
    a = chart(parts)
    b = chart(dict(reversed(parts.items())))
    one = [
        (p.texture, p.start, p.end, {a.labels[n] for n in p.parts}, a.labels[p.lead])
        for p in find_passages(a).passages
    ]
    two = [
        (p.texture, p.start, p.end, {b.labels[n] for n in p.parts}, b.labels[p.lead])
        for p in find_passages(b).passages
    ]
    assert one == two


def test_figures_that_come_back_are_linked_even_transposed() -> None:
    gap = " r/1 r/1 "
    line = TUNE + gap + transposed(TUNE, 2)
    first, second = _found({"Alto 1": line, "Alto 2": line})
    assert second.returns == first.id


def test_two_groups_at_once() -> None:
    other = "C5/4 r/8 E5/8 r/4 G5/4 r/4 C5/4 r/8 E5/8 r/4 G5/8 C5/8 r/4 E5/4 r/4"
    found = _found(
        {"Alto 1": TUNE, "Alto 2": TUNE, "Trumpet 1": other, "Trumpet 2": transposed(other, -4)}
    )
    assert {(p.texture, p.parts) for p in found} == {("unison", (0, 1)), ("soli", (2, 3))}


def test_held_chords_are_padding_not_a_passage() -> None:
    pad = "C5/1 D5/1 C5/1 B4/1 C5/1"
    c = chart({"Trombone 1": pad, "Trombone 2": transposed(pad, -4)})
    together = find_passages(c)
    assert together.passages == ()
    assert {g.texture for bar in together.bars for g in bar} == {"rhythm"}


# Voicings written out from their definitions: close = four different notes within an octave of the
# lead; drop 2 =
# second voice from the top lowered an octave (Gustavus jazz pedagogy pages; P. Coats, Orchestration
# for Saxophones);
# drop 2 and 4 = second and fourth lowered (Coats); doubled lead = the lead's note an octave lower
# in the fifth voice.
C6_CLOSE = [84, 81, 79, 76]  # C A G E


@pytest.mark.parametrize(
    ("pitches", "name"),
    [
        (C6_CLOSE, "close"),
        ([84, 79, 76, 81 - 12], "drop 2"),
        ([84, 79, 81 - 12, 76 - 12], "drop 2 and 4"),
        ([*C6_CLOSE, 72], "close, lead doubled below"),
        ([84, 79, 76, 69, 72], "drop 2, lead doubled below"),
        ([72, 71, 69, 67], "cluster"),
        ([84, 72, 60, 48], "octaves"),
        ([84, 84, 84], "unison"),
        ([79, 64, 53, 36], "wide"),
    ],
)
def test_voicings_by_their_definition(pitches: list[int], name: str) -> None:
    assert voicing_of(pitches) == name
    assert voicing_of([p + 5 for p in reversed(pitches)]) == name


def test_planted_charts() -> None:
    """A few seeds of the generator; `python tests/measure_passages.py` measures many."""
    matched = planted = found = 0
    for seed in (201, 202, 203):
        data, truth = plant_chart(seed)
        c = read_chart(parse_document(__import__("pathlib").Path("x"), data))
        got = {
            (
                p.texture,
                c.place(p.start).index,
                float(c.place(p.start).beat),
                frozenset(c.labels[n] for n in p.parts),
            )
            for p in find_passages(c).passages
        }
        want = {(t.texture, t.start[0], float(t.start[1]), frozenset(t.parts)) for t in truth}
        matched += len(got & want)
        planted += len(want)
        found += len(got)
    assert matched / planted >= 0.96
    assert matched / found >= 0.96


def test_empty_and_percussion_parts_do_no_harm() -> None:
    drums = part_xml("r/1").replace(
        "<rest/>",
        "<unpitched><display-step>E</display-step><display-octave>4</display-octave></unpitched>",
    )
    c = read_chart(
        parse_document(
            __import__("pathlib").Path("x"), score_xml({"Drums": drums, "Alto": part_xml("C5/1")})
        )
    )
    assert find_passages(c).passages == ()


def test_a_tune_over_a_walking_bass_is_no_soli() -> None:
    """One horn and the bass in the same quarters: common practice, no source; two horns and the
    bass are."""
    tune, second, bass = (
        "E5/4 G5/4 C6/4 B5/4 A5/4 F5/4 D5/4 C5/4 ",
        "C5/4 E5/4 A5/4 G5/4 F5/4 D5/4 B4/4 A4/4 ",
        "C3/4 E3/4 A2/4 G2/4 F2/4 A2/4 B2/4 C3/4 ",
    )
    assert not find_passages(chart({"Alto Sax 1": tune * 2, "Bass": bass * 2})).passages
    assert find_passages(
        chart({"Alto Sax 1": tune * 2, "Tenor Sax 1": second * 2, "Bass": bass * 2})
    ).passages


def test_what_a_passage_parts_is_no_one_hit(demo_score: Score) -> None:
    """The saxes of the demo strike with the brass before and after their passage P13: two groups of
    hits, not one that lies over the passage and plans its notes a second time."""
    together = demo_score.together
    assert together.hits
    for hit in together.hits:
        assert 0 <= hit.confidence <= 1
        for passage in together.passages:
            if set(hit.parts) & set(passage.parts):
                assert hit.end <= passage.start or passage.end <= hit.start, (hit.id, passage.id)
    planned = Counter(
        (plan.part, note.tone.onset)
        for plan in stages.plan_score(demo_score, Options())[0].marked
        for note in plan.notes
    )
    assert set(planned.values()) == {1}


def test_two_players_on_one_staff_are_no_wrong_note() -> None:
    """A third below on a shared staff is the second player's harmony (common practice, no source);
    alone it is a slip."""
    alone = TUNE.replace("G5/4 E5/4", "G5/4 C5/4")
    assert {
        d.kind
        for d in _found({"Alto 1": TUNE, "Alto 2": TUNE, "Tenor 1": alone, "Bass": OTHER})[
            0
        ].deviations
    } == {"pitch"}
    c = chart({"Alto 1": TUNE, "Alto 2": TUNE, "Tenor 1": alone, "Bass": OTHER})
    tick = next(d.tick for d in find_passages(c).passages[0].deviations)
    shared = c.parts[2]
    second = next(n for n in shared.notes if n.onset == tick)
    both = (
        *(n for n in shared.notes if n.bar <= second.bar),
        second._replace(sounding=64, voice="2"),
        *(n for n in shared.notes if n.bar > second.bar),
    )
    c = replace(c, parts=tuple(replace(p, notes=both) if p.index == 2 else p for p in c.parts))
    assert not find_passages(c).passages[0].deviations


def test_a_stranger_who_meets_the_line_for_a_bar_is_no_member() -> None:
    """Five saxes for eight bars, a trumpet with their rhythm for one of them: one passage, led by
    the alto."""
    more = f"{TUNE} {TUNE} {TUNE}"
    own = (
        "C5/4 r/8 E5/8 r/4 G5/4 r/4 C5/4 r/8 E5/8 r/4 G5/8 C5/8 r/4 E5/4 r/4 ",
        "r/8 D5/8 F5/8 A5/8 C6/4 A5/8 F5/8 ",
    )
    trumpet = own[0] + own[1] + own[0] + own[0]
    saxes = {
        name: transposed(more, -n)
        for n, name in enumerate(("Alto 1", "Alto 2", "Tenor 1", "Tenor 2"))
    }
    found = _found({**saxes, "Trumpet 1": trumpet})
    assert [p.parts for p in found] == [(0, 1, 2, 3)]
    assert found[0].lead == 0


def test_who_joins_for_four_bars_is_told_as_a_guest() -> None:
    """A trumpet doubles the lead for five bars of eighteen and rests in the others: no member, and
    no news lost."""
    saxes = {
        name: transposed(" ".join([TUNE] * 6), -n)
        for n, name in enumerate(("Alto 1", "Alto 2", "Tenor 1", "Tenor 2"))
    }
    joins = f"E5/4 D5/8 C5/8 B4/4 r/4 {TUNE} r/8 D5/8 F5/8 A5/8 C6/4 A5/8 F5/8"
    c = chart(
        {**saxes, "Trumpet 1": f"{'r/1 ' * 5}{joins}{' r/1' * 8}", "Bass": " ".join([OTHER] * 5)}
    )
    (passage,) = find_passages(c).passages
    assert passage.parts == (0, 1, 2, 3)
    assert [(g.part, g.texture, c.place(g.start).index) for g in passage.guests] == [
        (4, "unison", 5)
    ]
    assert say_guests(c, passage) == "with Trumpet 1 (unison, bar 6 to bar 10)"
