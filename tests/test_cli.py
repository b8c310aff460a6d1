"""The commands as a stranger uses them: results, exit codes, one clear line for each failure."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from commands import begin, run


@pytest.mark.parametrize(
    "command", ["", "prepare", "passages", "plan", "mark", "check", "sheets", "checklist"]
)
def test_help_loads_nothing_heavy(command: str) -> None:
    code = (
        "import sys; sys.argv=['sectionprep', *%r, '--help']\nfrom sectionprep.cli "
        "import main\ntry:\n main()\n"
        "except SystemExit: pass\n"
        "print([m for m in ('music21','verovio','reportlab','openpyxl','numpy','lxml') if m "
        "in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code % ([command] if command else [])],
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stderr.strip() == "[]"
    assert "Usage" in done.stdout


def test_prepare_writes_everything_and_says_where(demo_path: Path, tmp_path: Path) -> None:
    before = demo_path.read_bytes()
    done = begin("prepare", demo_path, "-o", tmp_path / "out")
    assert done.returncode == 0, done.stderr
    assert "Look at these first" in done.stdout
    for name in (
        "late_tram_home_marked.musicxml",
        "late_tram_home_rehearsal.xlsx",
        "late_tram_home_agreement.txt",
    ):
        assert (tmp_path / "out" / name).stat().st_size > 1000
        assert str(tmp_path / "out" / name) in done.stdout
    assert len(list((tmp_path / "out" / "parts").glob("*.pdf"))) == 17
    assert demo_path.read_bytes() == before
    hidden = [p.name for p in (tmp_path / "out").iterdir() if p.name.startswith(".")]
    assert hidden == [".sectionprep-folder.json"]


def test_json_results_have_the_agreed_keys(demo_path: Path) -> None:
    found = json.loads(run("passages", demo_path, "--json").stdout)
    assert set(found) >= {"chart", "parts", "passages", "bars"}
    assert set(found["passages"][0]) >= {
        "id",
        "texture",
        "start",
        "end",
        "parts",
        "lead",
        "confidence",
    }
    assert set(found["passages"][0]["start"]) == {"bar", "index", "beat"}
    assert {p["texture"] for p in found["passages"]} <= {"unison", "octaves", "soli"}
    assert len(found["bars"]) == 95
    planned = json.loads(
        run("plan", demo_path, "--part", "Alto Sax 1", "--bars", "9-12", "--json").stdout
    )
    assert len(planned["passages"]) == 1
    assert {n["bar"] for n in planned["passages"][0]["notes"]} == {"9", "10", "11", "12"}
    assert set(planned["passages"][0]["notes"][0]) >= {
        "bar",
        "index",
        "beat",
        "pitch",
        "weight",
        "marks",
        "why",
    }
    checked = json.loads(run("check", demo_path, "--json").stdout)
    assert set(checked["findings"][0]) >= {
        "check",
        "severity",
        "bar",
        "index",
        "beat",
        "part",
        "lead",
        "message",
        "fix",
    }


def test_mark_and_undo_give_the_bytes_back(saxes_path: Path, tmp_path: Path) -> None:
    marked = tmp_path / "marked.musicxml"
    assert run("mark", saxes_path, "-o", marked).returncode == 0
    assert run("mark", "--undo", marked, "-o", tmp_path / "back.musicxml").returncode == 0
    assert (tmp_path / "back.musicxml").read_bytes() == saxes_path.read_bytes()


def test_the_ending_of_the_output_decides_how_it_is_written(
    saxes_path: Path, tmp_path: Path
) -> None:
    """A plain score asked for as .mxl is an archive that the reader opens again, and a compressed
    one as .musicxml is plain."""
    import zipfile

    for name in ("marked.mxl", "plain.musicxml"):
        assert run("mark", saxes_path, "-o", tmp_path / name).returncode == 0
    with zipfile.ZipFile(tmp_path / "marked.mxl") as archive:
        assert archive.namelist() == ["mimetype", "META-INF/container.xml", "score.musicxml"]
        assert archive.read("score.musicxml") == (tmp_path / "plain.musicxml").read_bytes()
    assert (
        run("mark", "--undo", tmp_path / "marked.mxl", "-o", tmp_path / "back.musicxml").returncode
        == 0
    )
    assert (tmp_path / "back.musicxml").read_bytes() == saxes_path.read_bytes()


def test_compressed_scores_keep_their_other_members(saxes_path: Path, tmp_path: Path) -> None:
    import zipfile

    source = tmp_path / "chart.mxl"
    with zipfile.ZipFile(source, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(
            "META-INF/container.xml",
            '<container><rootfiles><rootfile full-path="inner/score.xml"/></rootfiles></container>',
        )
        archive.writestr("inner/score.xml", saxes_path.read_bytes())
        archive.writestr("notes.txt", "keep me")
    assert run("mark", source, "-o", tmp_path / "out.mxl").returncode == 0
    with zipfile.ZipFile(tmp_path / "out.mxl") as archive:
        assert archive.read("notes.txt") == b"keep me"
        assert b"strong-accent" in archive.read("inner/score.xml")
    assert run("mark", "--undo", tmp_path / "out.mxl", "-o", tmp_path / "back.mxl").returncode == 0
    with zipfile.ZipFile(tmp_path / "back.mxl") as archive:
        assert archive.read("inner/score.xml") == saxes_path.read_bytes()


def _failure(done: subprocess.CompletedProcess[str], code: int) -> str:
    assert done.returncode == code, (done.returncode, done.stderr)
    assert done.stdout == ""
    lines = [line for line in done.stderr.splitlines() if line.strip()]
    assert len(lines) == 1, done.stderr
    assert "Traceback" not in done.stderr
    return lines[0]


def test_results_may_go_where_one_stands(
    saxes_path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A dot means this folder; it has no longest name and was taken for an invalid value."""
    shutil.copy(saxes_path, tmp_path / "a.musicxml")
    (tmp_path / "inside").mkdir()
    monkeypatch.chdir(tmp_path / "inside")
    for here in (".", "./", "..", "../inside/.."):
        done = run("sheets", "../a.musicxml", "-o", here)
        assert done.returncode == 0, done.stderr
        place = tmp_path if ".." in here else tmp_path / "inside"
        assert next(place.glob("01_*.pdf")).is_file()
    assert "no ordinary file" in _failure(run("plan", "../a.musicxml", "-o", "."), 5)


def test_failures_are_one_line_with_their_exit_code(saxes_path: Path, tmp_path: Path) -> None:
    _failure(run("check", tmp_path / "no.musicxml"), 3)
    (tmp_path / "a.musicxml").write_text("<html/>")
    _failure(run("check", tmp_path / "a.musicxml"), 4)
    assert "Choose one of" in _failure(
        run("mark", saxes_path, "--section", "loud", "-o", tmp_path / "m.musicxml"), 2
    )
    assert "cannot be 'polka'" in _failure(run("plan", saxes_path, "--style", "polka"), 2)
    assert "Did you mean ballad?" in _failure(run("plan", saxes_path, "--style", "balad"), 2)
    assert "Parts:" in _failure(run("plan", saxes_path, "--part", "Kazoo"), 2)
    assert "no bar" in _failure(run("plan", saxes_path, "--part", "Alto Sax 1", "--bars", "500"), 2)
    for bars, says in (("500\u2013502", "no bar 500."), ("-3", "no first bar")):
        words = ("plan", saxes_path, "--part", "Alto Sax 1", f"--bars={bars}")
        assert says in _failure(run(*words), 2)
    _failure(run("nonsense"), 2)
    (tmp_path / "file").write_text("x")
    _failure(run("checklist", saxes_path, "-o", tmp_path / "file" / "x.xlsx"), 5)
    _failure(run("mark", saxes_path, "-o", saxes_path), 5)
    assert "names no file" in _failure(run("mark", saxes_path, "-o", "/"), 5)
    assert "names no file" in _failure(run("check", saxes_path, "--fix", "/"), 5)
    assert "no ordinary file" in _failure(run("plan", saxes_path, "-o", "/"), 5)
    for command in (
        "prepare",
        "plan",
        "mark",
        "sheets",
        "checklist",
        "audition",
    ):  # an unset variable of a shell, say
        assert "names no place" in _failure(run(command, saxes_path, "-o", ""), 2)
    assert "names no place" in _failure(run("book", saxes_path.parent, "-o", ""), 2)
    assert "names no place" in _failure(run("check", saxes_path, "--fix", ""), 2)
    assert run("check", saxes_path, "--strict").returncode == 8
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.musicxml", "file"]


@pytest.mark.skipif(
    os.geteuid() != 0 or not shutil.which("mount"), reason="needs to mount a small file system"
)
def test_a_full_disk_leaves_nothing_half_written(saxes_path: Path, tmp_path: Path) -> None:
    small = tmp_path / "small"
    small.mkdir()
    if subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=256k", "tmpfs", str(small)],
        check=False,
        capture_output=True,
    ).returncode:
        pytest.skip("no small file system can be mounted here")
    try:
        assert "room" in _failure(run("prepare", saxes_path, "-o", small / "out"), 5)
        assert not [p for p in (small / "out").rglob("*") if p.is_file()]
    finally:
        subprocess.run(["umount", str(small)], check=True)


def test_escape_sequences_in_names_do_not_reach_the_terminal(
    tmp_path: Path, saxes_path: Path
) -> None:
    data = saxes_path.read_text().replace("Late Tram Home", "[red]x[/red] \u202e\u009b31m y")
    (tmp_path / "a.musicxml").write_text(data)
    done = run("passages", tmp_path / "a.musicxml")
    assert done.returncode == 0
    assert "\u009b" not in done.stdout
    assert "\x1b" not in done.stdout
    assert "[red]x[/red]" in done.stdout


@pytest.mark.parametrize(
    "option", ["--style", "--printed", "--section", "--level", "--paper", "--score", "--study"]
)
def test_an_unknown_choice_is_refused_before_anything_is_written(
    saxes_path: Path, tmp_path: Path, option: str
) -> None:
    done = run("prepare", saxes_path, "-o", tmp_path / "out", option, "kazoo")
    assert done.returncode == 2
    assert "kazoo" in done.stderr
    assert "Choose one of" in done.stderr
    assert not (tmp_path / "out").exists()


def test_the_same_chart_gives_the_same_words_in_every_run(tmp_path: Path) -> None:
    """Python orders sets of words anew in each process: nothing that is written may hang on it."""
    import openpyxl
    from charts import plant_chart

    chart = tmp_path / "planted.musicxml"
    chart.write_bytes(plant_chart(300)[0])
    books = []
    for seed in ("1", "77"):
        out = tmp_path / f"{seed}.xlsx"
        done = begin("checklist", chart, "-o", out, env={**os.environ, "PYTHONHASHSEED": seed})
        assert done.returncode == 0, done.stderr
        books.append(
            {
                sheet.title: [[cell.value for cell in row] for row in sheet]
                for sheet in openpyxl.load_workbook(out)
            }
        )
    assert books[0] == books[1]


def test_a_failure_leaves_no_empty_folder(saxes_path: Path, tmp_path: Path) -> None:
    done = run("audition", saxes_path, "-o", tmp_path / "out", "--passage", "P99")
    assert done.returncode != 0
    assert "P99" in done.stderr
    assert not (tmp_path / "out").exists()


def test_a_plan_edited_by_hand_is_not_written_over(saxes_path: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert run("prepare", saxes_path, "-o", out).returncode == 0
    plan = out / "late_tram_home_plan.toml"
    written = plan.read_text()
    assert run("prepare", saxes_path, "-o", out).returncode == 0
    assert plan.read_text() == written
    assert not (out / "late_tram_home_plan_new.toml").exists()
    edited = written.replace("| accent |", "| tenuto |", 1)
    plan.write_text(edited)
    done = run("prepare", saxes_path, "-o", out)
    assert plan.read_text() == edited
    assert (out / "late_tram_home_plan_new.toml").read_text() == written
    assert "--plan" in done.stdout
    done = run("prepare", saxes_path, "-o", out, "--plan", plan)
    assert "tenuto" in plan.read_text()
    assert "was edited" not in done.stdout


def test_what_force_replaces_is_said(saxes_path: Path, tmp_path: Path) -> None:
    """By every command that has it for a file: nothing of a person's goes in silence."""
    for words, name in (
        (["mark"], "m.musicxml"),
        (["plan"], "p.toml"),
        (["check", "--fix"], "f.musicxml"),
    ):
        place = tmp_path / name
        place.write_text("mine")
        line = [words[0], saxes_path, *(["--fix", place] if "--fix" in words else ["-o", place])]
        assert run(*line).returncode == 5
        assert place.read_text() == "mine"
        done = run(*line, "--force")
        assert (done.returncode, place.read_text() == "mine") == (0, False), done.stderr
        assert f"{place} " in done.stderr
        assert "replaced, as --force asks" in done.stderr


def test_lines_that_fit_nowhere_are_named_by_every_command(
    saxes_path: Path, tmp_path: Path
) -> None:
    plan = tmp_path / "plan.toml"
    plan.write_text('[[passage]]\nlead = "Kazoo"\nlines = ["17 1 | C5 | accent"]\n')
    for command, out in (
        ("mark", "m.musicxml"),
        ("checklist", "c.xlsx"),
        ("audition", "a"),
        ("plan", "p.toml"),
    ):
        done = run(command, saxes_path, "--plan", plan, "-o", tmp_path / out)
        assert done.returncode == 0, done.stderr
        assert "there is no part 'Kazoo'" in done.stderr, command


def test_exit_codes_of_files_that_cannot_be_used(saxes_path: Path, tmp_path: Path) -> None:
    """README: 7 for a plan, roster or decision file that cannot be used."""
    (tmp_path / "style.toml").write_text('[house]\nstyle = "polka"\n')
    (tmp_path / "copies.toml").write_text('[[seat]]\npart = "Alto Sax 1"\ncopies = -2\n')
    for option, name in (
        ("--plan", "style.toml"),
        ("--plan", "none.toml"),
        ("--roster", "copies.toml"),
        ("--decisions", "none.xlsx"),
    ):
        done = run("prepare", saxes_path, "-o", tmp_path / "out", option, tmp_path / name)
        assert done.returncode == 7, (option, name, done.stderr)
    assert not (tmp_path / "out").exists()


def test_a_marked_folder_is_undone_as_a_folder(tmp_path: Path) -> None:
    from build import part_xml, score_xml

    folder = tmp_path / "chart"
    folder.mkdir()
    line = "r/8 D4/8 F4/8 A4/8 C5/4 A4/8 F4/8 " * 4
    for name in ("Alto Sax 1", "Alto Sax 2"):
        (folder / f"{name}.musicxml").write_bytes(score_xml({name: part_xml(line)}))
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert run("mark", folder, "-o", tmp_path / "marked").returncode == 0
    done = run("mark", "--undo", tmp_path / "marked", "-o", tmp_path / "back")
    assert done.returncode == 0, done.stderr
    assert {path.name: path.read_bytes() for path in (tmp_path / "back").iterdir()} == before


def test_words_are_taken_in_any_case_and_a_tempo_word_is_a_style(saxes_path: Path) -> None:
    done = run("plan", saxes_path, "--style", "Bossa", "--json")
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["style"] == "latin"


def test_plan_takes_the_habits_of_the_house_and_a_tempo(demo_path: Path, tmp_path: Path) -> None:
    """Both were once taken and forgotten."""
    house = tmp_path / "house.toml"
    house.write_text('[house]\nhabits = ["off-beat tops: plain"]\n')
    plain = run("plan", demo_path, "--json")
    assert run("plan", demo_path, "--house", house, "--json").stdout != plain.stdout
    silent = tmp_path / "silent.musicxml"
    text = demo_path.read_text().replace(' tempo="152"', "")
    text = re.sub(r"<metronome.*?</metronome>", "<words>x</words>", text, flags=re.DOTALL)
    silent.write_text(text.replace("Medium swing", ""))
    styles = {
        json.loads(run("plan", silent, "--bpm", bpm, "--json").stdout)["style"]
        for bpm in ("70", "260")
    }
    assert len(styles) == 2


def test_a_style_that_is_added_stands_in_the_help_by_itself() -> None:
    from sectionprep.phrasing.styles import styles

    said = " ".join(run("plan", "--help").stdout.split())
    assert all(name in said for name in styles())


def test_check_lists_what_it_looks_for_without_a_chart() -> None:
    from sectionprep.checks import all_checks

    done = run("check", "--list")
    assert done.returncode == 0, done.stderr
    assert [line.split()[0] for line in done.stdout.splitlines()] == list(all_checks())
    for asked in (("--list", "--json"), ("--json", "--list")):
        told = json.loads(run("check", *asked).stdout)
        assert {one["check"]: one["says"] for one in told["checks"]} == all_checks()
        assert "sectionprep" in told


def test_every_result_says_which_version_made_it(saxes_path: Path, tmp_path: Path) -> None:
    from sectionprep import __version__

    for command in ("passages", "plan", "check"):
        assert json.loads(run(command, saxes_path, "--json").stdout)["sectionprep"] == __version__
    run("mark", saxes_path, "-o", tmp_path / "m.musicxml")
    assert json.loads((tmp_path / "m.changes.json").read_text())["sectionprep"] == __version__
    run("plan", saxes_path, "-o", tmp_path / "p.toml")
    assert f"sectionprep {__version__}:" in (tmp_path / "p.toml").read_text()


def test_the_script_of_the_readme_does_the_main_job(tmp_path: Path) -> None:
    root = Path(__file__).resolve().parent.parent
    (script,) = re.findall(r"```python\n(.*?)```", (root / "README.md").read_text(), re.DOTALL)
    done = subprocess.run(
        [sys.executable, "-c", script.replace('"prepared"', repr(str(tmp_path / "prepared")))],
        capture_output=True,
        text=True,
        cwd=root,
    )
    assert done.returncode == 0, done.stderr
    assert "P1 unison" in done.stdout or "P1 octaves" in done.stdout
    assert list((tmp_path / "prepared" / "parts").glob("*.pdf"))


def test_bars_may_run_from_one_on(demo_path: Path) -> None:
    done = run("plan", demo_path, "--part", "Alto 1", "--bars", "85-", "--json")
    assert done.returncode == 0, done.stderr
    bars = [int(n["bar"]) for p in json.loads(done.stdout)["passages"] for n in p["notes"]]
    assert (min(bars), max(bars)) == (85, 94)


@pytest.mark.parametrize("option", ["--plan", "--house", "--decisions"])
def test_what_a_line_by_itself_does_not_go_by_is_not_taken_in_silence(
    option: str, saxes_path: Path, tmp_path: Path
) -> None:
    """`plan --part` passed over decisions, and over files that were not there."""
    done = run("plan", saxes_path, "--part", "Alto Sax 1", option, tmp_path / "none.toml")
    assert f"without {option}" in _failure(done, 2)
    done = run("plan", "--learn", tmp_path, "--part", "Alto Sax 1")
    assert "without --part" in _failure(done, 2)
