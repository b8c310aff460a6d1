"""From document to Chart.

The reader walks every part measure by measure in ticks, then lays all parts on one grid of bars.
What it had to settle by itself (a part that stops early, a measure without notes) becomes a Remark.
"""

from __future__ import annotations

from dataclasses import replace

from lxml import etree

from sectionprep.errors import NotAScore, OverLimit
from sectionprep.music.chairs import Clues, recognise_all
from sectionprep.music.chart import Chart, Part, Remark
from sectionprep.music.instruments import UNKNOWN, Chair
from sectionprep.music.lines import line_of, second_lines_of
from sectionprep.music.naming import short_names, unique_labels
from sectionprep.music.notes import Direction, Note
from sectionprep.music.pitch import Transposition
from sectionprep.music.roster import EMPTY, Roster, asked
from sectionprep.musicxml.document import Document, tag_of
from sectionprep.musicxml.reading.elements import child_of, number_in
from sectionprep.musicxml.reading.front import (
    creator_of,
    rights_of,
    style_words_of,
    swing_of,
    tempos_of,
    title_of,
)
from sectionprep.musicxml.reading.grid import grid_of, named_bars
from sectionprep.musicxml.reading.holding import instruments_held
from sectionprep.musicxml.reading.measures import Measure, PartState, Walker
from sectionprep.musicxml.reading.notes import Written
from sectionprep.musicxml.reading.part_list import (
    PartNames,
    evidence_of,
    groups_of,
    names_of,
    sources_of,
)
from sectionprep.musicxml.reading.signs import directions_of
from sectionprep.settings import Limits

_NOBODY = Chair(instrument=UNKNOWN, sure=False)  # until the chairs are known


def read_chart(document: Document, limits: Limits | None = None, roster: Roster = EMPTY) -> Chart:
    """The exact chart a document holds. roster: who sits where, where names do not say. Raises
    NotAScore or OverLimit."""
    return _Reader(document, limits or Limits(), roster).chart()


class _Reader:
    def __init__(self, document: Document, limits: Limits, roster: Roster) -> None:
        self.document = document
        self.limits = limits
        self.roster = roster
        self.where = str(document.path)
        self.direction_address = {
            id(element): n for n, element in enumerate(document.tree_directions)
        }
        self.remarks: list[Remark] = []
        self.walker = Walker(document, self.where)
        self.resolution = self.walker.resolution

    def chart(self) -> Chart:
        sources = sources_of(self.document, self.limits, self.remarks)
        if max(len(measures) for _, _, measures in sources) > self.limits.bars:
            raise OverLimit(
                f"has more than {self.limits.bars:,} bars.",
                where=self.where,
                remedy="Raise it with --max-bars if you trust the file.",
            )
        names = [names_of(listed) for _, listed, _ in sources]
        groups = groups_of(self.document.root)
        homes = [groups.get(id(listed), "") for _, listed, _ in sources]
        labels = unique_labels([said.name for said in names], homes)
        walked = [self.walker.walk(n, measures) for n, (_, _, measures) in enumerate(sources)]
        bars, signs = grid_of(
            [measures for measures, _ in walked], labels, self.resolution, self.remarks
        )
        starts = tuple(bar.start for bar in bars)
        read = [
            self._part(n, key, names[n], labels[n], *walked[n], starts)
            for n, (key, _, _) in enumerate(sources)
        ]
        parts = self._seated(
            read,
            [
                evidence_of(part, said, group, elements if self.document.has_words else [])
                for part, said, group, (_, _, elements) in zip(
                    read, names, homes, sources, strict=True
                )
            ],
        )
        lines = tuple(line_of(part.notes) for part in parts)
        if not any(part.notes for part in parts):
            raise NotAScore(
                "it holds no notes at all.", where=self.where, remedy="Export the whole score."
            )
        root = self.document.root
        everything = [d for part in parts for d in part.directions]
        return Chart(
            title=title_of(self.document),
            composer=creator_of(root, "composer"),
            arranger=creator_of(root, "arranger"),
            resolution=self.resolution,
            bars=named_bars(bars, signs, everything),
            parts=tuple(parts),
            lines=lines,
            second_lines=second_lines_of(parts),
            lyricist=creator_of(root, "lyricist", "poet"),
            rights=rights_of(root),
            tempos=tempos_of(everything),
            style_words=style_words_of(everything),
            swing=swing_of(everything),
            concert=self._concert(parts),
            remarks=tuple(self.remarks),
            _starts=starts,
        )

    def _part(
        self,
        index: int,
        key: str,
        said: PartNames,
        label: str,
        measures: list[Measure],
        state: PartState,
        starts: tuple[int, ...],
    ) -> Part:
        """All but who plays it, which hangs on the other parts too."""
        notes: list[Note] = []
        directions: list[Direction] = []
        transposition = Transposition()
        transpositions: list[tuple[int, Transposition]] = []
        clefs: list[tuple[int, str]] = []
        keys: list[tuple[int, int]] = []
        for n, measure in enumerate(measures):
            for offset, duration, element, note in measure.events:
                onset = starts[n] + offset
                if note is not None:
                    address = self.document.addresses[id(element)]
                    notes.append(
                        self._note(address, note, index, n, onset, duration, transposition)
                    )
                elif (tag := tag_of(element)) == "attributes":
                    transposition = self._signatures(
                        element, onset, transposition, transpositions, clefs, keys
                    )
                elif tag != "barline":
                    directions.extend(
                        directions_of(
                            element,
                            part=index,
                            bar=n,
                            onset=onset,
                            ticks=self.resolution,
                            divisions=state.divisions,
                            address=self.direction_address.get(id(element), -1),
                        )
                    )
            measure.events.clear()  # they would take as much as the notes until all are read
        return Part(
            index=index,
            id=key,
            name=said.name,
            label=label,
            abbreviation=said.short,
            chair=_NOBODY,
            notes=tuple(notes),
            directions=tuple(directions),
            transpositions=tuple(transpositions),
            clefs=tuple(clefs),
            keys=tuple(keys),
            staves=state.staves,
            bars_read=len(measures),
        )

    def _seated(self, parts: list[Part], evidence: list[Clues]) -> list[Part]:
        """The parts with their chairs, as the file tells and the director settles, and what each
        player holds."""
        chairs = recognise_all(evidence)
        parts = [replace(part, chair=chair) for part, chair in zip(parts, chairs, strict=True)]
        roster = self.roster.of(parts)
        parts = [replace(part, chair=roster.settle(part.label, part.chair)) for part in parts]
        self.remarks += [
            Remark(where=part.label, what=what)
            for part in parts
            if (what := asked(part.label, part.chair))
        ]
        held = [
            instruments_held(part.chair, part.directions, part.transpositions) for part in parts
        ]
        return [
            replace(part, says=says, instruments=instruments)
            for part, says, instruments in zip(parts, short_names(parts), held, strict=True)
        ]

    def _signatures(
        self,
        element: etree._Element,
        onset: int,
        transposition: Transposition,
        transpositions: list[tuple[int, Transposition]],
        clefs: list[tuple[int, str]],
        keys: list[tuple[int, int]],
    ) -> Transposition:
        for child in element:
            tag = tag_of(child)
            if tag == "transpose" and child.get("number") in (None, "1"):
                octaves = 12 * number_in(child, "octave-change")
                transposition = Transposition(
                    diatonic=number_in(child, "diatonic") + 7 * number_in(child, "octave-change"),
                    chromatic=number_in(child, "chromatic") + octaves,
                )
                transpositions.append((onset, transposition))
            elif tag == "clef" and child.get("number") in (None, "1"):
                sign = child_of(child, "sign")
                kind = (sign.text or "G").strip() if sign is not None else "G"
                line = number_in(child, "line")
                clefs.append((onset, kind if kind == "percussion" else f"{kind}{line or ''}"))
            elif tag == "key":
                keys.append((onset, number_in(child, "fifths")))
        return transposition

    def _note(
        self,
        address: int,
        said: Written,
        part: int,
        bar: int,
        onset: int,
        duration: int,
        transposition: Transposition,
    ) -> Note:
        plays = said.pitch is not None and not said.is_rest
        return Note(
            address=address,
            part=part,
            bar=bar,
            onset=onset,
            duration=0 if said.is_grace else duration,
            pitch=said.pitch,
            sounding=said.midi + transposition.chromatic if plays else None,
            is_rest=said.is_rest,
            is_chord=said.is_chord,
            is_grace=said.is_grace,
            is_cue=said.is_cue,
            is_unpitched=said.is_unpitched,
            is_slash=said.is_slash,
            tie_start=said.tie_start,
            tie_stop=said.tie_stop,
            voice=said.voice,
            staff=said.staff,
            marks=said.marks,
            slur_starts=said.slur_starts,
            slur_stops=said.slur_stops,
            in_tuplet=said.in_tuplet,
            has_fermata=said.has_fermata,
            is_hidden=said.is_hidden,
        )

    def _concert(self, parts: list[Part]) -> bool:
        """A concert score says so, or no transposing instrument in it transposes."""
        if self.document.root.find("{*}defaults/{*}concert-score") is not None:
            return True
        transposing = [
            p for p in parts if p.chair.sure and p.chair.instrument.transposition.chromatic % 12
        ]
        plain = all(not t.chromatic % 12 for p in transposing for _, t in p.transpositions)
        if len(transposing) >= 2 and plain:
            self.remarks.append(
                Remark(
                    where="score",
                    what="no part transposes: read as a concert-pitch score; printed "
                    "parts are transposed",
                )
            )
            return True
        if len(transposing) == 1 and plain and len(parts) > 1:
            self.remarks.append(
                Remark(
                    where=transposing[0].label,
                    what="does not transpose: printed as it stands; mark the score as "
                    "concert pitch (<concert-score/>) if it is",
                )
            )
        return False
