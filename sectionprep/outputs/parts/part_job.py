"""What is asked of the sheet of one part, and what came of it, in plain values: they cross the
borders of processes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from sectionprep.drawing.paging.turns import Jump, Turn
from sectionprep.drawing.proof.as_written import Difference, MustShow
from sectionprep.outputs.parts.proof_pages import Proof
from sectionprep.outputs.parts.sheet_remarks import SheetRemark


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetStyle:
    """How sheets look; lengths in millimetres. paper: a name from templates/sheets.toml.
    section_help: words where a passage begins; cues: small notes before an entry; rhythm_cues: what
    the horns hit, over slashes; no_rhythm_cues_in: printed numbers of bars without; courtesy:
    accidentals that remind; syllables: what is said under the notes of a passage; proof: our own
    marks a shade lighter, and a page that lists them."""

    paper: str = "letter"
    staff: float = 7.5
    section_help: bool = True
    cues: bool = True
    rhythm_cues: bool = True
    no_rhythm_cues_in: frozenset[str] = frozenset()
    courtesy: bool = True
    syllables: bool = False
    proof: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PartJob:
    """All that is needed to draw one part, in plain values (it crosses process borders).

    xml: the part as a score of its own. must: the heads its drawing must show. overlays: marks to
    draw by us, by note id. syllables: what is said under each note, by note id. proof: what we
    added, to be printed lighter and listed. rests: seconds of rest around the end of each bar, by
    bar index; in_time: bars for which these are of plain time, not of rest. jumps: of the road map,
    between bars. numbers: printed number of each bar. under: lines under the part's name. lyricist,
    rights: credits of the first page. remarks: what the sheet will not show. changed: printed
    numbers of bars that differ from the sheet before, whose lines get a bar in the margin. steady:
    mostly slashes, to be set in lines of four bars; plays: first bar and length of what may stand
    as one bar, "play 8", where that saves a page; lettered: its player counts by letters, which
    stand at the left wherever two pages allow. section: whose sheets are to look alike; level: of
    page economy, None for the best.
    """

    xml: bytes
    name: str
    title: str
    composer: str
    arranger: str
    footer: str
    must: MustShow
    where: str
    out: Path
    style: SheetStyle
    overlays: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    syllables: Mapping[str, str] = field(default_factory=dict)
    proof: Proof | None = None
    rests: tuple[float, ...] = ()
    in_time: frozenset[int] = frozenset()
    jumps: tuple[Jump, ...] = ()
    numbers: tuple[str, ...] = ()
    under: tuple[str, ...] = ()
    lyricist: str = ""
    rights: tuple[str, ...] = ()
    remarks: tuple[SheetRemark, ...] = ()
    changed: frozenset[str] = frozenset()
    steady: bool = False
    plays: tuple[tuple[int, int], ...] = ()
    lettered: bool = False
    section: str = ""
    level: int | None = None

    @property
    def alike(self) -> tuple[str, float]:
        """Equal for parts whose sheets are to look alike: section, and staff as asked for."""
        return self.section, self.style.staff


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetReport:
    """What was printed: pages (with cover and proof pages), staves on each page of music, turns
    with seconds of rest, bars on each line. cover: a title page stands first, so that a turn falls
    into a rest. staff: its height, millimetres. failed: why nothing was printed. remarks: what the
    sheet does not show. heads: how many the part has, and how many of them are proved to be on the
    paper, to be read as their pitch, and to be so by an accidental; differences: bars that are not
    drawn as the part has them. process: number of the one that drew it and has it at hand.
    """

    name: str
    path: Path
    pages: int
    staves: tuple[int, ...]
    turns: tuple[Turn, ...]
    bars_per_line: tuple[int, ...]
    cover: bool = False
    staff: float = 0.0
    failed: str = ""
    remarks: tuple[SheetRemark, ...] = ()
    heads: int = 0
    proved: int = 0
    pitches: int = 0
    accidentals: int = 0
    differences: tuple[Difference, ...] = ()
    process: int = field(default=0, compare=False)

    @property
    def hard(self) -> int:
        """Turns without time to turn."""
        return sum(not turn.possible for turn in self.turns)
