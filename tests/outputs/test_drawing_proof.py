"""The proof of the drawing can fail: right drawings pass, and each planted fault is found, in its
bar."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from build import chart, document
from hard_parts import note, notes, opening, score

from sectionprep.drawing.engraver import part as engraver
from sectionprep.drawing.proof.as_written import MustShow, Proved, heads_of, pitch_of, prove
from sectionprep.drawing.proof.drawn_heads import read_drawing
from sectionprep.music.pitch import Pitch
from sectionprep.musicxml.document import Document, parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.parts.part_job import SheetStyle
from sectionprep.outputs.parts.sheet import draw_part
from sectionprep.outputs.parts.sheets import Basis, part_jobs


class _Drawing:
    """A part as drawn: its pages, ready to be spoiled."""

    def __init__(self, source: Document, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.chart = read_chart(source)
        seen = []

        def keep(pages: list[str], *given: Any) -> object:
            seen.append((pages, *given))
            return read_drawing(pages, *given)

        monkeypatch.setattr(engraver, "read_drawing", keep)
        (job,) = part_jobs(
            Basis(document=source, chart=self.chart), folder, SheetStyle(courtesy=False)
        )
        assert not draw_part(job).failed
        self.pages, self.bars, *self.given = seen[0]
        self.must = job.must

    def spoilt(self, change: Callable[[str], str] = lambda page: page) -> Proved:
        """What the proof says when the pages are changed."""
        pages = [change(page) for page in self.pages]
        return prove(self.must, read_drawing(pages, self.bars, *self.given))


@pytest.fixture
def tune(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> _Drawing:
    """F#4 (shown) F#4 (held over by its bar) F4 (shown natural) G4; then a tied Bb4 (of the key)
    and two notes of a chord."""
    return _Drawing(
        parse_document(
            Path("x"),
            score(
                opening(fifths=-2)
                + note("F#4", sign="sharp")
                + notes("F#4")
                + note("F4", sign="natural")
                + note("G#4", sign="sharp", tie="start"),
                note("G#4", 4, tie="stop") + note("Bb4") + note("D5") + note("F5", chord=True),
            ),
        ),
        tmp_path,
        monkeypatch,
    )


def _group(page: str, name: str) -> str:
    """The group of a note, with all that lies in it."""
    start = page.index(f'<g id="{name}" class="note"')
    depth = 0
    for tag in re.finditer(r"<g\b[^>]*?(/?)>|</g>", page[start:]):
        depth += 0 if tag[1] else -1 if tag[0] == "</g>" else 1
        if depth == 0:
            return page[start : start + tag.end()]
    raise AssertionError(name)


def test_a_right_drawing_is_proved(tune: _Drawing) -> None:
    assert tune.spoilt() == Proved(8, 8, 8, 5, ())


def _without(name: str) -> Callable[[str], str]:
    return lambda page: page.replace(_group(page, name), "")


def _moved(name: str, right: float = 0, down: float = 0) -> Callable[[str], str]:
    def change(page: str) -> str:
        group = _group(page, name)
        head = re.search(r'class="notehead"><use [^>]*translate\((-?[\d.]+), (-?[\d.]+)\)', group)
        assert head
        there = head[0].replace(
            f"({head[1]}, {head[2]})", f"({float(head[1]) + right}, {float(head[2]) + down})"
        )
        return page.replace(group, group.replace(head[0], there))

    return change


def _unsigned(name: str) -> Callable[[str], str]:
    return lambda page: page.replace(
        _group(page, name), re.sub(r'(class="accid">)<use [^>]*/>', r"\1", _group(page, name))
    )


def _signed(name: str, glyph: str) -> Callable[[str], str]:
    return lambda page: page.replace(
        _group(page, name),
        re.sub(r'(class="accid">.*?#)E26\d', rf"\g<1>{glyph}", _group(page, name)),
    )


_HALF = 93.75  # half the distance of two lines of a staff of 7.5 mm, in hundredths of a millimetre


@pytest.mark.parametrize(
    ("change", "bar", "said"),
    [
        (_without("n1"), 0, "the note F#4 is missing"),
        (_without("n6"), 1, "the note D5 is missing"),
        (
            lambda page: page.replace(_group(page, "n1"), 2 * _group(page, "n1")),
            0,
            "the note F#4 is drawn 2 times",
        ),
        (
            lambda page: page.replace('id="n1"', 'id="elsewhere"'),
            0,
            "F#4 is drawn that is not in the part",
        ),
        (_moved("n2", down=-_HALF), 0, "the note F4 is read as G4"),
        (_moved("n5", down=7 * _HALF), 1, "the note Bb4 is read as Bb3"),
        (_moved("n1", right=2500), 0, "notes do not stand in order"),
        (_moved("n7", right=450), 1, "notes that sound together stand one after the other"),
        (_unsigned("n0"), 0, "the note F#4 is read as F4"),
        (_unsigned("n2"), 0, "the note F4 is read as F#4"),
        (_signed("n2", "E260"), 0, "the note F4 is read as Fb4"),
        (_signed("n2", "E2FF"), 0, "the note F4 has an accidental that cannot be read"),
        (
            lambda page: re.sub(r'<g [^>]*class="tie".*?</g>', "", page),
            1,
            "the note G#4 is read as G4",
        ),
        (
            lambda page: re.sub(r'<g [^>]*class="keyAccid">.*?</g>', "", page),
            1,
            "the note Bb4 is read as B4",
        ),
        (
            lambda page: page.replace("#E050-", "#E062-"),
            0,
            "the note F#4 is read as E#3",
        ),  # a bass clef on the line of G
        (lambda page: re.sub(r'<g [^>]*class="clef">.*?</g>', "", page), 0, "has no clef"),
    ],
)
def test_a_planted_fault_is_found_in_its_bar(
    tune: _Drawing, change: Callable[[str], str], bar: int, said: str
) -> None:
    assert any(change(page) != page for page in tune.pages)
    found = tune.spoilt(change)
    assert [d for d in found.differences if d.bar == bar and said in d.what], found.differences
    assert found.heads < 8 or "stand" in said or "not in" in said


def test_a_missing_bar_is_found(tune: _Drawing) -> None:
    """As when a bar of notes were taken into a long rest."""
    second = next(name for name, index in tune.bars.items() if index == 1)
    assert [
        d.bar
        for d in tune.spoilt(
            lambda page: page.replace(f'id="{second}" class="measure"', 'id="?" class="measure"')
        ).differences
    ] == [1]


def test_heads_of_two_systems_are_read_each_under_its_own_signature(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Key and clef stand again at the head of each line: taken away on the second, its notes are
    read wrong, those of the first right."""
    drawing = _Drawing(
        document({"Alto Sax 1": "Bb4/8 A4/8 Bb4/8 C5/8 D5/8 C5/8 Bb4/8 A4/8 " * 10}, fifths=-1),
        tmp_path,
        monkeypatch,
    )
    assert drawing.spoilt().differences == ()
    assert drawing.pages[0].count('class="system"') > 1

    def change(page: str) -> str:
        first, second = page.rsplit('class="system"', 1)
        return first + 'class="system"' + re.sub(r'<g [^>]*class="keyAccid">.*?</g>', "", second)

    wrong = drawing.spoilt(change).differences
    assert 0 < len(wrong) < 10
    assert wrong[-1].bar == 9
    assert all("Bb4 is read as B4" in d.what for d in wrong)


def test_a_sign_of_repetition_stands_for_the_bar_before_only_if_that_is_alike() -> None:
    """MusicXML 4.0: a bar under a repeat sign plays what the bar before it does; notes that differ
    are not on the paper then."""
    alike, other = (
        heads_of(chart({"Piano": text}).parts[0])
        for text in ("C4/4 D4/4 E4/4 F4/4 " * 2, "C4/4 D4/4 E4/4 F4/4 C4/4 D4/4 E4/4 G4/4")
    )
    from sectionprep.drawing.proof.drawn_heads import Drawn, DrawnHead

    drawn = Drawn(
        tuple(DrawnHead(h.name, 0, 1, 0, 100.0 * n, h.place, 0.0) for n, h in enumerate(alike[:4])),
        frozenset({1}),
        90.0,
    )
    assert prove(MustShow(alike, 24), drawn).differences == ()
    assert [d.bar for d in prove(MustShow(other, 24), drawn).differences] == [1]


def test_hidden_notes_and_rests_are_not_asked_for() -> None:
    """`print-object` (MusicXML 4.0): "no" means that the note is not to be printed."""
    source = parse_document(
        Path("x"),
        score(
            opening() + note("C5") + note("D5", attributes=' print-object="no"') + notes("E5 F5")
        ),
    )
    assert [head.name for head in heads_of(read_chart(source).parts[0])] == ["n0", "n2", "n3"]


def test_pitches_are_numbered_as_in_midi() -> None:
    """60 is middle C (MIDI 1.0); the same numbers as our reader's, which is compared with music21's
    elsewhere."""
    for step in "CDEFGAB":
        for octave in range(0, 9):
            for alter in (-2, -1, 0, 1, 2):
                pitch = Pitch(step, alter, octave)
                assert pitch_of(pitch.diatonic, alter) == pitch.midi
    assert pitch_of(28, 0.0) == 60
