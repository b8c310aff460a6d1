"""Dynamics and cut-offs: what stands between the notes spreads like what stands on them."""

from __future__ import annotations

from fractions import Fraction
from xml.sax.saxutils import escape

from sectionprep.marking.desk import Desk, Job, removable
from sectionprep.music.notes import Tone
from sectionprep.music.timing import say_beat


def cutoff_words(desk: Desk, tick: int, release: str) -> str:
    """ "off 3": the beat on which a held note stops (R. Sweum, Assumptions for Jazz Big Band, marks
    all cut-offs by the beat); "off 3, air" where the breath and not the tongue stops it."""
    return f"off {say_beat(desk.chart.place(tick).beat)}" + (", air" if release == "breath" else "")


def direction(content: str, placement: str, desk: Desk, part: int) -> str:
    """A sign between the notes, as XML."""
    staff = "<staff>1</staff>" if desk.chart.parts[part].staves > 1 else ""
    return (
        f"<direction "
        f'placement="{placement}"><direction-type>{content}</direction-type>{staff}</direction>'
    )


def words_above(words: str, desk: Desk, part: int) -> str:
    """Small words over the staff, as XML."""
    return direction(f'<words font-size="9">{escape(words)}</words>', "above", desk, part)


def write_cutoff(job: Job, tone: Tone, tick: int, release: str) -> None:
    """Write where a held note stops, over the place where it stops, unless the part says so
    already: in words, or by a rest that begins there."""
    desk = job.desk
    if tick == tone.end and tick not in job.tones:
        return
    words = cutoff_words(desk, tick, release)
    for sign in desk.chart.signs(job.part, "words", tone.onset, tick + 1):
        if sign.value.lower().startswith(("off ", "-")):
            return
    if not desk.first_to_speak("cut-off", job.part, tick):
        return
    job.log(
        tick,
        "cut-off",
        "not written",
        words,
        "held note: everybody stops on this beat",
        address=tone.head.address,
    )
    if desk.writes:
        _write_at(job, tone, tick, words_above(words, desk, job.part))


def _write_at(job: Job, tone: Tone, tick: int, sign: str) -> None:
    """Write a sign at a place inside a tone, or at its end, where another begins."""
    desk = job.desk
    if tick == tone.end:
        desk.edits[desk.front(job.tones[tick].head)].before.append(sign)
        return
    note = next(note for note in reversed(tone.notes) if note.onset <= tick)
    edit = desk.edits[desk.front(note)]
    if note.onset == tick:
        edit.before.append(sign)
    else:
        edit.inside.append((Fraction(tick - note.onset, note.duration), sign))


def decided_dynamics(job: Job) -> None:
    """Write what the director has asked for, in place of what the part has there."""
    desk = job.desk
    for sign in job.planned.dynamics:
        if not sign.decided:
            continue
        tone = job.tones.get(sign.tick)
        if tone is None:
            why = f"{sign.value} not written: this part has no note there"
            job.log(sign.tick, "left", "", "", why, applied=False)
            continue
        own = desk.chart.signs(job.part, "dynamic", sign.tick, sign.tick + 1)
        has = " ".join(one.value for one in own)
        if not desk.first_to_speak("dynamic", job.part, tone.onset) or has == sign.value:
            continue
        if not removable(own):
            why = f"{sign.value} not written: {has} stands there among other signs"
            job.log(sign.tick, "left", "", "", why, applied=False)
            continue
        desk.drop(own)
        address = tone.head.address
        job.log(
            tone.onset, "dynamic", has or "none", sign.value, sign.why, address=address, taken=has
        )
        _put(job, tone, f"<dynamics><{sign.value}/></dynamics>")


def propose_dynamics(job: Job) -> None:
    """Write the plan's proposals where the part begins, in parentheses, unless the part has a
    dynamic of its own there."""
    desk = job.desk
    for proposal in job.planned.dynamics:
        if proposal.decided:
            continue
        tone = job.tones.get(proposal.tick)
        bar = desk.chart.bar_at(proposal.tick)
        own = desk.chart.signs(job.part, "dynamic", bar.start, proposal.tick + bar.length + 1)
        if tone is None or own or not desk.first_to_speak("dynamic", job.part, tone.onset):
            continue
        if not desk.first_to_speak("proposed dynamic", job.part, bar.index):
            continue  # two players on a staff need one
        address = tone.head.address
        job.log(tone.onset, "dynamic", "none", proposal.value, proposal.why, address=address)
        pieces = (
            "<words>(</words>",
            f"<dynamics><{proposal.value}/></dynamics>",
            "<words>)</words>",
        )
        _put(job, tone, "</direction-type><direction-type>".join(pieces))


def _put(job: Job, tone: Tone, signs: str) -> None:
    """Write a dynamic before a note."""
    desk = job.desk
    if desk.writes:
        xml = direction(signs, _side_of_dynamics(job), desk, job.part)
        desk.edits[desk.front(tone.head)].before.append(xml)


def _side_of_dynamics(job: Job) -> str:
    """Under the staff, and over it for voices, whose words stand under it (common practice, no
    source)."""
    voice = job.desk.chart.parts[job.part].chair.section == "voices"
    return "above" if voice else "below"


def spread_dynamics(job: Job) -> None:
    """Give the part the dynamics that hold in the section, at the same places, but where the
    director wants another."""
    decided = {sign.tick for sign in job.planned.dynamics if sign.decided}
    for tick, printed in job.word.dynamics().items():
        if tick in decided:
            continue
        value, has, tone = (
            job.word.dynamic(tick, printed),
            printed.get(job.part),
            job.tones.get(tick),
        )
        if value is None or value == has or tone is None:
            continue
        if has is None and _stands_beside(job, tone, value):
            continue
        if has is None or _replaced(job, tick, printed, tone):
            _write(job, tone, value, has)


def _stands_beside(job: Job, tone: Tone, value: str) -> bool:
    """Whether the dynamic is printed a little beside its note, where no other note begins: many
    programs let it hang there by an offset, where somebody dragged it."""
    near = job.desk.chart.resolution // 2
    first, last = tone.onset - near, min(tone.end, tone.onset + near)
    own = job.desk.chart.signs(job.part, "dynamic", first, last)
    before = [tick for tick in job.tones if first <= tick < tone.onset]
    return any(sign.value == value and sign.onset > max(before, default=-1) for sign in own)


def _replaced(job: Job, tick: int, printed: dict[int, str], tone: Tone) -> bool:
    """Take out what the part has here; False where it stays."""
    own = job.desk.chart.signs(job.part, "dynamic", tick, tick + 1)
    if not removable(own) or not job.may_go(
        outvoted=job.word.dynamic_outvoted(tick, printed, job.part)
    ):
        return False
    job.desk.drop(own)
    return True


def _write(job: Job, tone: Tone, value: str, has: str | None) -> None:
    desk = job.desk
    if not desk.first_to_speak("dynamic", job.part, tone.onset):
        return
    who = "most of the section" if job.is_lead else job.lead_name
    job.log(
        tone.onset,
        "dynamic",
        has or "none",
        value,
        f"{who} has {value} here",
        address=tone.head.address,
        taken=has or "",
    )
    elements = "".join(f"<{name}/>" for name in value.split())
    _put(job, tone, f"<dynamics>{elements}</dynamics>")
