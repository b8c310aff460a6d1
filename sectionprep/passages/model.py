"""What the finder says: passages, the groups of every bar, and what deviates inside a passage."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

#: from this confidence on 95 passages in 100 are right (tests/measure_passages.py)
SURE = 0.9
HIT_PARTS = 3  # parts that make a shorter meeting a hit and not chance: judgement
#: between the id of a passage and the number of one of its guests
VISIT = "/"


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviation:
    """A place inside a passage where one part does not do what the group does.

    kind: "pitch" (another note), "missing" (no note where the group strikes), "extra" (a note where
    the group strikes none), "release" (same attack, other length). tick: onset in the chart's
    ticks.
    """

    kind: str
    part: int
    tick: int
    expected: int = 0
    found: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Guest:
    """A part that joins a passage from tick `start` to tick `end`; texture: how it stands to the
    lead. second: the second player on its staff does."""

    part: int
    start: int
    end: int
    texture: str
    second: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Passage:
    """A stretch in which a group of parts moves as one.

    texture: "unison", "octaves" or "soli". start, end: ticks of the first attack and of the last
    release. parts: indices in score order. lead: index of the part the section follows; lead_why
    says why. attacks: ticks at which the group strikes. confidence: 0..1, the chance that it is a
    passage with these members; odds: its evidence against chance, in nats. doubles: groups inside
    the group ("octaves" between alto 1 and bari, say). voicing: a soli's summary. guests: parts
    that join it for four bars or more. seconds: those of its parts that the second player on
    their staff plays (`Chart.read_by`). returns: id of the earlier passage whose figure this one
    repeats, or "".
    """

    id: str
    texture: str
    start: int
    end: int
    parts: tuple[int, ...]
    lead: int
    lead_why: str
    attacks: tuple[int, ...]
    confidence: float
    scope: str
    odds: float = 0.0
    deviations: tuple[Deviation, ...] = ()
    doubles: tuple[tuple[str, tuple[int, ...]], ...] = ()
    octaves: tuple[tuple[int, int], ...] = ()
    voicing: str = ""
    voicings: tuple[tuple[int, str], ...] = ()
    returns: str = ""
    guests: tuple[Guest, ...] = ()
    seconds: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True, kw_only=True)
class BarGroup:
    """Parts that move together in one bar; texture as for passages, or "rhythm" on held and padding
    notes."""

    texture: str
    parts: tuple[int, ...]


#: by part, stretches in ticks: the first tick, and the one after the last
Stretches = Mapping[int, tuple[tuple[int, int], ...]]


def is_in(spans: Stretches, part: int, tick: int) -> bool:
    """True where a tick lies in one of a part's stretches."""
    return any(start <= tick < end for start, end in spans.get(part, ()))


@dataclass(frozen=True, slots=True, kw_only=True)
class Together:
    """All the finder knows: passages in order of time, and for every bar its groups (outer before
    inner).

    hits: what moves together but is too short or too held to be a passage (a lone chord of the
    whole band, a pad); it is not listed as a passage, but it is marked and checked like one.
    """

    passages: tuple[Passage, ...]
    bars: tuple[tuple[BarGroup, ...], ...]
    hits: tuple[Passage, ...] = ()

    @property
    def visits(self) -> tuple[Passage, ...]:
        """Each guest with the lead of the passage that it joins, while it does, as a group of two:
        it gets that passage's marks there, and is held against them. Only of sure passages, and
        not where the guest has hits with others meanwhile, whose marks it has."""
        return tuple(
            visit
            for passage in self.passages
            if passage.confidence >= SURE
            for visit in _visits(passage)
            if not any(
                visit.parts[-1] in hit.parts and hit.start < visit.end and visit.start < hit.end
                for hit in self.hits
            )
        )

    @property
    def apart(self) -> Stretches:
        """Where the second player on a staff has a passage of his own, or joins one, by part."""
        found: dict[int, list[tuple[int, int]]] = {}
        for passage in (*self.marked, *self.visits):
            for part in passage.seconds:
                found.setdefault(part, []).append((passage.start, passage.end))
        return {part: tuple(sorted(spans)) for part, spans in found.items()}

    @property
    def marked(self) -> tuple[Passage, ...]:
        """Everything that has to agree: passages and hits."""
        return self.passages + self.hits


def _visits(passage: Passage) -> Iterator[Passage]:
    for number, guest in enumerate(passage.guests, start=1):
        yield replace(
            passage,
            id=f"{passage.id}{VISIT}{number}",
            texture=guest.texture,
            start=guest.start,
            end=guest.end,
            parts=(passage.lead, guest.part),
            seconds=(passage.seconds & {passage.lead}) | ({guest.part} if guest.second else set()),
            attacks=tuple(tick for tick in passage.attacks if guest.start <= tick < guest.end),
            deviations=(),
            doubles=(),
            octaves=(),
            voicing="",
            voicings=(),
            guests=(),
        )
