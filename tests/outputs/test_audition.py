"""What is heard agrees with the plan: onsets, lengths and loudness order measured from the rendered
sound."""

from __future__ import annotations

import wave
from pathlib import Path

import mido
import numpy as np
import pytest
import soundfile
from build import chart

from sectionprep.music.clock import steady
from sectionprep.outputs.audition import Wish, write_audition
from sectionprep.outputs.audition.performance import Played, play, swing_ratio
from sectionprep.outputs.audition.synth import RATE, render
from sectionprep.phrasing import plan_line
from sectionprep.phrasing.styles import styles
from sectionprep.results import Marked


def _envelope(sound: np.ndarray, window: float = 0.005) -> np.ndarray:
    n = int(window * RATE)
    frames = sound[: len(sound) // n * n].reshape(-1, n)
    return np.sqrt((frames**2).mean(axis=1))


def test_onsets_lengths_and_loudness_measured_from_the_sound() -> None:
    notes = [
        Played(start=0.2, length=0.3, pitch=70, level=-12),
        Played(start=0.8, length=0.1, pitch=70, level=-6),
        Played(start=1.4, length=0.4, pitch=70, level=-20),
    ]
    envelope = _envelope(render([("saxes", notes)], 2.0, room=False))
    active = envelope > 0.02 * envelope.max()
    starts = np.flatnonzero(active & ~np.roll(active, 1)) * 0.005
    stops = np.flatnonzero(~active & np.roll(active, 1)) * 0.005
    assert starts == pytest.approx([0.2, 0.8, 1.4], abs=0.02)
    assert (stops - starts) == pytest.approx([0.3, 0.1, 0.4], abs=0.05)
    loud = [envelope[int(n.start / 0.005) : int((n.start + n.length) / 0.005)].max() for n in notes]
    assert loud[1] > loud[0] > loud[2]


def test_flat_is_flat_and_shaped_follows_the_plan() -> None:
    c = chart({"Alto Sax 1": "C5/8 D5/8 E5/8 G5/8> F5/8 E5/8 D5/4! C5/4 D5/4- r/2"})
    plan = plan_line(c, 0).passages[0]
    style = styles()["medium-swing"]
    flat = play(c, c.lines[0], None, clock=steady(120), style=style)
    shaped = play(c, c.lines[0], plan, clock=steady(120), style=style)
    assert len({n.level for n in flat}) == 1
    assert (
        len(
            {
                round(n.length / (60 / 120 * t.duration / c.resolution), 2)
                for n, t in zip(flat, c.lines[0], strict=True)
                if t.duration == c.resolution
            }
        )
        == 1
    )
    accented = next(n for n in plan.notes if "accent" in n.marks)
    assert max(shaped, key=lambda n: n.level).pitch == accented.tone.pitch
    short, long = shaped[6], shaped[8]
    assert short.length < 0.6 * long.length


def test_swing_follows_tempo_within_published_figures() -> None:
    """Corcoran and Frieler 2021: typical 1.3 to 1 over 456 solos; S. Fidyk: eighths even near 300
    beats a minute."""
    assert swing_ratio(300) == 1.0
    assert 1.25 <= swing_ratio(190) <= 1.35
    assert all(1.0 <= swing_ratio(t) <= 1.7 for t in range(60, 340, 10))
    c = chart({"Alto Sax 1": "C5/8 D5/8 E5/8 F5/8 G5/2"})
    swung = play(c, c.lines[0], None, clock=steady(160), style=styles()["medium-swing"])
    first, second = swung[1].start - swung[0].start, swung[2].start - swung[1].start
    assert first / second == pytest.approx(swing_ratio(160), rel=0.01)
    even = play(c, c.lines[0], None, clock=steady(160), style=styles()["latin"])
    assert even[1].start - even[0].start == pytest.approx(even[2].start - even[1].start)


@pytest.fixture(scope="module")
def files(demo_marked: Marked, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("audition")
    score = demo_marked.score
    write_audition(
        score.chart,
        score.together,
        demo_marked.plan,
        folder,
        Wish(passages=("P3",), part="Tenor Sax 1", tempos=(0.6, 1.0)),
    )
    return folder


def test_files_of_a_passage(files: Path) -> None:
    names = {p.name for p in files.iterdir()}
    for take in ("lead_compare", "section", "my_part_with_lead", "section_without_me"):
        for tempo in ("", "_60"):
            assert {f"P3_{take}{tempo}.wav", f"P3_{take}{tempo}.mid"} <= names


def test_midi_reads_back_with_tracks_tempo_and_markers(files: Path) -> None:
    file = mido.MidiFile(files / "P3_section.mid")
    names = [m.name for track in file.tracks for m in track if m.type == "track_name"]
    assert names == ["Alto Sax 1", "Alto Sax 2", "Tenor Sax 1", "Tenor Sax 2", "Baritone Sax"]
    programs = [m.program for track in file.tracks for m in track if m.type == "program_change"]
    assert programs == [
        65,
        65,
        66,
        66,
        67,
    ]  # General MIDI alto, tenor, baritone sax, counted from 0
    tempo = next(m.tempo for track in file.tracks for m in track if m.type == "set_tempo")
    assert mido.tempo2bpm(tempo) == pytest.approx(152, abs=0.01)
    assert any(m.type == "marker" and "P3" in m.text for track in file.tracks for m in track)
    without = mido.MidiFile(files / "P3_section_without_me.mid")
    assert "Tenor Sax 1" not in [
        m.name for track in without.tracks for m in track if m.type == "track_name"
    ]


def test_compare_plays_the_line_twice(files: Path, demo_marked: Marked) -> None:
    passage = next(p for p in demo_marked.score.together.passages if p.id == "P3")
    file = mido.MidiFile(files / "P3_lead_compare.mid")
    on = [m for track in file.tracks for m in track if m.type == "note_on"]
    assert len(on) == 2 * len(passage.attacks)
    half = len(on) // 2
    flat, shaped = ({m.velocity for m in one} for one in (on[:half], on[half:]))
    assert len(flat) < len(shaped)  # flat: only the written hairpin
    assert [m.note for m in on[:half]] == [m.note for m in on[half:]]


def test_slower_is_longer(files: Path) -> None:
    def seconds(path: Path) -> float:
        with wave.open(str(path)) as file:
            return file.getnframes() / file.getframerate()

    assert seconds(files / "P3_section_60.wav") / seconds(
        files / "P3_section.wav"
    ) == pytest.approx(1 / 0.6, rel=0.06)


def test_the_whole_chart_is_heard_flat_and_shaped_with_its_signatures(heard: Path) -> None:
    shaped, flat = (
        mido.MidiFile(heard / "whole_chart.mid"),
        mido.MidiFile(heard / "whole_chart_flat.mid"),
    )
    keys = [m.key for track in shaped.tracks for m in track if m.type == "key_signature"]
    assert keys == ["Bb"]  # the concert key of a band whose altos read one sharp
    meters = [
        (m.numerator, m.denominator)
        for track in shaped.tracks
        for m in track
        if m.type == "time_signature"
    ]
    assert meters[0] == (4, 4)

    def velocities(file: mido.MidiFile) -> set[int]:
        return {m.velocity for m in file.tracks[1] if m.type == "note_on"}

    assert len(velocities(flat)) < len(velocities(shaped))
    assert (heard / "whole_chart_flat.wav").stat().st_size > 1_000_000


def test_changes_of_tempo_meter_and_key_are_played(tmp_path: Path) -> None:
    """Four bars at 120 and four at 60: the second half lasts twice as long, and the file says so
    where it happens."""
    from build import part_xml, score_xml

    from sectionprep.musicxml.document import parse_document
    from sectionprep.musicxml.reading.reader import read_chart
    from sectionprep.passages import find_passages
    from sectionprep.phrasing import plan_passages

    line = "C5/8 D5/8 E5/8 F5/8 G5/4 E5/4 " * 8
    slow = (
        "<direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>60"
        "</per-minute></metronome></direction-type>"
        "</direction><attributes><key><fifths>-1</fifths></key></attributes>"
    )
    fast = (
        "<direction><direction-type><metronome><beat-unit>quarter</beat-unit>"
        "<per-minute>120</per-minute></metronome></direction-type></direction>"
    )
    parts = {
        name: part_xml(line, signs={0: fast, 24: slow}) for name in ("Trombone 1", "Trombone 2")
    }
    c = read_chart(parse_document(Path("x"), score_xml(parts)))
    clock = c.clock
    assert clock.second(16) == pytest.approx(8.0)
    assert clock.second(32) == pytest.approx(24.0)
    assert all(clock.quarter(clock.second(q)) == pytest.approx(q) for q in (0, 3.5, 16, 20, 31))
    together = find_passages(c)
    write_audition(c, together, plan_passages(c, together), tmp_path, Wish())
    file = mido.MidiFile(tmp_path / "whole_chart.mid")
    head, at, tempos, keys = file.tracks[0], 0, [], []
    for message in head:
        at += message.time
        if message.type == "set_tempo":
            tempos.append((at / 480, round(mido.tempo2bpm(message.tempo))))
        elif message.type == "key_signature":
            keys.append((at / 480, message.key))
    assert tempos == [(0, 120), (16, 60)]
    assert keys == [(0, "C"), (16, "F")]
    assert file.length == pytest.approx(24, abs=1)
    on, at = [], 0
    for message in file.tracks[1]:
        at += message.time
        if message.type == "note_on":
            on.append(at)
    tones = c.lines[0]
    assert [
        tick / 480 for tick, tone in zip(on, tones, strict=True) if tone.onset % c.resolution == 0
    ] == [tone.onset / c.resolution for tone in tones if tone.onset % c.resolution == 0]


@pytest.mark.parametrize("kind", ["flac", "ogg", "mp3"])
def test_compressed_sound_is_the_same_sound(demo_marked: Marked, tmp_path: Path, kind: str) -> None:
    score = demo_marked.score
    for sound in ("wav", kind):
        write_audition(
            score.chart,
            score.together,
            demo_marked.plan,
            tmp_path,
            Wish(passages=("P7",), sound=sound),
        )
    plain, _ = soundfile.read(tmp_path / "P7_section.wav")
    packed, rate = soundfile.read(tmp_path / f"P7_section.{kind}")
    assert rate == RATE
    assert abs(len(packed) - len(plain)) < 0.1 * RATE
    assert (tmp_path / f"P7_section.{kind}").stat().st_size < 0.7 * (
        tmp_path / "P7_section.wav"
    ).stat().st_size
    a, b = _envelope(plain, 0.05), _envelope(packed, 0.05)
    assert np.corrcoef(a[: len(b)], b[: len(a)])[0, 1] > 0.98


def test_all_parts_get_their_own_practice_files(demo_marked: Marked, tmp_path: Path) -> None:
    score = demo_marked.score
    write_audition(
        score.chart,
        score.together,
        demo_marked.plan,
        tmp_path,
        Wish(passages=("P3",), part="all", click=True, loops=2),
    )
    names = {p.stem for p in tmp_path.glob("*.wav")}
    passage = next(p for p in score.together.passages if p.id == "P3")
    for part in passage.parts:
        name = score.chart.parts[part].name.replace(" ", "_")
        assert f"P3_section_without_{name}" in names
        assert (f"P3_{name}_with_lead" in names) == (part != passage.lead)


def test_the_whole_chart_is_played_by_its_road_map(demo_marked: Marked, heard: Path) -> None:
    """Repeats, endings, D.S. and coda of the demo: every bar as often as the road map says, markers
    too, all voices of the piano."""
    from sectionprep.music.roadmap import playing_order

    chart = demo_marked.score.chart
    order = playing_order(chart)
    assert len(order) > len(chart.bars)
    file = mido.MidiFile(heard / "whole_chart.mid")
    tempo = chart.clock.tempo_at(0)
    assert file.length == pytest.approx(
        sum(chart.bars[n].length for n in order) / chart.resolution * 60 / tempo, abs=1.5
    )
    names = {track.name: track for track in file.tracks}
    for part in (chart.parts[0], next(p for p in chart.parts if p.name == "Trumpet 1")):
        per_bar = [sum(t.bar == n for t in chart.lines[part.index]) for n in range(len(chart.bars))]
        played = sum(m.type == "note_on" and m.velocity > 0 for m in names[part.name])
        assert played == sum(per_bar[n] for n in order), part.name
    letters = [m.text for m in file.tracks[0] if m.type == "marker" and m.text == "A"]
    a = next(bar.index for bar in chart.bars if bar.rehearsal == "A")
    assert len(letters) == order.count(a)
