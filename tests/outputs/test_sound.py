"""What is heard, measured: on the rendered sound where the ear judges, on the played notes where a
number is exact."""

from __future__ import annotations

import errno
import os
import re
import subprocess
import sys
from ctypes.util import find_library
from dataclasses import replace
from io import BytesIO
from itertools import pairwise
from pathlib import Path

import mido
import numpy as np
import pyloudnorm
import pytest
import soundfile
from build import chart, part_xml, score_xml

from sectionprep.errors import BadArgument, DestinationError
from sectionprep.music.chart import Chart
from sectionprep.music.clock import steady
from sectionprep.musicxml.document import parse_document
from sectionprep.musicxml.reading.reader import read_chart
from sectionprep.outputs.audition import Wish, remarks, write_audition
from sectionprep.outputs.audition.band import Band, Voice
from sectionprep.outputs.audition.dynamics import LEVELS, Loudness
from sectionprep.outputs.audition.midi import Track, channels
from sectionprep.outputs.audition.mp3 import Mp3File
from sectionprep.outputs.audition.performance import Played, SwungTime, play, swing_ratio
from sectionprep.outputs.audition.sampled import Player
from sectionprep.outputs.audition.soundfiles import LOUDNESS, LoudnessMeter, write_sound
from sectionprep.outputs.audition.synth import DRUMS, RATE, render
from sectionprep.passages import find_passages
from sectionprep.phrasing import plan_line, plan_passages
from sectionprep.phrasing.styles import styles
from sectionprep.results import Marked


def _dynamic(name: str) -> str:
    return f"<direction><direction-type><dynamics><{name}/></dynamics></direction-type></direction>"


def _wedge(kind: str) -> str:
    return f'<direction><direction-type><wedge type="{kind}"/></direction-type></direction>'


def _read(parts: dict[str, str]) -> Chart:
    return read_chart(parse_document(Path("x"), score_xml(parts)))


def _rms(sound: np.ndarray, start: float, end: float) -> float:
    """Decibels of a stretch of sound; of silence -120."""
    piece = sound[int(start * RATE) : int(end * RATE)]
    return float(10 * np.log10(max(np.mean(piece**2), 1e-12)))


# -- time


@pytest.mark.parametrize("tempo", [100, 140, 180, 220, 300])
def test_onsets_in_the_sound_have_the_ratio_of_the_swing_table(tempo: int) -> None:
    """Attacks found in the rendered sound, at five tempos, against `swing_ratio` (its sources are
    in performance.py)."""
    c = chart({"Alto Sax 1": "C5/8! D5/8! E5/8! F5/8! G5/8! A5/8! G5/8! F5/8! " * 2})
    notes = play(c, c.lines[0], None, clock=steady(tempo), style=styles()["medium-swing"])
    struck = [
        Played(start=n.start, length=0.06, pitch=n.pitch + 12, level=-10) for n in notes
    ]  # short: their attacks stand alone
    sound = render([("trumpets", struck)], notes[-1].start + 0.3, room=False)
    step = RATE // 500
    envelope = np.abs(sound[: len(sound) // step * step]).reshape(-1, step).max(axis=1)
    loud = envelope > 0.2 * envelope.max()
    onsets = [n / 500 for n in np.flatnonzero(loud & ~np.roll(loud, 1))]
    assert len(onsets) == len(notes)
    gaps = [b - a for a, b in pairwise(onsets)]
    measured = sum(gaps[0::2]) / len(gaps[0::2]) / (sum(gaps[1::2]) / len(gaps[1::2]))
    assert measured == pytest.approx(swing_ratio(tempo), rel=0.04)


def test_a_ghost_is_ten_decibels_under_its_neighbours() -> None:
    """In the sound as in the table of performance.py (which names its source)."""
    c = chart({"Alto Sax 1": "C5/4 C5/4 C5/4 C5/4"})
    tones = [t._replace(marks=frozenset({"ghost"} if n == 2 else ())) for n, t in
             enumerate(c.lines[0])]  # fmt: skip
    style = styles()["medium-swing"]
    notes = play(c, tones, None, clock=steady(60), style=style, flat=False)
    assert [n.level - notes[0].level for n in notes[:3]] == pytest.approx([0, 0, -10])
    sound = render([("saxes", notes)], 4.0, room=False)
    assert _rms(sound, 1.1, 1.4) - _rms(sound, 2.1, 2.4) == pytest.approx(10, abs=2)


def test_shuffle_is_two_to_one_and_sixteenths_and_triplets_agree_with_the_beat() -> None:
    c = chart({"Alto Sax 1": "C5/8 D5/8 E5/16 F5/16 G5/16 A5/16 C5/8t D5/8t E5/8t F5/4"})
    shuffle = play(c, c.lines[0], None, clock=steady(60), style=styles()["shuffle"])
    starts = [n.start for n in shuffle]
    assert starts[1] == pytest.approx(2 / 3)
    assert starts[2:6] == pytest.approx([1, 1 + 1 / 3, 1 + 2 / 3, 1 + 5 / 6])
    assert starts[6:9] == pytest.approx([2, 2 + 1 / 3, 2 + 2 / 3])
    swung = [
        n.start
        for n in play(c, c.lines[0], None, clock=steady(120), style=styles()["medium-swing"])
    ]
    assert swung[4] - swung[2] == pytest.approx(swung[1] - swung[0])  # both off-beats at one place


def test_swing_counts_from_the_bar_line_and_not_in_compound_time() -> None:
    style = styles()["medium-swing"]
    line = "C5/8 D5/8 E5/8 F5/8 G5/8 A5/8 "
    odd = _read({"Alto Sax 1": part_xml(line + "C5/8 D5/8", beats=7, unit=8)})
    six = _read({"Alto Sax 1": part_xml(line * 2, beats=6, unit=8)})
    seven = [n.start for n in play(odd, odd.lines[0], None, clock=steady(120), style=style)]
    assert seven[7] == pytest.approx(7 * 0.25)  # the first beat of the second bar, no off-beat
    even = [n.start for n in play(six, six.lines[0], None, clock=steady(120), style=style)]
    assert np.diff(even) == pytest.approx(0.25)


def test_a_last_eighth_is_short_planned_or_not() -> None:
    c = chart({"Alto Sax 1": "C5/8 D5/8 E5/8 F5/8 r/2 C5/4 D5/4 r/2"})
    style = styles()["medium-swing"]
    last = play(c, c.lines[0], None, clock=steady(120), style=style, flat=False)[3]
    assert last.length == pytest.approx(0.55 * 0.2, rel=0.1)
    plan = plan_line(c, 0).passages[0]
    assert play(c, c.lines[0], plan, clock=steady(120), style=style)[3].length < 0.17


def test_held_notes_stop_where_the_plan_cuts_them_off(demo_marked: Marked) -> None:
    """Each cut-off of the demo's plan, found in the sound of the lead alone: the level has fallen
    by 12 dB within the release of 35 ms and a frame."""
    score = demo_marked.score
    c = score.chart
    band = Band(c, score.together, demo_marked.plan)
    checked = 0
    for passage in score.together.passages:
        planned = demo_marked.plan.of(passage.id)
        assert planned is not None
        voice = band.in_passage(passage.lead, passage, planned, c.clock)
        for note, played in zip(planned.notes, voice.notes, strict=True):
            if note.cutoff is None or played.bend_out:
                continue
            end = SwungTime(c, c.clock, band.style).at(note.cutoff)
            assert played.start + played.length <= end + 1e-6
            if played.start + played.length < end - 0.02:
                continue  # a mark makes it shorter still
            alone = Played(start=0.1, length=played.length, pitch=played.pitch, level=played.level)
            sound = render([(voice.section, [alone])], 0.1 + played.length + 0.3, room=False)
            stop = 0.1 + played.length
            assert _rms(sound, stop + 0.04, stop + 0.06) < _rms(sound, stop - 0.06, stop) - 12
            checked += 1
    assert checked


# -- loudness


def test_written_dynamics_sound_louder_step_by_step() -> None:
    """The same note at each dynamic from pp to fff: decibels of the rendered sound rise, p to ff by
    18 dB or so."""
    names = ("pp", "p", "mp", "mf", "f", "ff", "fff")
    text = "C5/2 r/2 " * len(names)
    signs = {2 * n: _dynamic(name) for n, name in enumerate(names)}
    c = _read({"Trumpet 1": part_xml(text, signs=signs)})
    notes = play(
        c,
        c.lines[0],
        None,
        clock=steady(60),
        style=styles()["straight"],
        loudness=Loudness(c, 0),
    )
    sound = render([("trumpets", notes)], 4 * len(names), room=False)
    levels = [_rms(sound, 4 * n + 0.1, 4 * n + 1.5) for n in range(len(names))]
    assert all(b - a > 2.5 for a, b in pairwise(levels[:-1]))
    assert levels[-1] > levels[-2]
    assert 15 < levels[5] - levels[1] < 24


def test_hairpins_swell_over_notes_and_inside_one() -> None:
    line = "C5/1 C5/4 C5/4 C5/4 C5/4 C5/1"
    signs = {0: _dynamic("p") + _wedge("crescendo"), 5: _wedge("stop") + _dynamic("f")}
    c = _read({"Trumpet 1": part_xml(line, signs=signs)})
    loud = Loudness(c, 0)
    at = [loud.at(tick) for tick in range(0, 9 * c.resolution, c.resolution)]
    assert at[0] == LEVELS["p"]
    assert at[8] == LEVELS["f"]
    assert all(b > a for a, b in pairwise(at))
    notes = play(c, c.lines[0], None, clock=steady(60), style=styles()["straight"], loudness=loud)
    sound = render([("trumpets", notes)], 10, room=False)
    assert _rms(sound, 3.0, 3.5) > _rms(sound, 0.3, 0.8) + 3


def test_sudden_dynamics_and_struck_notes() -> None:
    signs = {0: _dynamic("fp"), 1: _dynamic("sfz")}
    c = _read({"Trumpet 1": part_xml("C5/1 C5/1 C5/1", signs=signs)})
    loud = Loudness(c, 0)
    assert loud.at(0) == LEVELS["f"]
    assert loud.at(2 * c.resolution) == LEVELS["p"]
    assert loud.of(4 * c.resolution, 5 * c.resolution)[0] == LEVELS["p"] + 5
    assert loud.at(8 * c.resolution) == LEVELS["p"]  # a struck note changes nothing after it


def test_files_are_as_loud_as_each_other_and_never_clip(
    demo_marked: Marked, tmp_path: Path
) -> None:
    """Integrated loudness (EBU R 128) of every file of the demo, read back: within 1 LU."""
    score = demo_marked.score
    write_audition(
        score.chart,
        score.together,
        demo_marked.plan,
        tmp_path,
        Wish(part="Alto Sax 2", sound="ogg"),
    )
    found = {}
    for path in tmp_path.glob("*.ogg"):
        sound, _ = soundfile.read(path)
        assert np.abs(sound).max() < 1.0, path.name
        found[path.name] = pyloudnorm.Meter(RATE).integrated_loudness(sound)
    assert len(found) > 60
    spread = max(found.values()) - min(found.values())
    assert spread < 1.0, sorted(found.items(), key=lambda one: one[1])
    assert float(np.median(list(found.values()))) == pytest.approx(LOUDNESS, abs=0.5)


def test_sounds_measured_in_pieces_as_one() -> None:
    rng = np.random.default_rng(1)
    gains = np.repeat([0.02, 0.1, 0.3, 0.05, 0.2], 60 * RATE)
    sound = (gains * rng.normal(0, 0.3, len(gains))).astype(np.float32)
    meter = LoudnessMeter()
    for n in range(0, len(sound), 10 * RATE):
        meter.add(sound[n : n + 10 * RATE])
    whole = pyloudnorm.Meter(RATE).integrated_loudness(sound.astype(float))
    assert meter.loudness() == pytest.approx(whole, abs=0.01)


@pytest.mark.parametrize("seconds", [0.2, 0.4, 1.234, 7.0])
def test_short_sounds_have_the_loudness_of_the_reference(seconds: float) -> None:
    sound = np.random.default_rng(2).normal(0, 0.1, int(seconds * RATE)).astype(np.float32)
    meter = LoudnessMeter()
    meter.add(sound)
    whole = np.pad(sound.astype(float), (0, max(0, int(0.4 * RATE) - len(sound))))
    assert meter.loudness() == pytest.approx(
        pyloudnorm.Meter(RATE).integrated_loudness(whole), abs=0.1
    )


def test_silence_has_no_loudness() -> None:
    meter = LoudnessMeter()
    assert meter.loudness() == -np.inf
    meter.add(np.zeros(RATE, dtype=np.float32))
    assert meter.loudness() == -np.inf


# -- pitch and tone


def _pitch(sound: np.ndarray, low: float, high: float) -> float:
    """MIDI number of the strongest common divisor of the spectrum between two frequencies."""
    spectrum = np.abs(np.fft.rfft(sound * np.hanning(len(sound)), 8 * len(sound)))
    step = RATE / (8 * len(sound))
    product = np.ones(len(spectrum) // 3)
    for n in (1, 2, 3):
        product *= spectrum[::n][: len(product)]
    best = np.argmax(product[int(low / step) : int(high / step)]) + int(low / step)
    return float(69 + 12 * np.log2(best * step / 440))


@pytest.mark.parametrize("section", ["saxes", "trumpets", "trombones", "rhythm"])
def test_pitch_and_bends_in_the_spectrum(section: str) -> None:
    plain = Played(start=0.0, length=0.8, pitch=62, level=-10)
    scoop = Played(start=1.0, length=0.8, pitch=62, level=-10, bend_in=-2)
    fall = Played(start=2.0, length=0.8, pitch=62, level=-10, bend_out=-7)
    doit = Played(start=3.0, length=0.8, pitch=62, level=-10, bend_out=5)
    sound = render([(section, [plain, scoop, fall, doit])], 4.0, room=False)

    def heard(start: float, end: float) -> float:
        return _pitch(sound[int(start * RATE) : int(end * RATE)], 150, 500)

    assert heard(0.1, 0.4) == pytest.approx(62, abs=0.15)
    assert heard(1.005, 1.06) < 61.7
    assert heard(1.3, 1.44) == pytest.approx(62, abs=0.15)
    assert heard(2.05, 2.3) == pytest.approx(62, abs=0.15)
    assert heard(2.68, 2.76) < 58.5
    assert heard(3.68, 3.76) > 64


def test_louder_is_brighter_and_sections_are_not_one_player() -> None:
    def centre(level: float) -> float:
        sound = render([("trumpets", [Played(start=0, length=1, pitch=62, level=level)])], 1)
        power = np.abs(np.fft.rfft(sound)) ** 2
        return float((power * np.fft.rfftfreq(len(sound), 1 / RATE)).sum() / power.sum())

    assert centre(-4) > 1.15 * centre(-24)
    note = [Played(start=0.1, length=0.4, pitch=62, level=-10)]
    two = render([("saxes", note), ("saxes", note)], 1.0, room=False)
    one = render([("saxes", note)], 1.0, room=False)
    assert not np.allclose(two, 2 * one, atol=1e-3)
    assert np.array_equal(two, render([("saxes", note), ("saxes", note)], 1.0, room=False))


# -- instruments


def test_drums_sound_as_drums_and_the_bass_trombone_as_a_trombone(demo_marked: Marked) -> None:
    score = demo_marked.score
    c = score.chart
    voices = {v.name: v for v in Band(c, score.together, demo_marked.plan).whole(c.clock)}
    assert voices["Bass Trombone"].program == 58  # General MIDI 1: trombone
    assert voices["Drums"].section == DRUMS
    assert len(voices["Drums"].notes) > 4 * 80  # time in every bar of slashes
    assert {51, 44} <= {n.pitch for n in voices["Drums"].notes}  # General MIDI: ride, pedal hi-hat
    assert voices["Piano"].notes
    assert voices["Guitar"].notes
    muted = Band(c, score.together, demo_marked.plan, muted=True).whole(c.clock)
    assert not {"Drums", "Piano", "Guitar"} & {v.name for v in muted}
    assert "Bass" in {v.name for v in muted}  # it is written


def test_comping_plays_the_symbols_in_sounding_pitch(demo_marked: Marked) -> None:
    score = demo_marked.score
    c = score.chart
    voices = {v.name: v for v in Band(c, score.together, demo_marked.plan).whole(c.clock)}
    first = min(n.start for n in voices["Piano"].notes)
    chord = {n.pitch % 12 for n in voices["Piano"].notes if n.start == first}
    assert chord == {10, 2, 5, 7}  # Bb6


def test_pitched_drum_notes_are_drums() -> None:
    c = _read({"Drums": part_xml("F4/4 C5/4 F4/4 C5/4")})
    voice = Band(c, find_passages(c), plan_passages(c, find_passages(c))).whole(c.clock)[0]
    assert voice.section == DRUMS
    assert [n.pitch for n in voice.notes] == [36, 38, 36, 38]  # bass drum and snare of General MIDI


def test_channels_drums_on_ten_and_none_shared_by_two_programs() -> None:
    tracks = [Track(name=str(n), program=n % 9 + 1, notes=[]) for n in range(20)]
    tracks.append(Track(name="drums", program=1, notes=[], drums=True))
    given = channels(tracks)
    assert given[-1] == 9
    assert 9 not in given[:-1]
    by_channel: dict[int, set[int]] = {}
    for track, channel in zip(tracks, given, strict=True):
        by_channel.setdefault(channel, set()).add(track.program)
    assert all(len(programs) == 1 for programs in by_channel.values())


def test_midi_has_dynamics_bends_swells_and_letters(demo_marked: Marked, heard: Path) -> None:
    file = mido.MidiFile(heard / "whole_chart.mid")
    trombone = next(t for t in file.tracks if t.name == "Trombone 1")
    velocities = {m.velocity for m in trombone if m.type == "note_on"}
    assert max(velocities) > 2 * min(velocities)  # p under the soli, ff in the shout
    letters = {m.text for m in file.tracks[0] if m.type == "marker"}
    bars = demo_marked.score.chart.bars
    assert {bar.rehearsal for bar in bars if bar.rehearsal} <= letters
    drums = next(t for t in file.tracks if t.name == "Drums")
    assert {m.channel for m in drums if m.type == "note_on"} == {9}
    messages = [m for track in file.tracks for m in track]
    assert any(m.type == "pitchwheel" and m.pitch for m in messages)
    assert any(m.type == "control_change" and m.control == 11 and m.value != 90 for m in messages)


# -- said, bounded, ended


def test_what_the_file_does_not_say_is_said(demo_marked: Marked) -> None:
    silent = chart({"Alto Sax 1": "C5/4 D5/4 E5/4 F5/4"})
    assert any("no tempo" in line for line in remarks(silent, Wish()))
    said = remarks(demo_marked.score.chart, Wish())
    assert not any("no tempo" in line for line in said)
    assert any("Generated" in line and "Drums" in line for line in said)
    muted = remarks(demo_marked.score.chart, Wish(rhythm=False))
    assert not any("Generated" in line for line in muted)


@pytest.mark.skipif(sys.platform == "darwin", reason="names there are always UTF-8")
@pytest.mark.parametrize("sound", ["wav", "mp3"])
def test_a_folder_whose_name_is_no_text(sound: str, tmp_path: Path) -> None:
    """`audition` ended in a traceback: the sound library writes names as UTF-8."""
    from sectionprep.outputs.audition.soundfiles import write_sound

    folder = tmp_path / os.fsdecode(b"\xff\xfe")
    folder.mkdir()
    write_sound([np.ones(RATE, dtype=np.float32)], folder / f"x.{sound}")
    assert (folder / f"x.{sound}").stat().st_size > 1000


def test_no_silence_at_the_end(demo_marked: Marked, tmp_path: Path) -> None:
    score = demo_marked.score
    write_audition(
        score.chart, score.together, demo_marked.plan, tmp_path, Wish(passages=("P3",), loops=2)
    )
    for path in tmp_path.glob("*.wav"):
        sound, _ = soundfile.read(path)
        sounding = np.flatnonzero(np.abs(sound) > 0.01)[-1]
        assert (len(sound) - sounding) / RATE < 0.4, path.name


def test_a_maze_of_repeats_is_bounded_and_said() -> None:
    bar = "C5/4 D5/4 E5/4 F5/4 "
    xml = part_xml(bar * 40)
    right = '<barline location="right"><repeat direction="backward" times="99"/></barline>'
    left = '<barline location="left"><repeat direction="forward"/></barline>'
    xml = re.sub(r"(<measure [^>]*>)", rf"\1{left}", xml)
    maze = xml.replace("</measure>", f"{right}</measure>")
    from sectionprep.outputs.audition.road import LONGEST, laid_out, length_of, pieces_of

    for tempo, bars in ((400.0, 1000), (120.0, LONGEST * 30)):  # 30 bars a minute
        c = replace(_read({"Alto Sax 1": maze}), tempos=((0, tempo),))
        assert any("repeats" in line for line in remarks(c, Wish()))
        pieces = pieces_of(c, c.clock)
        assert sum(p.last - p.first + 1 for p in pieces) == bars
        assert length_of(pieces) <= LONGEST * 60 + 1e-6
        notes = play(c, c.lines[0], None, clock=c.clock, style=styles()["straight"])
        assert sum(1 for _ in laid_out(notes, pieces)) == 4 * bars


def test_hundreds_of_files_are_asked_about(demo_marked: Marked, tmp_path: Path) -> None:
    """One --tempos wrote 244 files without a word. What is reckoned is what comes out."""
    from sectionprep.outputs.audition.writer import _reckoned

    score, plan = demo_marked.score, demo_marked.plan
    wish = Wish(passages=("P3",), part="Alto Sax 1", tempos=(1.0, 0.9), loops=2)
    files, seconds = _reckoned(Band(score.chart, score.together, plan), wish)
    made = write_audition(score.chart, score.together, plan, tmp_path / "few", wish)
    assert files == len(made)
    sounds = [soundfile.info(path).duration for path in made if path.suffix == ".wav"]
    assert seconds == pytest.approx(sum(sounds), rel=0.15)

    every = Wish(part="all", tempos=(0.6, 0.75, 0.9, 1.0))
    with pytest.raises(BadArgument, match=r"makes 1,\d{3} files .*hours"):
        write_audition(score.chart, score.together, plan, tmp_path / "many", every)
    assert not (tmp_path / "many").exists()


_LONG = """
import resource, sys
from pathlib import Path
from sectionprep.outputs.audition.performance import Played
from sectionprep.outputs.audition.soundfiles import write_sound
from sectionprep.outputs.audition.synth import blocks
base = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
notes = ([Played(start=0.0, length=45000.0, pitch=60, level=-12)] if sys.argv[2] == "note" else
         (Played(start=n * 0.5, length=0.4, pitch=60, level=-12) for n in range(8000)))
write_sound(blocks([("saxes", notes)], float(sys.argv[3])), Path(sys.argv[1]))
print((resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - base) / 1000)
"""


@pytest.mark.parametrize(("what", "seconds"), [("note", 600.0), ("many", 4000.0)])
def test_memory_does_not_grow_with_the_music(tmp_path: Path, what: str, seconds: float) -> None:
    """A note of 90,000 quarters, and a quarter of the sound of 20,000 bars: megabytes beyond the
    libraries."""
    done = subprocess.run(
        [sys.executable, "-c", _LONG, str(tmp_path / "x.ogg"), what, str(seconds)],
        capture_output=True,
        text=True,
        check=True,
    )
    assert float(done.stdout) < 130


# -- sampled instruments

FONT = Path("/usr/share/sounds/sf2/TimGM6mb.sf2")
needs_font = pytest.mark.skipif(
    not FONT.is_file() or find_library("fluidsynth") is None,
    reason="no FluidSynth or no sound font on this machine: sampled instruments were not heard",
)


@needs_font
def test_sampled_instruments_play_the_right_pitch_bends_and_loudness(tmp_path: Path) -> None:
    """In a process apart, as always: FluidSynth does not survive a fork of who has used it."""
    notes = tuple(
        Played(start=float(n), length=0.8, pitch=62, level=level, bend_out=bend)
        for n, (level, bend) in enumerate([(-10, 0), (-10, -7), (-10, 5), (-24, 0)])
    )
    scoop = Played(start=4.0, length=0.8, pitch=62, level=-10, bend_in=-2)
    voice = Voice("trombones", "Trombone 1", 58, (*notes, scoop))
    with Player(FONT) as player:
        player.write([voice], 5.0, [], tmp_path / "sampled.wav")
        assert not player.lost
    sound, _ = soundfile.read(tmp_path / "sampled.wav")
    assert len(sound) == 5 * RATE

    def heard(start: float, end: float) -> float:
        return _pitch(sound[int(start * RATE) : int(end * RATE)], 150, 500)

    assert heard(0.15, 0.6) == pytest.approx(62, abs=0.3)
    assert heard(1.1, 1.35) == pytest.approx(62, abs=0.3)
    assert heard(1.7, 1.8) < 59
    assert heard(2.7, 2.8) > 64
    assert _rms(sound, 0.2, 0.7) > _rms(sound, 3.2, 3.7) + 8
    assert heard(4.02, 4.09) < 61 < 61.7 < heard(4.3, 4.7)  # a scoop comes from below


@needs_font
def test_a_font_plays_an_audition_and_a_broken_one_stops_nothing(
    demo_marked: Marked, tmp_path: Path
) -> None:
    score = demo_marked.score
    broken = tmp_path / "broken.sf2"
    broken.write_bytes(FONT.read_bytes()[:5000])
    levels = {}
    for name, font in (("own", None), ("sampled", FONT), ("broken", broken)):
        said: list[str] = []
        out = tmp_path / name
        wish = Wish(passages=("P6",), font=font)
        write_audition(score.chart, score.together, demo_marked.plan, out, wish, said.append)
        assert bool(said) == (name == "broken")
        sound, _ = soundfile.read(out / "P6_section.wav")
        levels[name] = (sound, pyloudnorm.Meter(RATE).integrated_loudness(sound))
    assert np.array_equal(levels["own"][0], levels["broken"][0])
    assert not np.array_equal(levels["own"][0], levels["sampled"][0])
    assert levels["own"][1] == pytest.approx(levels["sampled"][1], abs=1.0)


# -- compressed files


@pytest.mark.parametrize("samples", [1, 100, RATE, 61 * RATE + 13])
def test_an_mp3_begins_and_ends_with_the_sound(samples: int) -> None:
    """Read back by libsndfile (mpg123): not a sample is added at either end, so that clicks and
    loops agree with it; and what is off by a sample would not correlate."""
    rng = np.random.default_rng(3)
    noise = rng.normal(0, 0.3, samples)
    sound = np.convolve(noise, np.ones(12) / 12, "same")[:samples].astype(np.float32)
    file = BytesIO()
    with Mp3File(file, 40) as out:
        for first in range(0, samples, 7000):
            out.write(sound[first : first + 7000])
    assert len(file.getvalue()) <= 40_000 / 8 * (samples / RATE) + 1000
    file.seek(0)
    back, rate = soundfile.read(file)
    assert (len(back), rate) == (samples, RATE)
    if samples >= RATE:
        middle = sound[5000:15000]
        fits = [float(np.dot(middle, back[5000 + k : 15000 + k])) for k in range(-30, 31)]
        assert int(np.argmax(fits)) - 30 == 0
        assert np.corrcoef(middle, back[5000:15000])[0, 1] > 0.9


def test_a_short_note_sounds_the_same_kept_or_cut_by_a_block() -> None:
    """A note that two blocks share, and its like in the middle of one."""
    note = Played(start=1.0, length=0.5, pitch=62, level=-10, bend_out=-3, swell=4)
    later = replace(note, start=9.8)
    sound = render([("saxes", [note, later])], 12.0, room=False)
    one, two = (sound[int(s * RATE) : int(s * RATE) + RATE // 2] for s in (1.0, 9.8))
    np.testing.assert_allclose(one, two, atol=1e-6)
    assert np.abs(one).max() > 0.01


def test_no_room_for_what_is_kept_while_it_is_made_names_that_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full folder for temporary files was said to be the folder of results, or the screen."""

    class Full(BytesIO):
        def write(self, _: object) -> int:
            raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr("tempfile.TemporaryFile", Full)
    with pytest.raises(DestinationError, match="name another folder in TMPDIR"):
        write_sound([np.zeros(100, dtype=np.float32)], tmp_path / "x.wav")
