"""From document to Chart.

The reader walks every part measure by measure in ticks, then lays all parts on one grid of bars.
What it had to settle by itself (a part that stops early, a measure without notes) becomes a Remark.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

from lxml import etree

from sectionprep.errors import NotAScore, OverLimit
from sectionprep.music.chairs import Evidence, doubling, recognise_all
from sectionprep.music.chart import Bar, Chart, Direction, Note, Part, Remark
from sectionprep.music.instruments import HORNS, UNKNOWN, Chair, Instrument
from sectionprep.music.lines import line_of, second_lines_of
from sectionprep.music.naming import clean_name, short_names, spoken_name, unique_labels
from sectionprep.music.pitch import Transposition
from sectionprep.music.roster import EMPTY, Roster, asked
from sectionprep.musicxml.document import Document, tag_of
from sectionprep.musicxml.numbers import decimal
from sectionprep.musicxml.reading.measures import Measure, PartState, Walker
from sectionprep.musicxml.reading.notes import Written
from sectionprep.musicxml.reading.signs import BarSigns, directions_of, read_barline
from sectionprep.settings import Limits, writable

_NOBODY = Chair(instrument=UNKNOWN, sure=False)  # until the chairs are known
_NAME = 200  # characters of a name that are read: a judgement, far above any part's name


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

    # -- the shape of the document
    # ------------------------------------------------------------------

    def _part_list(self) -> list[tuple[str, etree._Element | None]]:
        listed = list(self.document.root.iter("{*}score-part"))
        order = [(e.get("id") or "", e) for e in listed]
        known = {key for key, _ in order}
        if len(known) != len(order):
            self.remarks.append(
                Remark(where="part list", what="two parts carry the same id; read in order")
            )
        return [*order]

    def _measures_by_part(self) -> list[tuple[str, etree._Element | None, list[etree._Element]]]:
        root = self.document.root
        listed = self._part_list()
        names = dict(reversed(listed))
        if tag_of(root) == "score-partwise":
            found = [
                (p.get("id") or "", [m for m in p if tag_of(m) == "measure"])
                for p in root
                if tag_of(p) == "part"
            ]
        else:
            found = self._turn_timewise(root)
        if not found:
            raise NotAScore("it has no parts.", where=self.where, remedy="Export the whole score.")
        if len(found) > self.limits.parts:
            raise OverLimit(
                f"has {len(found)} parts; the limit is {self.limits.parts}.",
                where=self.where,
                remedy="Raise it with --max-parts if you trust the file.",
            )
        if not listed:
            self.remarks.append(Remark(where="part list", what="is missing; parts are numbered"))
        positions = {key: n for n, (key, _) in enumerate(listed)}
        found.sort(key=lambda pair: positions.get(pair[0], len(positions)))
        return [(key, names.get(key), measures) for key, measures in found]

    def _turn_timewise(self, root: etree._Element) -> list[tuple[str, list[etree._Element]]]:
        turned: dict[str, list[etree._Element]] = {}
        for measure in root:
            if tag_of(measure) != "measure":
                continue
            for part in measure:
                if tag_of(part) == "part":
                    turned.setdefault(part.get("id") or "", []).append(part)
        return list(turned.items())

    # -- walking one part
    # ---------------------------------------------------------------------------

    def chart(self) -> Chart:
        sources = self._measures_by_part()
        if max(len(measures) for _, _, measures in sources) > self.limits.bars:
            raise OverLimit(
                f"has more than {self.limits.bars:,} bars.",
                where=self.where,
                remedy="Raise it with --max-bars if you trust the file.",
            )
        names = [_names(listed) for _, listed, _ in sources]
        groups = _groups(self.document.root)
        homes = [groups.get(id(listed), "") for _, listed, _ in sources]
        labels = unique_labels([said.name for said in names], homes)
        walked = [self.walker.walk(n, measures) for n, (_, _, measures) in enumerate(sources)]
        bars, signs = self._grid([measures for measures, _ in walked], labels)
        starts = tuple(bar.start for bar in bars)
        read = [
            self._part(n, key, names[n], labels[n], *walked[n], starts)
            for n, (key, _, _) in enumerate(sources)
        ]
        parts = self._seated(
            read,
            [
                _evidence(part, said, group, elements if self.document.has_words else [])
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
        everything = [d for part in parts for d in part.directions]
        return Chart(
            title=self._title(),
            composer=self._creator("composer"),
            arranger=self._creator("arranger"),
            resolution=self.resolution,
            bars=self._named(bars, signs, everything),
            parts=tuple(parts),
            lines=lines,
            second_lines=second_lines_of(parts),
            lyricist=self._creator("lyricist", "poet"),
            rights=self._rights(),
            tempos=_tempos(everything),
            style_words=_style(everything),
            swing=_swing(everything),
            concert=self._concert(parts),
            remarks=tuple(self.remarks),
            _starts=starts,
        )

    # -- the common grid
    # ----------------------------------------------------------------------------

    def _grid(
        self, walked: list[list[Measure]], labels: list[str]
    ) -> tuple[list[Bar], list[BarSigns]]:
        count = max(len(measures) for measures in walked)
        for n, measures in enumerate(walked):
            if len(measures) < count:
                self.remarks.append(
                    Remark(
                        where=labels[n],
                        what=f"has {len(measures)} bars where others have {count}; it "
                        f"is silent after that",
                    )
                )
        bars: list[Bar] = []
        signs: list[BarSigns] = []
        start = 0
        for index in range(count):
            here = [measures[index] for measures in walked if index < len(measures)]
            meter = here[0].meter
            length = self._bar_length(here, first=index == 0)
            sign = BarSigns()
            for measure in here:
                for event in measure.events:
                    if event.note is None and tag_of(event.element) == "barline":
                        read_barline(event.element, sign)
            bars.append(
                Bar(
                    index=index,
                    number=here[0].number or str(index + 1),
                    start=start,
                    length=length,
                    meter=meter,
                )
            )
            signs.append(sign)
            start += length
        return bars, signs

    def _bar_length(self, here: list[Measure], *, first: bool) -> int:
        """How long a bar is: as long as its parts say. Rests never make it longer than its meter,
        and a part that only rests does not lengthen a pick-up (or another irregular bar) that
        others play."""
        nominal = max(1, int(here[0].meter.quarters * self.resolution))
        irregular = first or any(m.implicit for m in here)
        playing = [m for m in here if m.sounding] if irregular else here
        lengths = [max(m.sounding, min(m.content, nominal)) for m in playing or here]
        return max(lengths) or nominal

    def _named(
        self, bars: list[Bar], signs: list[BarSigns], found: list[Direction]
    ) -> tuple[Bar, ...]:
        letters = {d.bar: d.value for d in reversed(found) if d.kind == "rehearsal"}
        open_ending: tuple[str, ...] = ()
        named: list[Bar] = []
        for bar, sign in zip(bars, signs, strict=True):
            if sign.ending_start:
                open_ending = sign.ending_start
            named.append(
                Bar(
                    index=bar.index,
                    number=bar.number,
                    start=bar.start,
                    length=bar.length,
                    meter=bar.meter,
                    rehearsal=letters.get(bar.index, ""),
                    repeat_start=sign.repeat_start,
                    repeat_end=sign.repeat_end,
                    endings=open_ending,
                    double_bar=sign.double_bar,
                )
            )
            if sign.ending_stop:
                open_ending = ()
        return tuple(named)

    # -- one part
    # -----------------------------------------------------------------------------------

    def _part(
        self,
        index: int,
        key: str,
        said: _Names,
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
                    notes.append(self._note(*note, index, n, onset, duration, transposition))
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

    def _seated(self, parts: list[Part], evidence: list[Evidence]) -> list[Part]:
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
        held = [_instruments(part.chair, part.directions, part.transpositions) for part in parts]
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
                octaves = 12 * _whole(child, "octave-change")
                transposition = Transposition(
                    diatonic=_whole(child, "diatonic") + 7 * _whole(child, "octave-change"),
                    chromatic=_whole(child, "chromatic") + octaves,
                )
                transpositions.append((onset, transposition))
            elif tag == "clef" and child.get("number") in (None, "1"):
                sign = _child(child, "sign")
                kind = (sign.text or "G").strip() if sign is not None else "G"
                line = _whole(child, "line")
                clefs.append((onset, kind if kind == "percussion" else f"{kind}{line or ''}"))
            elif tag == "key":
                keys.append((onset, _whole(child, "fifths")))
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

    # -- what stands over the music
    # -----------------------------------------------------------------

    def _title(self) -> str:
        root = self.document.root
        for path in ("{*}movement-title", "{*}work/{*}work-title"):
            found = root.find(path)
            if found is not None and found.text and found.text.strip():
                return " ".join(found.text.split())
        for credit in root.iterfind("{*}credit"):
            words = credit.find("{*}credit-words")
            if words is not None and words.text and words.text.strip():
                return " ".join(words.text.split())
        return writable(self.document.path.stem)

    def _creator(self, *kinds: str) -> str:
        """Who made it, in one of these ways; several people stand in the order of the file."""
        creators = self.document.root.iterfind("{*}identification/{*}creator")
        found = [_plain(e.text) for e in creators if e.get("type") in kinds]
        return ", ".join(dict.fromkeys(filter(None, found))) or ", ".join(self._credits(*kinds))

    def _rights(self) -> tuple[str, ...]:
        rights = self.document.root.iterfind("{*}identification/{*}rights")
        found = [_plain(e.text) for e in rights] or self._credits("rights")
        # a copyright sign alone says nothing
        return tuple(dict.fromkeys(text for text in found if any(c.isalnum() for c in text)))

    def _credits(self, *kinds: str) -> list[str]:
        """What the credits of these types say, for files that name nobody elsewhere."""
        all_credits = self.document.root.iterfind("{*}credit")
        mine = [c for c in all_credits if _plain(c.findtext("{*}credit-type")) in kinds]
        said = [_plain(" ".join(w.text or "" for w in c.iterfind("{*}credit-words"))) for c in mine]
        return list(dict.fromkeys(filter(None, said)))

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


def _child(element: etree._Element, name: str) -> etree._Element | None:
    for child in element:
        if tag_of(child) == name:
            return child
    return None


def _whole_text(element: etree._Element | None, default: int) -> int:
    value = decimal(element.text) if element is not None else None
    return int(value) if value is not None and abs(value) < 10**9 else default


def _whole(element: etree._Element, name: str) -> int:
    return _whole_text(_child(element, name), 0)


class _Names(NamedTuple):
    """What the part list says of a part: name, abbreviation, sound id, General MIDI program
    from 1."""

    name: str = ""
    short: str = ""
    sound: str = ""
    program: int | None = None


def _names(listed: etree._Element | None) -> _Names:
    if listed is None:
        return _Names()
    name, short = (_name_in(_child(listed, tag)) for tag in ("part-name", "part-abbreviation"))
    sound = ""
    program: int | None = None
    for element in listed.iter():
        tag = tag_of(element)
        if tag == "instrument-sound" and not sound:
            sound = (element.text or "").strip()
        elif tag == "midi-program" and program is None:
            program = _whole_text(element, 0) or None
        elif tag == "instrument-name" and not name:
            name = _name_in(element)
    return _Names(name or short, short, sound[:_NAME], program)


def _name_in(element: etree._Element | None) -> str:
    return clean_name(element.text)[:_NAME].strip() if element is not None else ""


def _evidence(part: Part, said: _Names, group: str, measures: list[etree._Element]) -> Evidence:
    """What tells who plays a part. measures: none where nobody sings."""
    clef = part.clefs[0][1] if part.clefs else ""
    return Evidence(
        name=spoken_name(said.name, group),
        abbreviation=said.short,
        group=group,
        sound=said.sound,
        program=said.program,
        transposition=part.transposition_at(0) if part.transpositions else None,
        clef=clef,
        percussion=clef.startswith("percussion"),
        sings=any(next(measure.iter("{*}lyric"), None) is not None for measure in measures),
    )


def _groups(root: etree._Element) -> dict[int, str]:
    """The name of the innermost named group around each score-part, by the `id()` of its
    element."""
    found: dict[int, str] = {}
    opened: dict[str, str] = {}  # by number, in the order of their beginnings
    for element in next(root.iter("{*}part-list"), ()):
        if tag_of(element) == "part-group":
            number = element.get("number") or "1"
            opened.pop(number, None)
            if element.get("type") == "start":
                opened[number] = _name_in(_child(element, "group-name"))
        elif tag_of(element) == "score-part":
            found[id(element)] = next((name for name in reversed(opened.values()) if name), "")
    return found


def _instruments(
    chair: Chair,
    directions: Sequence[Direction],
    transpositions: Sequence[tuple[int, Transposition]],
) -> tuple[tuple[int, Instrument], ...]:
    """What the player of a wind part holds, from tick to tick: by words such as "to Flute", or by a
    change of transposition, named by the last words before it or by none."""
    found = [(0, chair.instrument)]
    if chair.section not in HORNS:
        return tuple(found)
    named = [
        (d.onset, *doubling(d.value, chair.instrument)) for d in directions if d.kind == "words"
    ]
    changes: list[tuple[int, Instrument | None, int]] = [
        (tick, other, 0) for tick, other, demanded in named if other is not None and demanded
    ]
    for (_, before), (tick, after) in pairwise(transpositions):
        if before.chromatic != after.chromatic:
            changes.append((tick, None, after.chromatic))
    for tick, demanded_one, chromatic in sorted(changes, key=lambda change: change[0]):
        other = demanded_one
        if other is None:
            if found[-1][1].transposition.chromatic == chromatic:
                continue  # the words have said so already
            fitting = [
                one
                for at, one, _ in named
                if at <= tick and one is not None and one.transposition.chromatic == chromatic
            ]
            own = (
                chair.instrument if chair.instrument.transposition.chromatic == chromatic else None
            )
            other = (
                fitting[-1]
                if fitting
                else own or replace(UNKNOWN, transposition=Transposition(0, chromatic))
            )
        if other.key != found[-1][1].key:
            found.append((tick, other))
    return tuple(found)


def _tempos(found: Iterable[Direction]) -> tuple[tuple[int, float], ...]:
    """Every metronome mark of any part; where two stand at one place the last part's holds."""
    return tuple(sorted({d.onset: float(d.value) for d in found if d.kind == "metronome"}.items()))


def _style(found: list[Direction]) -> str:
    first = [d for d in found if d.kind == "words" and d.bar <= 1]
    return "; ".join(dict.fromkeys(d.value for d in first))


def _swing(found: list[Direction]) -> bool | None:
    values = [(d.onset, d.value) for d in found if d.kind == "swing"]
    return min(values)[1] != "straight" if values else None


def _plain(text: str | None) -> str:
    return " ".join((text or "").split())
