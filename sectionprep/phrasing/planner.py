"""The planner: rules propose, the chooser decides, figures that return are phrased alike."""

from __future__ import annotations

import itertools
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import cache

from sectionprep.music.chart import Chart, Tone
from sectionprep.music.marks import ATTACKS, LENGTHS, ORNAMENTS, SLURS
from sectionprep.music.roadmap import leads_elsewhere
from sectionprep.music.section_word import SectionWord
from sectionprep.passages import Together
from sectionprep.phrasing.beside_print import alike, beside_print, carrying, joined, shared_notes
from sectionprep.phrasing.breath import breath_cautions, with_breaths
from sectionprep.phrasing.candidates import Candidate, Span
from sectionprep.phrasing.chooser import Chooser, Option, Shape, pair_cost, shape_of
from sectionprep.phrasing.drafts import (
    Draft,
    Work,
    evidence_of,
    lean_marks,
    marks_of,
    played_length,
)
from sectionprep.phrasing.dynamics import missing_dynamics
from sectionprep.phrasing.figures import (
    agree_on_figures,
    agree_on_hits,
    agree_on_leans,
    agree_on_lengths,
    name_copies,
    struck_together,
)
from sectionprep.phrasing.house import Habit, with_habits
from sectionprep.phrasing.offers import with_offers
from sectionprep.phrasing.plan import Hairpin, PassagePlan, Plan, PlannedNote, Reading
from sectionprep.phrasing.readings import FORCES, LEAST, SAME, WAYS, Way
from sectionprep.phrasing.rules import RULES
from sectionprep.phrasing.styles import Style, choose_style
from sectionprep.phrasing.view import END, LineView, Spot, view_line
from sectionprep.phrasing.weights import weights

PRINTED = ("keep", "prefer", "ignore")
_LEANS = ATTACKS - {"ghost"}
_SOFT_LEANS = _LEANS | {"tenuto"}
_TUTTI = 8  # parts that come in together and are heard as the band; judgement
_LEAP = 5  # semitones: slow notes with wider steps, in any part, are tongued; judgement
_SMALL_TURN = 4  # semitones up and down together; judgement
_PREFERRED = 1.5  # evidence a printed lean counts for under "prefer"; judgement


def plan_passages(
    chart: Chart,
    together: Together,
    *,
    style: str | None = None,
    printed: str = "keep",
    habits: Sequence[Habit] = (),
    readings: bool = True,
) -> Plan:
    """Plan the lead line of every passage. habits: of the house; they come after the rules.
    readings: with other ways to phrase each."""
    chosen, why = choose_style(chart, style)
    words = {passage.id: SectionWord(chart, passage) for passage in together.marked}
    plans = _settled(chart, words, chosen, printed, habits, readings=readings)
    if chosen.cutoffs != "none":
        missing = missing_dynamics(chart, together, chosen)
        plans = [replace(p, dynamics=(missing[p.id],)) if p.id in missing else p for p in plans]
    found = {passage.id for passage in together.passages}
    return Plan(
        style=chosen.name,
        style_why=why,
        passages=tuple(p for p in plans if p.id in found),
        hits=tuple(p for p in plans if p.id not in found),
        printed=printed,
    )


_ROUNDS = 8  # a second one changes little and a third next to nothing; each can only add marks


def _settled(
    chart: Chart,
    words: Mapping[str, SectionWord],
    style: Style,
    printed: str,
    habits: Sequence[Habit],
    *,
    readings: bool,
) -> list[PassagePlan]:
    """The plans of passages that stay as they are when their marks are read back as printed: what
    is planned from a marked score is what was marked."""
    lines = {name: word.line() for name, word in words.items()}
    shared = shared_notes(words)
    elsewhere = leads_elsewhere(chart)
    settled: dict[str, PassagePlan] = {}
    known: dict[Shape, Chooser] = {}
    taken = {
        name: {t.onset for t in line if t.marks - SLURS and printed != "ignore"}
        for name, line in lines.items()
    }
    for _ in range(_ROUNDS):
        desk = [
            _of_section(chart, name, words[name], tones, style, printed, elsewhere)
            for name, tones in lines.items()
            if tones
        ]
        before = [plan.notes for plan in settled.values()]
        # other readings are offered for the line as it was, before our marks stood in it
        fresh_plans = _plan(chart, desk, printed, known, with_readings=readings and not settled)
        for work, plan in zip(desk, fresh_plans, strict=True):
            plan = with_habits(work.view, plan, habits, taken[plan.id])
            plan = replace(plan, second=plan.part in words[plan.id].passage.seconds)
            fresh = beside_print(words[plan.id], plan, printed)
            fresh = joined(settled[plan.id], fresh) if plan.id in settled else fresh
            settled[plan.id] = alike(fresh, words[plan.id], shared.get(plan.id, {}), settled)
            lines[plan.id] = carrying(lines[plan.id], settled[plan.id])
        if before == [plan.notes for plan in settled.values()]:
            break
    return list(settled.values())


def _of_section(
    chart: Chart,
    name: str,
    word: SectionWord,
    tones: Sequence[Tone],
    style: Style,
    printed: str,
    elsewhere: Mapping[int, frozenset[int]],
) -> Work:
    """The line of one passage on the desk, with the parts that play it."""
    passage = word.passage
    tutti = len(passage.parts) >= _TUTTI
    view = view_line(word.chart, tones, style, passage.lead, tutti=tutti, elsewhere=elsewhere)
    section = [word.tones[part] for part in passage.parts]
    return _lay_out(name, passage.lead, view, printed, section)


def plan_line(
    chart: Chart,
    part: int,
    *,
    bars: tuple[int, int] | None = None,
    style: str | None = None,
    printed: str = "keep",
) -> Plan:
    """Plan any single line, passage or not. bars: first and last bar index."""
    chosen, why = choose_style(chart, style)
    tones = [t for t in chart.lines[part] if bars is None or bars[0] <= t.bar <= bars[1]]
    desk = [_lay_out("line", part, view_line(chart, tones, chosen, part), printed)] if tones else []
    return Plan(style=chosen.name, style_why=why, passages=_plan(chart, desk, printed, {}))


def _plan(
    chart: Chart,
    desk: Sequence[Work],
    printed: str,
    known: dict[Shape, Chooser],
    *,
    with_readings: bool = True,
) -> tuple[PassagePlan, ...]:
    """The plans of the lines on the desk, all in one style. known: choosers of phrases, kept from
    round to round."""
    columns = agree_on_figures(desk, share_marks=printed == "keep")
    if printed == "keep":
        agree_on_hits(desk)
    choosers = [_choosers(work.view, known) for work in desk]
    chosen = [
        set(_choose_all(work.view, work.drafts, printed, mine))
        for work, mine in zip(desk, choosers, strict=True)
    ]

    @cache
    def options_of(work: int, phrase: int) -> list[Option]:
        view = desk[work].view
        first, last = view.phrases[phrase]
        return [
            _option(d, printed, view.style.density) for d in desk[work].drafts[first : last + 1]
        ]

    @cache
    def score_with(work: int, phrase: int, leans: tuple[int, ...]) -> float:
        first, _ = desk[work].view.phrases[phrase]
        return choosers[work][first].score(options_of(work, phrase), [k - first for k in leans])

    def score(work: int, leans: set[int], n: int) -> float:
        """Of the phrase that holds note n."""
        phrase = desk[work].view.spots[n].phrase
        first, last = desk[work].view.phrases[phrase]
        return score_with(work, phrase, tuple(k for k in range(first, last + 1) if k in leans))

    open_columns = [
        c
        for c in (*columns, *struck_together(desk))
        if not any(desk[w].view.closes(d.spot) for w, d in c)
    ]
    agree_on_leans(open_columns, chosen, score, lambda draft: _option(draft, printed, 0.0).locked)
    readings = [
        _readings(work, printed, frozenset(leans), mine) if with_readings else ()
        for work, leans, mine in zip(desk, chosen, choosers, strict=True)
    ]
    for work, leans in zip(desk, chosen, strict=True):
        _settle(work, leans)
    agree_on_lengths(columns)
    name_copies(chart, columns, chosen)
    return tuple(
        _finish(chart, work, frozenset(leans), others)
        for work, leans, others in zip(desk, chosen, readings, strict=True)
    )


def _lay_out(
    name: str, part: int, view: LineView, printed: str, section: Sequence[Mapping[int, Tone]] = ()
) -> Work:
    """Let every rule speak about every note."""
    drafts = [
        Draft(
            spot,
            printed=spot.tone.marks - ORNAMENTS if printed != "ignore" else frozenset(),
            soft=_soft(view, spot),
        )
        for spot in view.spots
    ]
    spans: list[Span] = []
    for rule in RULES:
        for said in rule.propose(view):
            if isinstance(said, Candidate):
                drafts[said.spot].said.append(said)
            else:
                spans.append(said)
    for draft in drafts:
        draft.pooled = evidence_of(draft)
    return Work(name, part, view, drafts, spans, section)


def _soft(view: LineView, spot: Spot) -> bool:
    joined = (
        spot.before == 0 and spot.after == 0 and not spot.pushed
    )  # pushes are alike, whatever stands beside them
    return view.style.soft == "all" or (view.style.soft == "joined" and joined)


# -- one line
# -----------------------------------------------------------------------------------------


def _settle(work: Work, chosen: Collection[int]) -> None:
    """Let the rules speak that answer to the notes brought out with a front."""
    drafts = work.drafts
    fronts = frozenset(
        n
        for n in chosen
        if (drafts[n].printed | set(lean_marks(drafts[n]))) & {"accent", "strong-accent"}
    )
    for rule in RULES:
        for said in rule.settle(work.view, fronts) if rule.settle else ():
            drafts[said.spot].said.append(said)


def _notes(work: Work, chosen: Collection[int]) -> list[PlannedNote]:
    """Every note of the line with its weight, marks and slurs."""
    heavy = weights(work.view, [sum(c.weight for c in draft.said) for draft in work.drafts], chosen)
    notes = [_note(work.view, draft, heavy[n], n in chosen) for n, draft in enumerate(work.drafts)]
    return _with_slurs(work.view, notes, work.spans, work.section)


def _finish(
    chart: Chart, work: Work, chosen: frozenset[int], readings: tuple[Reading, ...]
) -> PassagePlan:
    view = work.view
    notes = _explain_losses(view, work.drafts, _notes(work, chosen), chosen)
    notes = with_offers(view, with_breaths(chart, view, notes))
    phrases = tuple((view.spots[a].tone.onset, view.spots[b].tone.end) for a, b in view.phrases)
    return PassagePlan(
        id=work.name,
        part=work.part,
        notes=tuple(notes),
        phrases=phrases,
        hairpins=_hairpins(chart, work, notes),
        readings=readings,
        cautions=breath_cautions(chart, work.part, view, notes),
    )


def _option(draft: Draft, printed: str, density: float) -> Option:
    locked = printed == "keep" and bool(draft.printed & (_SOFT_LEANS if draft.soft else _LEANS))
    evidence = draft.pooled
    if printed == "prefer" and draft.printed & ATTACKS:
        evidence += _PREFERRED
    if printed == "keep" and draft.printed & LENGTHS and not locked:
        evidence -= 0.5  # the note already speaks of its length: one mark is enough
    return Option(
        gain=max(evidence - density, 0.0) if locked else evidence - density, locked=locked
    )


def _choosers(view: LineView, known: dict[Shape, Chooser]) -> dict[int, Chooser]:
    """A chooser for each phrase, by its first note. known: those of phrases seen before."""
    found = {}
    for first, last in view.phrases:
        spots = view.spots[first : last + 1]
        apart = frozenset(n for n, spot in enumerate(spots) if view.closes(spot))
        shape = shape_of(spots, apart)
        if shape not in known:
            known[shape] = Chooser(spots, apart, runs=view.style.cutoffs != "none")
        found[first] = known[shape]
    return found


def _choose_all(
    view: LineView,
    drafts: Sequence[Draft],
    printed: str,
    choosers: dict[int, Chooser],
    density: float = 0.0,
) -> frozenset[int]:
    chosen = {
        n
        for n, draft in enumerate(drafts)
        if view.closes(draft.spot) and _is_stopped(draft, printed)
    }
    for first, last in view.phrases:
        options = [
            _option(d, printed, view.style.density + density) for d in drafts[first : last + 1]
        ]
        _, here = choosers[first].choose(options)
        chosen.update(first + n for n in here)
    return frozenset(chosen)


def _is_stopped(draft: Draft, printed: str) -> bool:
    """The last off-beat eighth before a rest is brought out unless what is printed says something
    else."""
    return (
        printed != "keep" or not draft.printed & (ATTACKS | LENGTHS) or bool(draft.printed & _LEANS)
    )


def _readings(
    work: Work, printed: str, chosen: frozenset[int], choosers: dict[int, Chooser]
) -> tuple[Reading, ...]:
    """Other ways to phrase the line that differ from the plan and from each other, each carried
    through to the last note."""
    found: list[Reading] = []
    known = [chosen]
    for tries in WAYS:
        way = tries[0][1]
        other, why = _other_leans(work, printed, choosers, tries, known)
        if other != chosen:
            known.append(other)
        copy = replace(
            work,
            drafts=[
                replace(d, said=list(d.said), agreed=(), agreed_length="") for d in work.drafts
            ],
        )
        _settle(copy, other)
        found.append(
            Reading(
                name=way.name,
                says=f"{way.says}; {why}" if why else way.says,
                notes=tuple(_notes(copy, other)),
                differs=len(other ^ chosen),
            )
        )
    return tuple(found)


def _other_leans(
    work: Work,
    printed: str,
    choosers: dict[int, Chooser],
    tries: Sequence[tuple[float, Way]],
    known: Sequence[frozenset[int]],
) -> tuple[frozenset[int], str]:
    """The first leans of these tries that are unlike all readings before (else those that differ
    most), and what is to be said of them."""
    best, unlike, said = known[0], 0, SAME
    for force, way in tries:
        other = _bent(work, printed, choosers, way, force, known[0])
        other = other & known[0] if way.within else other
        if not way.closes and force == FORCES[-1]:
            other = frozenset(n for n in other if not _signed_by_habit(work, printed, n))
        differs = min(len(other ^ before) for before in known)
        if differs > unlike and len(other) <= way.most * len(known[0]):
            best, unlike, said = other, differs, way.further
        if unlike >= LEAST:
            break
    return best, said


def _signed_by_habit(work: Work, printed: str, n: int) -> bool:
    """The last off-beat eighth before a rest, whose sign nobody has printed: it is short anyway."""
    draft = work.drafts[n]
    return work.view.closes(draft.spot) and not _option(draft, printed, 0.0).locked


def _bent(
    work: Work,
    printed: str,
    choosers: dict[int, Chooser],
    way: Way,
    force: float,
    chosen: frozenset[int],
) -> frozenset[int]:
    bent = [
        replace(d, pooled=d.pooled + force * bend) if bend else d
        for d in work.drafts
        for bend in (way.bend(work.view, d.spot, chosen),)
    ]
    return _choose_all(work.view, bent, printed, choosers, force * way.price)


# -- one note
# -----------------------------------------------------------------------------------------


def _note(view: LineView, draft: Draft, weight: float, leaned: bool) -> PlannedNote:
    spot = draft.spot
    marks, new = marks_of(draft, view.style.density, leaned=leaned, printed=draft.printed)
    reasons = (
        ["as this figure is marked elsewhere" if draft.borrowed else "printed in the lead"]
        if draft.printed
        else []
    ) + new
    own = spot.tone.marks
    if not reasons:
        heaviest = max(draft.said, key=lambda c: abs(c.weight), default=None)
        reasons = [heaviest.because] if heaviest else ["part of the line"]
    stop = next((c for c in draft.said if c.stop), None)
    open_end = spot.tone.has_fermata or spot.after >= END or bool(marks & {"falloff", "doit"})
    cutoff, release = None, ""
    if stop is not None and not open_end:
        cutoff, release = spot.tone.onset + round(stop.stop * view.quarter), stop.release
        reasons.append(stop.because)
    slurred = any(c.slurred for c in draft.said) and not leaned and not marks & ATTACKS
    return PlannedNote(
        tone=spot.tone,
        weight=round(weight, 3),
        marks=marks | (own & SLURS),
        added=marks - own,
        why="; ".join(dict.fromkeys(reasons)),
        cutoff=cutoff,
        release=release,
        tongued=spot.before > 0 or not (slurred or spot.slur in ("inside", "last")),
        leaned=leaned,
        length=played_length(draft, marks, view.style),
    )


def _explain_losses(
    view: LineView, drafts: Sequence[Draft], notes: list[PlannedNote], chosen: frozenset[int]
) -> list[PlannedNote]:
    """Say of every plain note that had a claim, and of every plain top, what it lost to. A note
    that is marked has its reason."""
    explained = list(notes)
    for n, draft in enumerate(drafts):
        claims = draft.pooled > view.style.density
        if n in chosen or notes[n].marks - SLURS or not (claims or draft.spot.is_top):
            continue
        alike = not claims and evidence_of(draft) > view.style.density
        why = (
            _AS_ELSEWHERE
            if alike
            else _rival(view, n, chosen)
            or (_SATISFIED if claims else _small_top(view, draft.spot, chosen))
        )
        unlike = (
            f"; unlike bar {draft.elsewhere[0]}, whose neighbours differ" if draft.elsewhere else ""
        )
        explained[n] = replace(notes[n], lost=f"left plain: {why}{unlike}")
    return explained


_AS_ELSEWHERE = "this figure is played like its other places, where less speaks for a lean"
_SATISFIED = "the leans around it give the line its direction already"


def _rival(view: LineView, n: int, chosen: frozenset[int]) -> str:
    """Which lean of the phrase stands in the way of this note, and by which pattern."""
    first, last = view.phrases[view.spots[n].phrase]
    worst = (0.0, "")
    for m in range(first, last + 1):
        if m not in chosen or view.closes(view.spots[m]):
            continue
        a, b = sorted((n, m))
        cost, why = pair_cost(
            view.spots[a], view.spots[b], any(view.spots[k].turns for k in range(a + 1, b))
        )
        if why and cost > worst[0]:
            worst = (cost, f"{view.spots[m].tone.head.pitch} beside it has the weight ({why})")
    return worst[1]


def _small_top(view: LineView, spot: Spot, chosen: frozenset[int]) -> str:
    if spot.triplet:
        return "inside a triplet, whose landing has the weight"
    first, last = view.phrases[spot.phrase]
    heavy = [n for n in range(first, last + 1) if n in chosen and not view.closes(view.spots[n])]
    if heavy and spot.rise - spot.ahead > _SMALL_TURN:
        main = min(heavy, key=lambda n: abs(n - spot.index))
        return f"a lesser top; {view.spots[main].tone.head.pitch} near it has the weight"
    return (
        "a small turn on the beat, which the line passes over"
        if spot.on_beat
        else "a small turn, which the line passes over"
    )


def _with_slurs(
    view: LineView,
    notes: list[PlannedNote],
    spans: Sequence[Span],
    section: Sequence[Mapping[int, Tone]],
) -> list[PlannedNote]:
    """The notes with the proposed slurs, longest first, that meet no printed one. section: the
    tones of all parts by onset: a pitch that any of them repeats is tongued by all, and slow notes
    are slurred only if none of them leaps."""
    made = list(notes)
    covered = _covered(notes)
    for span in sorted(
        (span for span in spans if span.kind == "slur"),
        key=lambda span: (span.first - span.last, span.first),
    ):
        if any(n in covered for n in range(span.first, span.last + 1)):
            continue
        ways = [_ways(view, n, section) for n in range(span.first + 1, span.last + 1)]
        if any(view.spots[n].is_held for n in range(span.first, span.last + 1)) and any(
            abs(way) > _LEAP for way in itertools.chain(*ways)
        ):
            continue
        for first, last in _between_repeats(span, ways):
            for n, mark in ((first, "slur-start"), (last, "slur-stop")):
                why = f"{made[n].why}; {span.because}" if made[n].marks else span.because
                made[n] = replace(
                    made[n], marks=made[n].marks | {mark}, added=made[n].added | {mark}, why=why
                )
            covered.update(range(first, last + 1))
    return made


def _ways(view: LineView, n: int, section: Sequence[Mapping[int, Tone]]) -> list[int]:
    """Semitones to this note from the one before it, in the line and in each part that strikes
    both."""
    before, here = view.spots[n - 1].tone.onset, view.spots[n].tone.onset
    return [
        view.spots[n].rise,
        *(
            tones[here].pitch - tones[before].pitch
            for tones in section
            if here in tones and before in tones
        ),
    ]


def _between_repeats(span: Span, ways: Sequence[Sequence[int]]) -> Iterator[tuple[int, int]]:
    """The pieces of a slur between the notes that somebody has to tongue."""
    first = span.first
    for n in range(span.first + 1, span.last + 2):
        if n <= span.last and all(ways[n - span.first - 1]):
            continue
        if n - 1 > first:
            yield first, n - 1
        first = n


def _covered(notes: Sequence[PlannedNote]) -> set[int]:
    covered: set[int] = set()
    depth = 0
    for n, note in enumerate(notes):
        starts, stops = "slur-start" in note.marks, "slur-stop" in note.marks
        if n and note.tone.onset > notes[n - 1].tone.end:
            depth = 0  # a slur that is never closed ends at a rest
        if depth or starts or stops:
            covered.add(n)
        depth = max(0, depth + starts - stops)
    return covered


#: seconds: a shorter crescendo cannot be heard as one, and a shorter diminuendo is what a falling
#: line does anyway; judgements
_SHORTEST_HAIRPIN = {"crescendo": 1.2, "diminuendo": 2.5}


def _hairpins(chart: Chart, work: Work, notes: Sequence[PlannedNote]) -> tuple[Hairpin, ...]:
    """The proposed hairpins that meet no printed hairpin or dynamic of the lead; a breath ends
    one."""
    printed = [d.onset for d in chart.parts[work.part].directions if d.kind in ("wedge", "dynamic")]
    found = []
    for span in work.spans:
        if span.kind not in ("crescendo", "diminuendo"):
            continue
        last = next(
            (n for n in range(span.first, span.last) if "breath-mark" in notes[n].marks), span.last
        )
        start, stop = work.view.spots[span.first].tone.onset, work.view.spots[last].tone.onset
        if chart.seconds(start, stop) < _SHORTEST_HAIRPIN[span.kind]:
            continue
        if not any(start < onset <= stop for onset in printed) and not _inside_printed(
            chart, work.part, start, stop
        ):
            found.append(Hairpin(start=start, stop=stop, kind=span.kind, why=span.because))
    return tuple(found)


def _inside_printed(chart: Chart, part: int, start: int, stop: int) -> bool:
    """True where a printed hairpin of the part runs into this stretch."""
    opened: dict[int, int] = {}
    for sign in chart.parts[part].directions:
        if sign.kind == "wedge" and sign.value in ("crescendo", "diminuendo"):
            opened[sign.number] = sign.onset
        elif (
            sign.kind == "wedge"
            and sign.number in opened
            and opened.pop(sign.number) < stop
            and start < sign.onset
        ):
            return True
    return False
