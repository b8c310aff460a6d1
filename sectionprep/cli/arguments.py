"""What can be said to the commands: arguments and options that several of them share."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated, Any

import typer

from sectionprep.cli.choices import one_of, paper_words, same, style_words
from sectionprep.outputs.names import MOST_BYTES


def _a_place(path: Path) -> Path:
    """The current folder has no name to make file names from: say it in full."""
    return path if path.name else path.resolve()


def _named(text: str) -> Path:
    if not text.strip():
        raise typer.BadParameter(
            "it names no place. Name a file or folder; a dot means this folder."
        )
    longest = max(Path(text).parts, key=lambda name: len(os.fsencode(name)), default="")  # of "."
    if len(os.fsencode(longest)) > MOST_BYTES:
        raise typer.BadParameter(
            f"the name {longest[:20]}... is too long. Take at most {MOST_BYTES} letters "
            "(fewer where they are not plain)."
        )
    return _straight(_a_place(Path(text)))


def _straight(path: Path) -> Path:
    """A ".." behind a folder that is not there names nothing until that folder is made, and then
    perhaps a file of somebody's: it is worked out before anybody looks whose the place is."""
    if ".." in path.parts and not os.path.exists(path.parent):
        return Path(os.path.realpath(path))
    return path


def place_option(*names: str, words: str, **more: Any) -> Any:
    """An option that names a place to write to; no name at all would be the current folder, which
    nobody asked for. words: its help."""
    return typer.Option(*names, parser=_named, metavar="<path>", help=words, **more)


def out_to(words: str, **more: Any) -> Any:
    """The option that says where results go."""
    return place_option("--out", "-o", words=words, **more)


Score = Annotated[
    Path,
    typer.Argument(
        callback=_a_place,
        readable=False,
        help="The chart: MusicXML (.musicxml, .xml, .mxl), a folder with a file for "
        "each part, or ABC, Humdrum, MEI, MIDI (converted).",
        show_default=False,
    ),
]
MaybeScore = Annotated[
    Path | None,
    typer.Argument(
        callback=lambda path: path and _a_place(path),
        readable=False,
        help="The chart, as for the other commands.",
        show_default=False,
    ),
]
RosterFile = Annotated[
    Path | None,
    typer.Option("--roster", help="Who sits where and who leads (see shared/roster_example.toml)."),
]
Tune = Annotated[
    int | None,
    typer.Option(
        "--tune", min=0, help="Of a collection in ABC: the tune of this number.", show_default=False
    ),
]
Style = Annotated[
    str | None,
    one_of(
        style_words,
        "--style",
        says="Phrasing style",
        then="; by default chosen from the chart's words, tempo and instruments",
    ),
]
Printed = Annotated[
    str | None,
    one_of(
        lambda: same("keep", "prefer", "ignore"),
        "--printed",
        says="What becomes of marks printed in the lead",
        then="; keep (default): they stay, and the section gets them; prefer: they count, and "
        "another mark may be better; ignore: the lead is phrased as if it were bare",
    ),
]
Section = Annotated[
    str,
    one_of(
        lambda: same("match", "add", "report"),
        "--section",
        says="Marks already in the section",
        then="; match (default): what contradicts the lead and most of the section gives way; "
        "add: nothing is taken out; report: nothing is changed",
    ),
]
AsJson = Annotated[
    bool,
    typer.Option("--json", help="Print machine-readable results to stdout and nothing else there."),
]
Force = Annotated[
    bool,
    typer.Option(
        "--force", help="Replace what stands there, even if it is not ours or was edited since."
    ),
]
Before = Annotated[
    Path | None,
    typer.Option(
        "--before",
        help="Folder prepared from an older version: what you decided and typed there goes on, and "
        "what changed is listed.",
    ),
]
ShowChanges = Annotated[
    bool,
    typer.Option(
        "--show-changes",
        help="A bar in the margin beside lines that differ from the last run into this folder.",
    ),
]
Level = Annotated[
    str,
    one_of(
        lambda: same("pro", "school"),
        "--level",
        says="Players' level for range warnings",
        then="; pro by default",
    ),
]
Minutes = Annotated[int, typer.Option(min=5, max=600, help="Length of the rehearsal to plan.")]
Paper = Annotated[str, one_of(paper_words, "--paper", says="Paper", then="; letter by default")]
Staff = Annotated[
    float,
    typer.Option(
        min=7.0, max=11.0, help="Staff height in millimetres (7.0-8.5; up to 11 for large print)."
    ),
]
Help = Annotated[
    bool,
    typer.Option(
        "--section-help/--no-section-help",
        help="Say in each part, where a passage begins, how it belongs.",
    ),
]
Cues = Annotated[
    bool,
    typer.Option("--cues/--no-cues", help="Small named notes before an entry after a long rest."),
]
Courtesy = Annotated[
    bool,
    typer.Option(
        "--courtesy/--no-courtesy",
        help="Accidentals in parentheses where a reader may stumble: after a bar line, "
        "an octave away, after another name for the same note.",
    ),
]
Syllables = Annotated[
    bool,
    typer.Option(
        "--syllables", help="Print what to say (doo, dah, dit ...) under the notes of each passage."
    ),
]
Proof = Annotated[
    bool,
    typer.Option(
        "--proof",
        help="For proofreading: print what was added a shade lighter, with a page that lists it.",
    ),
]
SmallScore = Annotated[
    str | None,
    one_of(
        lambda: same("written", "sounding"),
        "--score",
        says="Also print the whole score, small, as players read it or as it sounds",
    ),
]
Study = Annotated[
    str,
    one_of(
        lambda: same("sounding", "written"),
        "--study",
        says="Pitch of the study pages",
        then="; sounding by default",
    ),
]
StudyFor = Annotated[
    list[str] | None,
    typer.Option(
        help="Also print the study pages of a section leader alone: a section (saxes) or a part; "
        "may be given several times.",
        metavar="<name>",
    ),
]
RhythmCuesIn = Annotated[
    str,
    one_of(
        lambda: same("sheets", "score"),
        "--rhythm-cues",
        says="Where what the horns hit is shown, small and over the slashes of the rhythm section: "
        "on its sheets alone, or in the score of --score, too",
        then="; sheets by default",
    ),
]
NoRhythmCues = Annotated[bool, typer.Option("--no-rhythm-cues", help="Show it nowhere.")]
RhythmCues = Annotated[
    bool,
    typer.Option(
        "--rhythm-cues/--no-rhythm-cues",
        help="On sheets of the rhythm section: what the horns hit, small and over the slashes.",
    ),
]
PlanPath = Annotated[
    Path | None,
    typer.Option(
        "--plan",
        help="A plan file written by `plan -o`, edited or not; its lines win over the rules.",
    ),
]
Decisions = Annotated[
    list[Path] | None,
    typer.Option(
        metavar="<path>",
        help="A rehearsal workbook with your decisions in it, or the small file (.toml) that a "
        "section leader has saved on a review page; may be given more than once.",
    ),
]
House = Annotated[
    Path | None,
    typer.Option(
        "--house",
        help="A plan file with the habits of your band alone, for all its charts; a chart's own "
        "plan file wins.",
    ),
]
Bpm = Annotated[
    float | None,
    typer.Option(
        "--bpm", min=20, max=400, help="Beats (quarters) a minute of a chart that states no tempo."
    ),
]
