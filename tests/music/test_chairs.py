"""Who plays a part. Breaks when a name is taken for another instrument, a singer for a
saxophone, or a key or a number is lost."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from build import document, part_xml, score_xml
from hypothesis import given
from hypothesis import strategies as st

from sectionprep.errors import UnusableSettings
from sectionprep.music.chairs import Clues, recognise, recognise_all
from sectionprep.music.chart import Chart
from sectionprep.music.instruments import Chair, instrument, instruments
from sectionprep.music.part_names import plain_words, read_name, written_out
from sectionprep.music.pitch import Pitch, Transposition
from sectionprep.music.roster import read_roster
from sectionprep.musicxml.document import open_document, parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.settings import load_toml

CASES = Path(__file__).parent.parent / "cases"
SPELLINGS = [
    (language, name, wanted)
    for language, names in tomllib.loads((CASES / "chairs.toml").read_text("utf-8")).items()
    for name, wanted in names.items()
]


def _wanted(text: str) -> tuple[str, tuple[int, ...], int | None]:
    words, _, semitones = text.partition(" in ")
    key, *numbers = words.split()
    return key, tuple(map(int, numbers)), int(semitones) if semitones else None


def test_the_table_is_large_and_in_six_languages() -> None:
    assert len(SPELLINGS) >= 300
    assert {"german", "french", "italian", "spanish", "russian"} < {
        language for language, _, _ in SPELLINGS
    }


@pytest.mark.parametrize(
    ("name", "wanted"), [pytest.param(name, wanted, id=name) for _, name, wanted in SPELLINGS]
)
def test_spellings(name: str, wanted: str) -> None:
    """A few may mean several instruments and are judged in the company of a band."""
    key, numbers, semitones = _wanted(wanted)
    chair = recognise_all([Clues(name=name), Clues(name="Drum Set")])[0]
    assert (chair.instrument.key, chair.numbers) == (key, numbers)
    assert (chair.number, chair.sure) == ((numbers or (0,))[0], key != "unknown")
    usual = instrument(key).transposition.chromatic
    assert chair.instrument.transposition.chromatic == (usual if semitones is None else semitones)


def test_no_word_means_two_things_by_mistake() -> None:
    """Two instruments that share a spelling must stand among the open words, where something
    else decides."""
    rows: dict[tuple[str, ...], set[str]] = {}
    for row in instruments():
        for words in (words for alias in row.aliases for words in written_out(alias)):
            rows.setdefault(words, set()).add(row.key)
    table = load_toml("shared/names.toml")
    opened = {plain_words(name) for name in table["open"]}
    assert {
        words: keys for words, keys in rows.items() if len(keys) > 1 and words not in opened
    } == {}
    for part in ("open", "keys"):
        assert len({plain_words(name) for name in table[part]}) == len(table[part])
    assert all(instrument(key).key == key for keys in table["open"].values() for key in keys)


@pytest.mark.parametrize(
    ("name", "step", "semitones"),
    [
        ("Clarinet in A", "A", -3),
        ("Trumpet in D", "D", 2),
        ("Horn in Eb", "E", -9),
        ("Horn in C", "C", -12),
        ("Piccolo Trumpet in A", "A", 9),
        ("Trumpet in Bb", "B", -2),
        ("Eb Clarinet", "E", 3),
        ("Horn in E", "E", -8),
    ],
)
def test_a_key_in_the_name_is_the_instruments(name: str, step: str, semitones: int) -> None:
    """A written C sounds the note that the instrument is named for (the definition of a
    transposing instrument)."""
    transposition = recognise(Clues(name=name)).instrument.transposition
    sounds = transposition.sounding_pitch(Pitch("C", 0, 5))
    assert (sounds.step, transposition.chromatic) == (step, semitones)


def test_in_b_means_what_the_file_transposes_by() -> None:
    flat = recognise(Clues(name="Trompete in B", transposition=Transposition(-1, -2)))
    assert flat.instrument.transposition.chromatic == -2
    natural = recognise(Clues(name="Horn in B", transposition=Transposition(-8, -13)))
    assert natural.instrument.transposition == Transposition(-8, -13)


# -- what a name leaves open ---------------------------------------------------------------------


@pytest.mark.parametrize(
    ("evidence", "key"),
    [
        (Clues(name="Alto 1", transposition=Transposition(-5, -9)), "alto-sax"),
        (Clues(name="Alto", sings=True), "alto-voice"),
        (Clues(name="Alto", sound="voice.alto"), "alto-voice"),
        (Clues(name="Alto", sound="voice.vocals"), "alto-voice"),
        (Clues(name="Alto", sound="wind.reed.saxophone.alto"), "alto-sax"),
        (Clues(name="Alto", group="Choir"), "alto-voice"),
        (Clues(name="Alto", group="Saxes"), "alto-sax"),
        (Clues(name="Alto", program=53), "alto-voice"),
        (Clues(name="Alto", program=66), "alto-sax"),
        (Clues(name="Alto", clef="C3"), "viola"),
        (Clues(name="Tenor", clef="C4"), "tenor-voice"),
        (Clues(name="Tenor", transposition=Transposition(-8, -14)), "tenor-sax"),
        (Clues(name="Bass", transposition=Transposition(-7, -12)), "bass"),
        (Clues(name="Bass", transposition=Transposition(-12, -21)), "baritone-sax"),
        (Clues(name="Bass", sings=True), "bass-voice"),
        (Clues(name="Baritone", transposition=Transposition(-12, -21)), "baritone-sax"),
        (Clues(name="Baritone", transposition=Transposition(-8, -14)), "euphonium"),
        (Clues(name="Sax", transposition=Transposition(-8, -14)), "tenor-sax"),
        (Clues(name="Saxophone 5", transposition=Transposition(-12, -21)), "baritone-sax"),
        (Clues(name="Reed 3", transposition=Transposition(-1, -2)), "clarinet"),
        (Clues(name="Reed 1 (Alto, Flute)"), "alto-sax"),
        (Clues(name="Tb.", sound="brass.tuba"), "tuba"),
        (Clues(name="", sound="wind.reed.clarinet.bass"), "bass-clarinet"),
        (Clues(name="Staff 1", abbreviation="Tpt."), "trumpet"),
        (Clues(name="Staff 1", percussion=True), "drums"),
        (Clues(name="Staff 1", sings=True), "voice"),
    ],
)
def test_the_rest_of_the_file_settles_what_a_name_leaves_open(evidence: Clues, key: str) -> None:
    chair = recognise(evidence)
    assert (chair.instrument.key, chair.sure) == (key, True)


def _keys(*names: str) -> list[str]:
    return [chair.instrument.key for chair in recognise_all([Clues(name=name) for name in names])]


def test_company_settles_what_is_still_open() -> None:
    choir = ["soprano-voice", "alto-voice", "tenor-voice", "bass-voice"]
    assert _keys("Soprano", "Alto", "Tenor", "Bass") == choir
    assert _keys("S.", "A.", "T.", "B.") == choir
    assert (
        _keys(
            "Soprano", "Alto", "Tenor", "Bass", "Trumpet 1", "Timpani", "Violin I", "Cello", "Bass"
        )[:4]
        == choir
    )
    assert _keys("Violin", "Viola", "Cello", "Bass") == ["violin", "viola", "cello", "bass"]
    assert _keys("Alto 1", "Alto 2", "Tenor 1", "Bari", "Trumpet 1", "Bass", "Drums") == [
        "alto-sax",
        "alto-sax",
        "tenor-sax",
        "baritone-sax",
        "trumpet",
        "bass",
        "drums",
    ]
    assert _keys("Voice", "Alto", "Tenor", "Trombone", "Piano", "Bass", "Drums")[1:3] == [
        "alto-sax",
        "tenor-sax",
    ]


def test_in_a_band_an_open_name_is_sure_but_any_sax_is_not() -> None:
    band = recognise_all(
        [
            Clues(name="Alto 1"),
            Clues(name="Sax"),
            Clues(name="Trumpet 1"),
            Clues(name="Drums"),
        ]
    )
    assert [chair.sure for chair in band] == [True, False, True, True]
    assert not recognise(Clues(name="Alto 1")).sure


def test_a_program_alone_is_not_sure() -> None:
    chair = recognise(Clues(name="", program=57))
    assert (chair.instrument.key, chair.sure) == ("trumpet", False)


#: ids as MusicXML 4.0 lists its standard sounds (from memory of that list) and who plays them
SOUNDS = {
    "brass.bugle": "unknown",
    "brass.cornet": "cornet",
    "brass.cornet.soprano": "cornet",
    "brass.euphonium": "euphonium",
    "brass.flugelhorn": "flugelhorn",
    "brass.french-horn": "horn",
    "brass.baritone-horn": "euphonium",
    "brass.trombone": "trombone",
    "brass.trombone.alto": "trombone",
    "brass.trombone.bass": "bass-trombone",
    "brass.trombone.tenor": "trombone",
    "brass.trombone.contrabass": "bass-trombone",
    "brass.trumpet": "trumpet",
    "brass.trumpet.bflat": "trumpet",
    "brass.trumpet.c": "trumpet",
    "brass.trumpet.piccolo": "piccolo-trumpet",
    "brass.trumpet.bass": "bass-trumpet",
    "brass.tuba": "tuba",
    "brass.tuba.bass": "tuba",
    "brass.sousaphone": "tuba",
    "drum.group.set": "drums",
    "drum.conga": "percussion",
    "drum.snare-drum": "percussion",
    "drum.timpani": "timpani",
    "keyboard.accordion": "accordion",
    "keyboard.celesta": "celesta",
    "keyboard.harpsichord": "harpsichord",
    "keyboard.organ": "organ",
    "keyboard.organ.pipe": "organ",
    "keyboard.piano": "piano",
    "keyboard.piano.grand": "piano",
    "keyboard.piano.electric": "piano",
    "metal.cymbal.ride": "percussion",
    "metal.triangle": "percussion",
    "pitched-percussion.glockenspiel": "glockenspiel",
    "pitched-percussion.marimba": "marimba",
    "pitched-percussion.tubular-bells": "mallets",
    "pitched-percussion.vibraphone": "vibraphone",
    "pitched-percussion.xylophone": "xylophone",
    "pluck.banjo": "banjo",
    "pluck.bass": "bass",
    "pluck.bass.acoustic": "bass",
    "pluck.bass.electric": "bass",
    "pluck.guitar": "guitar",
    "pluck.guitar.acoustic": "guitar",
    "pluck.guitar.electric": "guitar",
    "pluck.guitar.nylon-string": "guitar",
    "pluck.harp": "harp",
    "pluck.lute": "banjo",
    "pluck.ukulele": "banjo",
    "rattle.maraca": "percussion",
    "strings.cello": "cello",
    "strings.contrabass": "bass",
    "strings.group": "strings",
    "strings.viola": "viola",
    "strings.violin": "violin",
    "synth.pad": "piano",
    "voice.alto": "alto-voice",
    "voice.baritone": "baritone-voice",
    "voice.bass": "bass-voice",
    "voice.mezzo-soprano": "mezzo-voice",
    "voice.soprano": "soprano-voice",
    "voice.tenor": "tenor-voice",
    "voice.vocals": "voice",
    "voice.aa": "voice",
    "wind.flutes.flute": "flute",
    "wind.flutes.flute.alto": "alto-flute",
    "wind.flutes.flute.bass": "bass-flute",
    "wind.flutes.flute.piccolo": "piccolo",
    "wind.flutes.recorder": "recorder",
    "wind.flutes.recorder.tenor": "recorder",
    "wind.flutes.panpipes": "whistle",
    "wind.pipes.bagpipes": "other-reed",
    "wind.reed.bassoon": "bassoon",
    "wind.reed.contrabassoon": "contrabassoon",
    "wind.reed.clarinet": "clarinet",
    "wind.reed.clarinet.a": "clarinet",
    "wind.reed.clarinet.alto": "alto-clarinet",
    "wind.reed.clarinet.bass": "bass-clarinet",
    "wind.reed.clarinet.bflat": "clarinet",
    "wind.reed.clarinet.contrabass": "contrabass-clarinet",
    "wind.reed.clarinet.contra-alto": "contra-alto-clarinet",
    "wind.reed.english-horn": "english-horn",
    "wind.reed.harmonica": "accordion",
    "wind.reed.oboe": "oboe",
    "wind.reed.saxophone.alto": "alto-sax",
    "wind.reed.saxophone.baritone": "baritone-sax",
    "wind.reed.saxophone.bass": "bass-sax",
    "wind.reed.saxophone.soprano": "soprano-sax",
    "wind.reed.saxophone.tenor": "tenor-sax",
    "wood.temple-block": "percussion",
}


@pytest.mark.parametrize(("sound", "key"), SOUNDS.items())
def test_sound_ids(sound: str, key: str) -> None:
    assert recognise(Clues(name="", sound=sound)).instrument.key == key


# -- in a chart ----------------------------------------------------------------------------------


def _read(parts: dict[str, str], **more: str) -> Chart:
    data = score_xml(parts)
    for old, new in more.items():
        data = data.replace(old.encode(), new.encode())
    return read_chart(parse_document(Path("x.musicxml"), data))


def _chairs(chart: Chart) -> list[Chair]:
    return [part.chair for part in chart.parts]


def test_singers_are_never_transposed() -> None:
    """A choir and one clarinet: the singers do not transpose, so nothing says concert pitch, and
    no sheet is transposed."""
    lyric = "<lyric><text>la</text></lyric></note>"
    sung = part_xml("C5/1 D5/1").replace("</note>", lyric)
    chart = _read({"Soprano": sung, "Alto": sung, "Tenor": sung, "Bass": sung})
    assert [chair.instrument.section for chair in _chairs(chart)] == ["voices"] * 4
    assert not chart.concert
    assert all(not chair.instrument.transposition.chromatic for chair in _chairs(chart))


def test_a_bass_clarinet_in_b_flat_is_no_clarinet() -> None:
    low = part_xml("E3/1 C3/1", transpose=(-8, -14))
    chart = _read(
        {"Bass Clarinet in Bb": low, "Alto Sax": part_xml("C5/1 D5/1", transpose=(-5, -9))}
    )
    assert chart.parts[0].chair.instrument.key == "bass-clarinet"
    from sectionprep.checks import run_checks
    from sectionprep.passages import find_passages

    assert [
        f.check
        for f in run_checks(chart, find_passages(chart), level="pro")
        if f.severity == "error"
    ] == []


def test_a_number_in_a_group_gives_a_chair() -> None:
    from test_naming import _chart, _named

    group = "<part-group type='start' number='1'><group-name>Horns in F</group-name></part-group>"
    chart = _chart(group + _named("1", "3. 4."), 2)
    assert [(chair.instrument.key, chair.numbers) for chair in _chairs(chart)] == [
        ("horn", (1,)),
        ("horn", (3, 4)),
    ]


def test_two_players_on_a_staff_are_both_found() -> None:
    from sectionprep.music.naming import find_part

    chart = read_chart(document({"Trumpet 1 & 2": "C5/1", "Trumpet 3": "C5/1"}))
    assert chart.parts[0].chair.numbers == (1, 2)
    assert chart.parts[0].says == "Trumpet 1 & 2"
    assert find_part(chart.parts, "trumpet 2").index == 0


def test_what_is_unsure_is_asked_with_the_line_that_settles_it(tmp_path: Path) -> None:
    path = tmp_path / "c.musicxml"
    path.write_bytes(
        score_xml(
            {
                "Reed 1": part_xml("C5/1"),
                'The "Thing"': part_xml("C5/1"),
                "Trumpet 1": part_xml("C5/1"),
            }
        )
    )
    chart = read_chart(open_document(path))
    asked = [remark for remark in chart.remarks if "not certain" in remark.what]
    assert [remark.where for remark in asked] == ["Reed 1", 'The "Thing"']
    assert all("\n" not in remark.what for remark in asked)
    lines = [remark.what.partition("(--roster): ")[2].split(" (")[0] for remark in asked]
    assert lines == ['"Reed 1" = "alto-sax 1"', r'"The \"Thing\"" = "INSTRUMENT"']
    roster = tmp_path / "roster.toml"
    roster.write_text("\n".join(lines).replace("INSTRUMENT", "Bari Sax"))
    settled = read_chart(open_document(path), roster=read_roster(roster))
    assert [chair.says for chair in _chairs(settled)] == ["Alto 1", "Bari", "Trumpet 1"]
    assert not [remark for remark in settled.remarks if "not certain" in remark.what]


@pytest.mark.parametrize(
    "text",
    [
        '"Reed 1" = "kazoo"',
        '"Reed 1" = "sax"',
        '"Reed 1" = ""',
        "[[seat]]\npart='a'\n[[seat]]\npart='a'",
        "'a' = 'flute'\n[[seat]]\npart='a'",
        "[[seat]]\npart='b'\n\"Reed 1\" = 'flute'",
    ],
)
def test_short_lines_that_cannot_be_used_are_refused(tmp_path: Path, text: str) -> None:
    (tmp_path / "roster.toml").write_text(text)
    with pytest.raises(UnusableSettings) as caught:
        read_roster(tmp_path / "roster.toml")
    assert caught.value.remedy


def test_a_name_and_a_sound_that_disagree_are_said_once_and_the_name_wins() -> None:
    data = score_xml({"Flute": part_xml("C5/1"), "Trumpet in C": part_xml("C5/1")})
    for name, sound in (("Flute", "wind.reed.oboe"), ("Trumpet in C", "brass.trumpet.c")):
        data = data.replace(
            f"{name}</part-name>".encode(),
            (
                f"{name}</part-name><score-instrument id='i'><instrument-name/>"
                f"<instrument-sound>{sound}</instrument-sound>"
                "</score-instrument>"
            ).encode(),
        )
    chart = read_chart(parse_document(Path("x"), data))
    assert chart.parts[0].chair.instrument.key == "flute"
    assert [
        (r.where, "if the sound is right" in r.what and '"Flute" = "oboe"' in r.what)
        for r in chart.remarks
        if "sound id" in r.what
    ] == [("Flute", True)]


@given(st.text(), st.text(max_size=8), st.sampled_from(["", *SOUNDS]))
def test_any_name_gives_a_chair(name: str, short: str, sound: str) -> None:
    chair = recognise(Clues(name=name, abbreviation=short, sound=sound))
    assert chair.sure == (chair.sure and chair.instrument.key != "unknown")
    assert all(0 < number <= 12 for number in chair.numbers)
    assert chair.number == (chair.numbers or (0,))[0]


def test_names_do_not_hang_on_capitals_or_spaces() -> None:
    for name in ("alto sax 1", "ALTO  SAX 1", "Alto\u00a0Sax 1", "Alto-Sax 1", "alto.sax.1"):
        assert recognise(Clues(name=name)).says == "Alto 1", name
    assert read_name("") == read_name("   ")
