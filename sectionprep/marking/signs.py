"""Dynamics, hairpins and cut-offs: what stands between the notes spreads like what stands on them."""

from __future__ import annotations

from bisect import bisect_left
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

from sectionprep.music.chart import Direction, Tone
from sectionprep.music.timing import say_beat
from sectionprep.passages import Passage
from sectionprep.phrasing import PassagePlan

if TYPE_CHECKING:
    from sectionprep.marking.marker import Desk


def cutoff_words(desk: Desk, tick: int, release: str) -> str:
    """ "off 3": the beat on which a held note stops (R. Sweum, Assumptions for Jazz Big Band, marks all
    cut-offs by the beat); "off 3, air" where the breath and not the tongue stops it."""
    return f"off {say_beat(desk.chart.place(tick).beat)}" + (", air" if release == "breath" else "")


def _direction(content: str, placement: str, desk: Desk, part: int) -> str:
    staff = "<staff>1</staff>" if desk.chart.parts[part].staves > 1 else ""
    return (f'<direction placement="{placement}"><direction-type>{content}</direction-type>{staff}</direction>')


def words_above(words: str, desk: Desk, part: int) -> str:
    """Small words over the staff, as XML."""
    return _direction(f'<words font-size="9">{escape(words)}</words>', "above", desk, part)


def write_cutoff(desk: Desk, passage: Passage, tone: Tone, part: int, tick: int, release: str) -> None:
    """Write where a held note stops, unless the part says so already."""
    words = cutoff_words(desk, tick, release)
    for sign in desk.chart.parts[part].directions:
        if sign.kind == "words" and sign.onset == tone.onset and sign.value.lower().startswith(("off ", "-")):
            return
    if tone.onset in desk.cutoffs[part]:
        return  # a passage and a hit beside it share this note
    desk.cutoffs[part].add(tone.onset)
    desk.log(part, tone.onset, "cut-off", "not written", words, "held note: everybody stops on this beat", passage.id,
             tone.head.address)
    if desk.writes:
        desk.edits[desk.address(tone.head)].before.append(words_above(words, desk, part))


def _inside(directions: tuple[Direction, ...], kind: str, passage: Passage) -> list[Direction]:
    return [d for d in directions if d.kind == kind and passage.start <= d.onset < passage.end and d.staff == 1]


def propose_dynamics(desk: Desk, passage: Passage, planned: PassagePlan, part: int) -> None:
    """Write the plan's proposals where the part begins, in parentheses, unless the part has a
    dynamic of its own there."""
    chart = desk.chart
    for proposal in planned.dynamics:
        tone = desk.tones[part].get(proposal.tick)
        bar = chart.bar_at(proposal.tick)
        own = any(
            d.kind == "dynamic" and bar.start <= d.onset <= proposal.tick + bar.length
            for d in chart.parts[part].directions
        )
        if tone is None or own or tone.onset in desk.proposed[part]:
            continue
        desk.proposed[part].add(tone.onset)
        desk.log(
            part,
            tone.onset,
            "dynamic",
            "none",
            proposal.value,
            proposal.why,
            passage.id,
            tone.head.address,
        )
        if desk.writes:
            inside = "</direction-type><direction-type>".join(
                (
                    "<words>(</words>",
                    f"<dynamics><{proposal.value}/></dynamics>",
                    "<words>)</words>",
                )
            )
            xml = _direction(inside, "below", desk, part)
            desk.edits[desk.address(tone.head)].before.append(xml)


def spread_dynamics(desk: Desk, passage: Passage, part: int) -> None:
    """Give the part the lead's dynamics at the same places."""
    chart = desk.chart
    lead = chart.parts[passage.lead]
    own = {d.onset: d for d in _inside(chart.parts[part].directions, "dynamic", passage)}
    for sign in _inside(lead.directions, "dynamic", passage):
        here = own.get(sign.onset)
        if here is not None and here.value == sign.value:
            continue
        tone = desk.tones[part].get(sign.onset)
        if tone is None:
            continue
        if here is not None:
            if desk.policy == "add" or here.address < 0 or not here.alone:
                continue
            if desk.writes:
                desk.dropped.add(here.address)
        was = here.value if here else "none"
        desk.log(part, sign.onset, "dynamic", was, sign.value, f"{lead.name} has {sign.value} here", passage.id,
                 tone.head.address)
        if desk.writes:
            known = sign.value.isalpha() and sign.value in _DYNAMICS
            mark = f"<{sign.value}/>" if known else f"<other-dynamics>{escape(sign.value)}</other-dynamics>"
            xml = _direction(f"<dynamics>{mark}</dynamics>", "below", desk, part)
            desk.edits[desk.address(tone.head)].before.append(xml)


_DYNAMICS = frozenset(["p", "pp", "ppp", "pppp", "f", "ff", "fff", "ffff", "mp", "mf", "sf", "sfp", "fp", "rf", "rfz", "sfz", "sffz", "fz", "n", "pf", "sfzp"])


def _hairpins(directions: list[Direction]) -> list[tuple[int, int, str]]:
    """(start, stop, kind) of complete hairpins."""
    open_pins: dict[int, Direction] = {}
    found: list[tuple[int, int, str]] = []
    for sign in directions:
        if sign.value in ("crescendo", "diminuendo"):
            open_pins[sign.number] = sign
        elif sign.value == "stop" and sign.number in open_pins:
            start = open_pins.pop(sign.number)
            found.append((start.onset, sign.onset, start.value))
    return found


def spread_hairpins(desk: Desk, passage: Passage, planned: PassagePlan, part: int) -> None:
    """Give the part the lead's hairpins and the plan's, where it has none overlapping."""
    chart = desk.chart
    lead = chart.parts[passage.lead]
    wedges = [d for d in lead.directions if d.kind == "wedge" and passage.start <= d.onset <= passage.end]
    own = _hairpins([d for d in chart.parts[part].directions if d.kind == "wedge"])
    wanted = [(h.start, h.stop, h.kind, h.why) for h in planned.hairpins]
    if part != passage.lead:
        wanted += [(start, stop, kind, f"{lead.name} has it") for start, stop, kind in _hairpins(wedges)]
    line = chart.lines[part]
    onsets = [tone.onset for tone in line]
    for start, stop, kind, why in sorted(wanted):
        if any(a < stop and start < b for a, b, _ in own):
            continue
        first = desk.tones[part].get(start)
        at = bisect_left(onsets, stop) - 1
        if first is None or at < 0 or line[at].onset < start:
            continue
        desk.log(part, start, "hairpin", "none", f"{kind} to {chart.place(stop)}", why, passage.id, first.head.address)
        if not desk.writes:
            continue
        number = ' number="2"' if any(stop == a or start == b for a, b, _ in own) else ""  # it meets one of the part's own
        desk.edits[desk.address(first.head)].before.append(
            _direction(f'<wedge type="{kind}"{number}/>', "below", desk, part))
        end = _direction(f'<wedge type="stop"{number}/>', "below", desk, part)
        following = desk.tones[part].get(stop)
        if following is not None:
            desk.edits[desk.address(following.head)].before.insert(0, end)
        else:
            desk.edits[line[at].notes[-1].address].after.append(end)
