"""The commands: arguments, progress, messages, exit codes. No music here, and nothing heavy is
loaded for --help."""

from __future__ import annotations

import itertools
import os
import sys
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NoReturn

import typer

from sectionprep.cli.arguments import (
    AsJson,
    Courtesy,
    Cues,
    Decisions,
    Help,
    Hits,
    Level,
    Minutes,
    Paper,
    PlanPath,
    Printed,
    Proof,
    RosterFile,
    Score,
    Section,
    SmallScore,
    Staff,
    Study,
    Style,
    Syllables,
    Tune,
    out_to,
    place_option,
)
from sectionprep.errors import FINDINGS_EXIT_CODE, NOT_PRINTED_EXIT_CODE, SectionprepError

if TYPE_CHECKING:
    from sectionprep.results import Options
    from sectionprep.settings import Limits
    from sectionprep.stages import Progress

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="Prepare the section parts of a big-band chart: find where the section "
    "moves together, settle one way to phrase it, "
    "put the same marks in every part, check that they agree, print parts and a "
    "rehearsal workbook. Notes are never changed. "
    "Options here come before the command. Prepare only music that you may copy.",
)


def main() -> None:
    """Entry point; turns every foreseen failure into one line and its exit code."""
    try:
        code = app(standalone_mode=False)
        sys.exit(code if isinstance(code, int) else 0)
    except typer.Abort:
        _fail("stopped.", 130)
    except KeyboardInterrupt:
        _fail("stopped; nothing half-written was left.", 130)
    except SectionprepError as error:
        _fail(str(error), error.exit_code)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except OSError as error:
        _fail(f"{str(error.filename or '')[:200]}: {error.strerror or error}.", 3)
    except MemoryError:
        _fail("the file asks for more memory than there is.", 6)
    except Exception as error:
        if type(error).__name__ == "NoArgsIsHelpError":
            print(getattr(error, "message", "") or error)
            sys.exit(2)
        if hasattr(error, "format_message"):  # usage errors of the argument parser
            context = getattr(error, "ctx", None)
            hint = f" Try: {context.command_path} --help" if context else ""
            _fail(f"{error.format_message()}{hint}", 2)
        raise


def _fail(message: str, code: int) -> NoReturn:
    print(f"sectionprep: {_clean(message)}", file=sys.stderr)
    sys.exit(code)


def _clean(text: object) -> str:
    """Text from a file, made safe for a terminal: no control characters, no escape sequences."""
    return "".join(c if c.isprintable() or c == "\n" else " " for c in str(text))


def _say(text: str = "") -> None:
    print(_clean(text))


@contextmanager
def _progress() -> Iterator[Progress]:
    """A progress display on a terminal, nothing elsewhere."""
    if not sys.stderr.isatty():
        yield lambda _stage, _done, _of: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn

    with Progress(
        TextColumn("{task.description:<24}"),
        BarColumn(),
        MofNCompleteColumn(),
        console=Console(stderr=True),
        transient=True,
    ) as bar:
        task = bar.add_task("", total=1)

        def show(stage: str, done: int, of: int) -> None:
            bar.update(task, description=stage, completed=done, total=max(of, 1))

        yield show


def _options(**given: Any) -> Options:
    from sectionprep.errors import BadArgument
    from sectionprep.results import Options
    from sectionprep.settings import Limits, load_toml

    for name, allowed in (
        ("printed", (None, "keep", "prefer", "ignore")),
        ("section", ("match", "add", "report")),
        ("level", ("pro", "school")),
        ("score", ("", "written", "sounding")),
        ("study", ("sounding", "written")),
        ("paper", tuple(load_toml("templates/sheets.toml")["paper"])),
    ):
        if name in given and given[name] not in allowed:
            raise BadArgument(
                f"--{name} cannot be {given[name]!r}.",
                remedy=f"Choose one of: {', '.join(a for a in allowed if a)}.",
            )
    return Options(**given, limits=_LIMITS or Limits())


_LIMITS: Limits | None = None


def _version(wanted: bool) -> None:
    if wanted:
        from sectionprep import __version__

        print(f"sectionprep {__version__}")
        raise typer.Exit


@app.callback()
def limits(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
    max_bytes: Annotated[
        int | None,
        typer.Option(min=1, help="Largest file to read, in bytes.", show_default="200,000,000"),
    ] = None,
    max_notes: Annotated[
        int | None, typer.Option(min=1, help="Most notes to read.", show_default="2,000,000")
    ] = None,
    max_bars: Annotated[
        int | None, typer.Option(min=1, help="Most bars to read.", show_default="20,000")
    ] = None,
    max_parts: Annotated[
        int | None, typer.Option(min=1, help="Most parts to read.", show_default="400")
    ] = None,
) -> None:
    """Limits, for all commands."""
    from sectionprep.settings import Limits

    global _LIMITS
    given = {"file_bytes": max_bytes, "notes": max_notes, "bars": max_bars, "parts": max_parts}
    _LIMITS = Limits(**{name: value for name, value in given.items() if value is not None})


@app.command()
def prepare(
    chart: Score,
    out: Annotated[
        Path | None, out_to("Folder to write to; by default CHART_prepared beside the chart.")
    ] = None,
    style: Style = None,
    printed: Printed = None,
    section: Section = "match",
    level: Level = "pro",
    minutes: Minutes = 45,
    paper: Paper = "letter",
    staff: Staff = 7.5,
    section_help: Help = True,
    cues: Cues = True,
    courtesy: Courtesy = True,
    syllables: Syllables = False,
    proof: Proof = False,
    score: SmallScore = "",
    study: Study = "sounding",
    rhythm_hits: Hits = False,
    plan: PlanPath = None,
    decisions: Decisions = None,
    roster: RosterFile = None,
    tune: Tune = None,
) -> None:
    """Do the whole job: marked score, part sheets, workbook, agreement report."""
    from sectionprep import stages

    options = _options(
        style=style,
        printed=printed,
        section=section,
        level=level,
        minutes=minutes,
        paper=paper,
        staff=staff,
        section_help=section_help,
        cues=cues,
        courtesy=courtesy,
        syllables=syllables,
        proof=proof,
        score=score,
        study=study,
        rhythm_hits=rhythm_hits,
        plan=plan,
        decisions=decisions,
        roster=roster,
        tune=tune,
    )
    folder = out or _beside(chart, tune, "_prepared")
    with _progress() as progress:
        done = stages.prepare(chart, folder, options, progress)
    _summary(done)
    if done.not_printed or done.not_as_written:
        raise typer.Exit(NOT_PRINTED_EXIT_CODE)


def _beside(chart: Path, tune: int | None, ending: str) -> Path:
    """Where results go when nobody says: beside the chart, each tune of a collection by itself."""
    number = "" if tune is None else f"_{tune}"
    return chart.with_name(f"{chart.name.split('.')[0]}{number}{ending}")


def _counted(count: int, what: str) -> str:
    return f"{count} {what}{'' if count == 1 else 's'}"


def _say_sheets(not_printed: Iterable[str], not_as_written: Iterable[str]) -> None:
    """What is wrong with the sheets, first of all."""
    for why in not_printed:
        _say(f"NOT PRINTED: {why}")
    for what in not_as_written:
        _say(f"NOT AS THE FILE HAS IT: {what}. Compare that bar with the score.")


def _say_unfit(unfit: Iterable[tuple[Any, str]]) -> None:
    """Lines of a plan or a workbook that were not applied; never dropped in silence."""
    for directive, why in unfit:
        print(
            _clean(f"sectionprep: line not applied: {directive.part} bar {directive.bar}: {why}"),
            file=sys.stderr,
        )


def _say_taken_out(marked: Any) -> None:
    """What was printed and is there no more, before anything else."""
    from sectionprep.outputs.reports.agreement import taken_out

    taken = taken_out(marked.score.chart, marked.marking)
    _say(
        f"Taken out: {_counted(len(taken), 'printed mark')}"
        + (" (with --section add nothing is):" if taken else ".")
    )
    for line in taken[:_TAKEN]:
        _say(f"  {line}")
    if len(taken) > _TAKEN:
        _say(f"  and {len(taken) - _TAKEN} more, listed in the change record.")


_TAKEN = 10  # marks taken out that are listed on the screen; judgement


def _say_remarks(remarks: Iterable[Any]) -> None:
    """What the sheets do not show, each thing once."""
    from sectionprep.outputs.parts.sheet_remarks import said_once

    for line in said_once(remarks):
        _say(f"  {line}")


def _summary(done: Any) -> None:
    from sectionprep.outputs.workbook.rows import look_first

    marked = done.marked
    _say_sheets(done.not_printed, done.not_as_written)
    chart, passages = marked.score.chart, marked.score.together.passages
    kinds = {t: sum(p.texture == t for p in passages) for t in ("unison", "octaves", "soli")}
    _say(
        f"{chart.title}: {len(chart.parts)} parts, {len(chart.bars)} bars, phrased as "
        f"{marked.plan.style} ({marked.plan.style_why})."
    )
    _say_taken_out(marked)
    for remark in chart.remarks[:5]:
        _say(f"  note: {remark.where}: {remark.what}")
    if len(chart.remarks) > 5:
        _say(f"  note: and {len(chart.remarks) - 5} more; `passages --json` lists them all.")
    _say(
        f"Found {_counted(len(passages), 'passage')}: "
        + ", ".join(f"{n} {t}" for t, n in kinds.items())
        + "."
    )
    _say(
        f"Wrote {len(marked.marking.written)} marks; findings: {len(marked.before)} before, "
        f"{len(marked.after)} left."
    )
    for directive, why in marked.unfit:
        _say(f"  decision not applied: {directive.part} bar {directive.bar}: {why}")
    for note in done.notes:
        _say(f"  note: {note}")
    first = look_first(marked.again.chart, marked.after)
    if first:
        _say("Look at these first:")
        for line in first[:4]:
            _say(f"  {line}")
    if done.pages:
        turns = f", {done.hard_turns} turns without time" if done.hard_turns else ""
        _say(f"Printed {done.pages} pages{turns}.")
    _say_remarks(done.sheet_remarks)
    _say("Written:")
    for path in done.files:
        if path.parent == done.folder:
            _say(f"  {path}")
    for name, says in (
        ("parts", "part sheets"),
        ("sets", "print sets: a section or the band in one file"),
    ):
        inside = [f for f in done.files if f.parent == done.folder / name and f.suffix == ".pdf"]
        if inside:
            _say(f"  {inside[0].parent}{os.sep} ({len(inside)} {says})")


@app.command()
def passages(
    chart: Score, roster: RosterFile = None, tune: Tune = None, as_json: AsJson = False
) -> None:
    """Show where the parts move together."""
    from sectionprep import stages
    from sectionprep.outputs.reports.agreement import passages_json

    score = stages.read_score(chart, _options(roster=roster, tune=tune))
    if as_json:
        print(stages.to_json(passages_json(score.chart, score.together)))
        return
    from sectionprep.outputs.reports.terminal import passages_table

    passages_table(score.chart, score.together)


@app.command("plan")
def plan_command(
    chart: Score,
    out: Annotated[Path | None, out_to("Write the plan as a file to edit by hand.")] = None,
    part: Annotated[str | None, typer.Option(help="Plan this part's line, passage or not.")] = None,
    bars: Annotated[
        str | None, typer.Option(help="With --part: only these bars, as in 17-24.")
    ] = None,
    style: Style = None,
    printed: Printed = None,
    plan: PlanPath = None,
    decisions: Decisions = None,
    roster: RosterFile = None,
    tune: Tune = None,
    as_json: AsJson = False,
) -> None:
    """Show how each lead line would be phrased, and why."""
    from sectionprep import stages
    from sectionprep.errors import BadArgument
    from sectionprep.outputs.reports.agreement import plan_json

    options = _options(
        style=style, printed=printed, plan=plan, decisions=decisions, roster=roster, tune=tune
    )
    if bars and not part:
        raise BadArgument("--bars goes with --part.", remedy="Name the part as well.")
    score = stages.read_score(chart, options)
    unfit: tuple[Any, ...] = ()
    if part:
        planned = stages.plan_part(score, part, bars, options)
    else:
        planned, unfit = stages.plan_score(score, options)
    _say_unfit(unfit)
    if out is not None:
        path = stages.write_plan_file(score, planned, out, options)
        print(f"Written: {_clean(path)}", file=sys.stderr if as_json else sys.stdout)
    if as_json:
        print(stages.to_json(plan_json(score.chart, planned)))
    if as_json or out is not None:
        return
    from sectionprep.outputs.reports.terminal import plan_lines

    plan_lines(score.chart, planned)


@app.command()
def mark(
    chart: Score,
    out: Annotated[
        Path | None, out_to("The marked score; by default CHART_marked beside the chart.")
    ] = None,
    style: Style = None,
    printed: Printed = None,
    section: Section = "match",
    rhythm_hits: Hits = False,
    plan: PlanPath = None,
    decisions: Decisions = None,
    roster: RosterFile = None,
    tune: Tune = None,
    undo: Annotated[
        bool, typer.Option("--undo", help="CHART is a marked score: write the original again.")
    ] = False,
    record: Annotated[
        Path | None,
        typer.Option(help="With --undo: the change record (by default beside the score)."),
    ] = None,
) -> None:
    """Write the marked score and its change record, or undo them."""
    from sectionprep import stages
    from sectionprep.errors import BadArgument

    if record is not None and not undo:
        raise BadArgument(
            "--record goes with --undo.", remedy="Give both, or leave the record out."
        )
    if undo:
        from sectionprep.outputs.files import write_file
        from sectionprep.outputs.reports.marked_score import undo as undo_marks

        pairs = [
            (
                chart,
                record or chart.with_name(f"{chart.stem}.changes.json"),
                out or chart.with_name(f"{chart.stem}_original{chart.suffix}"),
            )
        ]
        if chart.is_dir():
            target = out or chart.with_name(f"{chart.name}_original")
            pairs = [
                (file, file.with_name(f"{file.stem}.changes.json"), target / file.name)
                for file in sorted(chart.iterdir())
                if file.with_name(f"{file.stem}.changes.json").exists()
                and not file.name.endswith(".changes.json")
            ]
            if not pairs:
                raise BadArgument(
                    f"{chart} holds no change records.", remedy="Name the folder that `mark` wrote."
                )
        originals = [
            (target, undo_marks(marked_file, beside, target.suffix), marked_file)
            for marked_file, beside, target in pairs
        ]
        for target, data, marked_file in originals:
            write_file(target, data, source=marked_file)
            _say(f"Written: {target}")
        return
    options = _options(
        style=style,
        printed=printed,
        section=section,
        rhythm_hits=rhythm_hits,
        plan=plan,
        decisions=decisions,
        roster=roster,
        tune=tune,
    )
    marked = stages.mark_score(stages.read_score(chart, options), options)
    _say_unfit(marked.unfit)
    suffix = "" if marked.score.bundle.is_folder else marked.score.bundle.suffix
    target = out or _beside(chart, tune, f"_marked{suffix}")
    paths = stages.write_marked(marked, target)
    _say_taken_out(marked)
    for path in paths:
        _say(f"Written: {path}")
    _say(
        f"{_counted(len(marked.marking.written), 'change')} in "
        f"{_counted(len(marked.marking.edits), 'note')}."
    )


@app.command()
def check(
    chart: Score,
    level: Level = "pro",
    roster: RosterFile = None,
    tune: Tune = None,
    as_json: AsJson = False,
    fix: Annotated[
        Path | None,
        place_option(
            "--fix",
            words="Write a score with the safe ones mended (the section gets what "
            "the lead has printed).",
        ),
    ] = None,
    against: Annotated[
        Path | None,
        typer.Option(
            "--against", help="An older version: say which parts differ and need printing again."
        ),
    ] = None,
    strict: Annotated[
        bool,
        typer.Option(
            "--strict", help=f"End with exit code {FINDINGS_EXIT_CODE} when anything was found."
        ),
    ] = False,
) -> None:
    """Check that lead and section agree, and that the parts can be played."""
    from sectionprep import stages
    from sectionprep.outputs.reports.agreement import findings_json, versions_json

    options = _options(level=level, roster=roster, tune=tune)
    score = stages.read_score(chart, options)
    findings = stages.check_score(score, options)
    changes = None
    if against is not None:
        from sectionprep.checks.versions import compare_versions

        changes = compare_versions(stages.read_score(against, options).chart, score.chart)
    fixed = stages.fix_score(score, options) if fix is not None else None
    if fix is not None and fixed is not None:
        for path in stages.write_marked(fixed, fix):
            print(f"Written: {_clean(path)}", file=sys.stderr if as_json else sys.stdout)
    if as_json:
        print(stages.to_json({**findings_json(score.chart, findings), **versions_json(changes)}))
    else:
        from sectionprep.outputs.reports.terminal import findings_table, versions_table

        if changes is not None:
            versions_table(score.chart, changes)
        if fixed is not None:
            _say_taken_out(fixed)
            _say(
                f"Mended: {len(findings) - len(fixed.after)} of "
                f"{_counted(len(findings), 'finding')}. Left:"
            )
            findings_table(fixed.again.chart, fixed.after)
        else:
            findings_table(score.chart, findings)
    if strict and findings:
        raise typer.Exit(FINDINGS_EXIT_CODE)


@app.command()
def sheets(
    chart: Score,
    out: Annotated[
        Path | None, out_to("Folder for the PDF files; by default CHART_parts beside the chart.")
    ] = None,
    part: Annotated[
        list[str] | None, typer.Option(help="Only this part; may be given several times.")
    ] = None,
    paper: Paper = "letter",
    staff: Staff = 7.5,
    section_help: Help = True,
    cues: Cues = True,
    courtesy: Courtesy = True,
    syllables: Syllables = False,
    roster: RosterFile = None,
    tune: Tune = None,
) -> None:
    """Print the parts of a chart as they stand, one PDF each."""
    from sectionprep import stages
    from sectionprep.outputs.parts.printed import not_as_written, not_printed

    options = _options(
        paper=paper,
        staff=staff,
        section_help=section_help,
        cues=cues,
        courtesy=courtesy,
        syllables=syllables,
        roster=roster,
        tune=tune,
    )
    score = stages.read_score(chart, options)
    folder = out or _beside(chart, tune, "_parts")
    with _progress() as progress:
        reports = stages.write_sheets(score, folder, options, part or [], progress)
    wrong = not_printed(reports), not_as_written(score.chart, reports)
    _say_sheets(*wrong)
    for report in reports:
        if report.failed:
            continue
        turns = "".join(f"; turn after page {t.page}: {t.seconds:.0f} s rest" for t in report.turns)
        _say(f"{report.name}: {report.pages} page{'s' if report.pages > 1 else ''}{turns}")
    _say_remarks(remark for report in reports for remark in report.remarks)
    _say(f"Written: {folder}{os.sep}")
    if any(wrong):
        raise typer.Exit(NOT_PRINTED_EXIT_CODE)


@app.command()
def checklist(
    chart: Score,
    out: Annotated[
        Path | None, out_to("The workbook; by default CHART_rehearsal.xlsx beside the chart.")
    ] = None,
    style: Style = None,
    printed: Printed = None,
    section: Section = "match",
    level: Level = "pro",
    minutes: Minutes = 45,
    plan: PlanPath = None,
    decisions: Decisions = None,
    roster: RosterFile = None,
    tune: Tune = None,
) -> None:
    """Write the rehearsal workbook alone."""
    from sectionprep import stages
    from sectionprep.errors import BadArgument

    if out is not None and out.suffix.lower() != ".xlsx":
        raise BadArgument(
            f"a workbook is a .xlsx file; --out names {str(out)!r}.", remedy="Give it that ending."
        )
    options = _options(
        style=style,
        printed=printed,
        section=section,
        level=level,
        minutes=minutes,
        plan=plan,
        decisions=decisions,
        roster=roster,
        tune=tune,
    )
    marked = stages.mark_score(stages.read_score(chart, options), options)
    target = out or _beside(chart, tune, "_rehearsal.xlsx")
    _say_unfit(marked.unfit)
    _say(f"Written: {stages.write_checklist(marked, target, options)}")


@app.command()
def audition(
    chart: Score,
    out: Annotated[
        Path | None, out_to("Folder for the files; by default CHART_audition beside the chart.")
    ] = None,
    passage: Annotated[
        list[str] | None, typer.Option(help="Only this passage (P3); may be given several times.")
    ] = None,
    part: Annotated[
        str,
        typer.Option(help="Your part (or all): adds it with the lead, and the section without it."),
    ] = "",
    tempos: Annotated[
        str, typer.Option(help="Percent of the chart's tempo, as in 60,75,90,100.")
    ] = "100",
    loops: Annotated[
        int, typer.Option(min=1, max=50, help="Play each this often, a bar apart.")
    ] = 1,
    sound: Annotated[
        str, typer.Option(help="Kind of sound file: wav; flac, ogg or mp3 with the extra 'sound'.")
    ] = "wav",
    click: Annotated[
        bool, typer.Option("--click", help="A quiet click along, not only in the count-in.")
    ] = False,
    style: Style = None,
    printed: Printed = None,
    plan: PlanPath = None,
    roster: RosterFile = None,
    tune: Tune = None,
) -> None:
    """Hear each lead line flat and shaped, and the section as planned: WAV and MIDI."""
    from sectionprep import stages
    from sectionprep.errors import BadArgument
    from sectionprep.outputs.audition import SOUNDS, Wish

    try:
        shares = tuple(float(t) / 100 for t in tempos.split(","))
    except ValueError as error:
        raise BadArgument(
            f"--tempos cannot be {tempos!r}.", remedy="Write percent, as in 60,75,90,100."
        ) from error
    if not all(0.2 <= share <= 2 for share in shares):
        raise BadArgument(
            f"--tempos cannot be {tempos!r}.", remedy="Stay between 20 and 200 percent."
        )
    if sound not in SOUNDS:
        raise BadArgument(
            f"--sound cannot be {sound!r}.", remedy=f"Choose one of: {', '.join(SOUNDS)}."
        )
    options = _options(style=style, printed=printed, plan=plan, roster=roster, tune=tune)
    folder = out or _beside(chart, tune, "_audition")
    wish = Wish(
        passages=tuple(p.upper() for p in passage or ()),
        part=part,
        tempos=shares,
        loops=loops,
        click=click,
        sound=sound,
    )
    written, unfit = stages.audition(chart, folder, options, wish)
    _say_unfit(unfit)
    _say(
        f"Written: {folder}{os.sep} ({len(written)} files). Start quietly: headphones harm "
        f"ears too."
    )


@app.command()
def book(
    library: Annotated[
        Path, typer.Argument(help="The folder that holds the charts.", show_default=False)
    ],
    out: Annotated[
        Path,
        out_to("Folder for the results; run again to go on where it stopped.", show_default=False),
    ],
    style: Style = None,
    printed: Printed = None,
    section: Section = "match",
    level: Level = "pro",
    minutes: Minutes = 45,
    paper: Paper = "letter",
    staff: Staff = 7.5,
    plan: PlanPath = None,
    roster: RosterFile = None,
    cluster: Annotated[
        str,
        typer.Option(
            help="Address of a Dask scheduler, as in tcp://host:8786 (needs the extra 'cluster')."
        ),
    ] = "",
) -> None:
    """Prepare every chart of a library; unchanged ones are skipped, bad ones are listed and stop
    nothing."""
    from sectionprep import library as whole_library

    options = _options(
        style=style,
        printed=printed,
        section=section,
        level=level,
        minutes=minutes,
        paper=paper,
        staff=staff,
        plan=plan,
        roster=roster,
    )

    told = itertools.count(1)

    def tell(result: Any, of: int) -> None:
        more = (
            f": {result.reason}"
            if result.reason
            else f": {result.passages} passages, {result.before} findings, "
            f"{result.after} left, {result.pages} pages"
        )
        _say(
            f"{next(told):>{len(str(of))}}/{of}  "
            f"{result.outcome:<10}{' ' * (len(result.outcome) > 9)}{result.name}{more}"
        )

    results = whole_library.book(library, out, options, cluster=cluster, tell=tell)
    failed = sum(r.status == "failed" for r in results)
    _say(f"{len(results)} charts, {failed} failed. Written: {out / 'book.xlsx'}")
    if failed:
        raise typer.Exit(3)
    if any(r.wrong_sheets for r in results):
        raise typer.Exit(NOT_PRINTED_EXIT_CODE)
