"""Pitch and transposition. Breaks when written and sounding pitch no longer undo each other."""

from hypothesis import given
from hypothesis import strategies as st

from sectionprep.music.instruments import instruments
from sectionprep.music.pitch import Pitch, Transposition
from sectionprep.music.timing import Meter, say_beat

pitches = st.builds(
    Pitch, st.sampled_from("CDEFGAB"), st.sampled_from([-1, 0, 1]), st.integers(1, 7)
)


@given(pitches, st.sampled_from([i.transposition for i in instruments()]))
def test_written_to_sounding_and_back_is_the_identity(
    pitch: Pitch, transposition: Transposition
) -> None:
    sounding = transposition.sounding_pitch(pitch)
    assert transposition.written_pitch(sounding) == pitch
    assert sounding.midi == transposition.sounding(pitch)


def test_handbook_transpositions() -> None:
    """Handbook table of transpositions (LaRue, orchestration handout; arranging tutorials): written
    C5 sounds ..."""
    table = {
        "soprano-sax": "Bb4",
        "alto-sax": "Eb4",
        "tenor-sax": "Bb3",
        "baritone-sax": "Eb3",
        "trumpet": "Bb4",
        "flugelhorn": "Bb4",
        "clarinet": "Bb4",
        "horn": "F4",
        "trombone": "C5",
        "guitar": "C4",
        "bass": "C4",
    }
    found = {
        i.key: str(i.transposition.sounding_pitch(Pitch("C", 0, 5)))
        for i in instruments()
        if i.key in table
    }
    assert found == table


def test_meters_and_beats() -> None:
    assert Meter(beats=6, unit=8).pulse * 2 == 3
    assert Meter(beats=2, unit=2).pulse == 2
    assert [say_beat(b) for b in (Meter().quarters, Meter().quarters / 8 * 7)] == ["4", "3and"]
