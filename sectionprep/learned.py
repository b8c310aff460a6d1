"""The habits of a house, read from a folder of its director's own marked charts and decisions."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from sectionprep.errors import SectionprepError, UnreadableFile
from sectionprep.music.marks import ATTACKS, LENGTHS, SLURS
from sectionprep.music.section_word import SectionWord
from sectionprep.phrasing.learning import Proposal, Seen, learn, seen
from sectionprep.phrasing.styles import choose_style
from sectionprep.phrasing.view import view_line
from sectionprep.results import Options, Score
from sectionprep.stages import plan_score, read_score

_CHARTS = frozenset({".musicxml", ".xml", ".mxl"})
_MARKED = 0.02  # marks a note from which somebody has marked the lead lines of a chart; judgement


@dataclass(frozen=True, slots=True, kw_only=True)
class Learned:
    """What a folder tells. charts: those that were read and say something; silent: those without
    marks or decisions of the director's; unread: those that cannot be read, and why; reads: every
    file that was looked into."""

    proposals: tuple[Proposal, ...]
    notes: int
    charts: tuple[str, ...]
    silent: tuple[str, ...]
    unread: tuple[str, ...]
    reads: tuple[Path, ...]


def learn_habits(folder: Path, options: Options) -> Learned:
    """Read every chart in a folder, with the plan file and the workbook beside it. What this
    program has marked itself is not the director's: of such a chart only decisions count."""
    if not folder.is_dir():
        raise UnreadableFile(
            "is no folder.", where=str(folder), remedy="Name the folder that holds your charts."
        )
    notes: list[Seen] = []
    told: list[str] = []
    silent: list[str] = []
    unread: list[str] = []
    charts = _charts(folder)
    for path in charts:
        try:
            found = list(_of_chart(path, options))
        except SectionprepError as error:
            unread.append(f"{path.name}: {error}")
            continue
        (told if found else silent).append(path.name)
        notes += found
    return Learned(
        proposals=learn(notes),
        notes=sum(not note.left for note in notes),
        charts=tuple(told),
        silent=tuple(silent),
        unread=tuple(unread),
        reads=(
            *options.reads,
            *(read for chart in charts for read in (chart, *_beside(chart))),
        ),
    )


def _charts(folder: Path) -> list[Path]:
    return [
        path
        for path in sorted(folder.rglob("*"))
        if path.suffix.lower() in _CHARTS
        and path.is_file()
        and not any(part.startswith(".") for part in path.relative_to(folder).parts)
    ]


def _beside(chart: Path) -> tuple[Path, Path]:
    """Where the plan file and the workbook of a chart lie."""
    stem = chart.name.split(".")[0]
    return chart.with_name(f"{stem}_plan.toml"), chart.with_name(f"{stem}_rehearsal.xlsx")


def _of_chart(path: Path, options: Options) -> Iterator[Seen]:
    score = read_score(path, options)
    decided, left = _decided(path, score, options)
    ours = path.with_name(f"{path.stem}.changes.json").exists()
    yield from _notes(score, options, decided, left, printed=not ours)


_Marks = dict[tuple[int, int], frozenset[str]]  # by part and tick of onset


def _decided(path: Path, score: Score, options: Options) -> tuple[_Marks, _Marks]:
    """Marks where the director's word differs from the rules (what stands in a plan file as the
    rules wrote it is no decision), and those of ours that he left where he decided others."""
    from sectionprep.outputs.edited_files import is_edited_plan

    plan, book = _beside(path)
    own = replace(
        options,
        plan=plan if is_edited_plan(plan) else None,
        decisions=book if book.is_file() else None,
    )
    if own.plan is None and own.decisions is None:
        return {}, {}
    planned, _ = plan_score(score, own)
    notes = [
        ((passage.part, note.tone.onset), note)
        for passage in (*planned.passages, *planned.hits)
        for note in passage.notes
    ]
    wished = {at: note.marks for at, note in notes if note.decided and not note.hands_off}
    left = {at: note.marks for at, note in notes if note.added - SLURS and not note.decided}
    return wished, left if wished else {}


def _notes(
    score: Score,
    options: Options,
    decided: _Marks,
    left: _Marks,
    *,
    printed: bool,
) -> Iterator[Seen]:
    chart = score.chart
    style, _ = choose_style(chart, options.style)
    words = [SectionWord(chart, passage) for passage in score.together.marked]
    lines = [(word.chart, word.passage.lead, word.line()) for word in words]
    tones = [tone for _, _, line in lines for tone in line]
    marked = sum(bool(tone.marks & (ATTACKS | LENGTHS)) for tone in tones)
    speaks = printed and marked >= max(1, _MARKED * len(tones))
    for as_read, part, line in lines:
        if not line:
            continue
        view = view_line(as_read, line, style, part)
        wished = {t.onset: decided[part, t.onset] for t in line if (part, t.onset) in decided}
        yield from seen(view, wished, decided=True)
        if speaks:
            yield from seen(view, {t.onset: t.marks for t in line if t.onset not in wished})
        else:
            stayed = {t.onset: left[part, t.onset] for t in line if (part, t.onset) in left}
            yield from seen(view, stayed, left=True)


def in_words(learned: Learned) -> Sequence[str]:
    """What a person is told of it, line by line."""
    lines = [
        f"{learned.notes} notes of lead lines in {len(learned.charts)} charts that you have marked "
        "or decided on."
    ]
    if learned.proposals:
        lines += [
            f"{proposal.habit.says}   ({proposal.evidence})" for proposal in learned.proposals
        ]
        lines.append(
            "Keep the lines that are yours in [house] of a plan file, and give it with --plan."
        )
    else:
        lines.append(
            "No habit is sure enough: a situation must come eight times or more, and be marked "
            "alike three times in four."
        )
    if learned.silent:
        lines.append(f"Without marks or decisions of yours: {', '.join(learned.silent)}.")
    lines += [f"Not read: {reason}" for reason in learned.unread]
    return lines
