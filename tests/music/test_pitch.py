"""Pitch and transposition. Breaks when written and sounding pitch no longer undo each other."""

from hypothesis import given
from hypothesis import strategies as st

from sectionprep.music.instruments import instruments, recognise
from sectionprep.music.pitch import Pitch, Transposition
from sectionprep.music.timing import Meter, say_beat

pitches = st.builds(Pitch, st.sampled_from("CDEFGAB"), st.sampled_from([-1, 0, 1]), st.integers(1, 7))


@given(pitches, st.sampled_from([i.transposition for i in instruments()]))
def test_written_to_sounding_and_back_is_the_identity(pitch: Pitch, transposition: Transposition) -> None:
    sounding = transposition.sounding_pitch(pitch)
    assert transposition.written_pitch(sounding) == pitch
    assert sounding.midi == transposition.sounding(pitch)


def test_handbook_transpositions() -> None:
    """Handbook table of transpositions (LaRue, orchestration handout; arranging tutorials): written C5 sounds ..."""
    table = {"soprano-sax": "Bb4", "alto-sax": "Eb4", "tenor-sax": "Bb3", "baritone-sax": "Eb3", "trumpet": "Bb4",
             "flugelhorn": "Bb4", "clarinet": "Bb4", "horn": "F4", "trombone": "C5", "guitar": "C4", "bass": "C4"}
    found = {i.key: str(i.transposition.sounding_pitch(Pitch("C", 0, 5))) for i in instruments() if i.key in table}
    assert found == table


def test_chairs_as_bands_write_them() -> None:
    """Names from band practice in several languages (common practice, no source)."""
    for name, key, number in [
        ("Alto Saxophone 1", "alto-sax", 1), ("Altsaxophon II", "alto-sax", 2), ("2nd Tenor Sax", "tenor-sax", 2),
        ("Sax baryton", "baritone-sax", 0), ("Trompete 3.", "trumpet", 3), ("Tpt. 4", "trumpet", 4),
        ("Posaune 2", "trombone", 2), ("B. Tbn.", "bass-trombone", 0), ("Kontrabass", "bass", 0),
        ("Electric Guitar", "guitar", 0), ("Drum Set", "drums", 0), ("Alto 2 (Flute)", "alto-sax", 2),
        ("Trumpet in B\u266d 2", "trumpet", 2), ("Trombone 4 (Bass)", "bass-trombone", 4),
    ]:
        chair = recognise(name)
        assert (chair.instrument.key, chair.number) == (key, number), name


def test_two_players_on_one_staff_keep_both_numbers() -> None:
    assert recognise("Trumpet 1 & 2").numbers == (1, 2)


def test_unknown_name_is_said_to_be_unsure() -> None:
    assert not recognise("Qwerty").sure


def test_meters_and_beats() -> None:
    assert Meter(beats=6, unit=8).pulse * 2 == 3
    assert Meter(beats=2, unit=2).pulse == 2
    assert [say_beat(b) for b in (Meter().quarters, Meter().quarters / 8 * 7)] == ["4", "3and"]
