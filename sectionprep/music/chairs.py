"""From what a file says of its parts to the players who sit there.

The name decides. What it leaves open ("Alto": a saxophone or a singer?) is settled by what else the
file says of the part, best evidence first, then by its company; where all are silent the likeliest
is taken, not surely.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

from sectionprep.music.instruments import HORNS, UNKNOWN, Chair, Instrument, instrument, instruments
from sectionprep.music.part_names import Said, exactly, read_name, section_named
from sectionprep.music.pitch import CONCERT, Transposition


@dataclass(frozen=True, slots=True, kw_only=True)
class Clues:
    """All that a file says of a part, as far as it tells who plays it. group: of the part list.
    sound: id of MusicXML. program: General MIDI, from 1. clef: the first, as sign and line.
    sings: it has words. percussion: it stands on such a staff."""

    name: str
    abbreviation: str = ""
    group: str = ""
    sound: str = ""
    program: int | None = None
    transposition: Transposition | None = None
    clef: str = ""
    sings: bool = False
    percussion: bool = False


def recognise(evidence: Clues) -> Chair:
    """The chair of one part that is looked at by itself."""
    return recognise_all([evidence])[0]


def recognise_all(parts: Sequence[Clues]) -> list[Chair]:
    """The chairs of all parts of a chart, in score order."""
    said = [_said(part) for part in parts]
    found = [_by_itself(part, names) for part, names in zip(parts, said, strict=True)]
    company = _company([chair for chair in found if chair is not None], said)
    chairs: list[Chair] = []
    for part, names, chair in zip(parts, said, found, strict=True):
        if chair is None:
            chair = _in_company(names, company, chairs[-1] if chairs else None)
        chairs.append(
            _as_built(
                replace(chair, number=(names.numbers or (0,))[0], numbers=names.numbers),
                part,
                names,
            )
        )
    return chairs


_ANY_SAX = "wind.reed.saxophone"  # the sound id of no saxophone in particular


def _said(part: Clues) -> Said:
    name = read_name(part.name)
    short = read_name(part.abbreviation)
    numbers = name.numbers or short.numbers
    if not (name.keys or short.keys) and part.sound == _ANY_SAX:
        short = read_name("sax")
    return replace(name if name.keys else short, numbers=numbers)


# -- one part by itself --------------------------------------------------------------------------

#: choir aahs, voice oohs, synth voice (General MIDI 1, counted from 1)
_VOCAL_PROGRAMS = (53, 54, 55)


def _by_itself(part: Clues, said: Said) -> Chair | None:
    """The chair as far as name and evidence settle it; None where the company must."""
    if not said.keys:
        return _nameless(part)
    could = [instrument(key) for key in said.keys]
    if len(could) == 1:
        return Chair(instrument=could[0], why="part name", other=_disagrees(part, could[0]))
    for why, fits in _EVIDENCE:
        found = [one for one in could if fits(part, said, one)]
        if found:
            return Chair(instrument=found[0], why=f"part name and {why}")
    return None


def _is_usual_of(part: Clues, _said: Said, one: Instrument) -> bool:
    has = part.transposition.chromatic if part.transposition is not None else 0
    return bool(has) and has == one.transposition.chromatic


def _transposes_as(part: Clues, said: Said, one: Instrument) -> bool:
    built = {one.transposition.chromatic, *one.pitches}
    if part.transposition is not None and part.transposition.chromatic:
        return part.transposition.chromatic in built
    return said.pitch is not None and any(
        pitch and (pitch - said.pitch[0]) % 12 == 0 for pitch in built
    )


def _nearly_transposes_as(part: Clues, _said: Said, one: Instrument) -> bool:
    has = part.transposition.chromatic if part.transposition is not None else 0
    return bool(has % 12) and any(
        (pitch - has) % 12 == 0 for pitch in {one.transposition.chromatic, *one.pitches}
    )


def _has_sound(part: Clues, _said: Said, one: Instrument) -> bool:
    return bool(part.sound) and (
        _by_sound(part.sound) == one
        or (one.section == "voices" and part.sound.startswith("voice."))
    )


def _sings(part: Clues, _said: Said, one: Instrument) -> bool:
    return part.sings and one.section == "voices"


def _sits_in(part: Clues, _said: Said, one: Instrument) -> bool:
    section = section_named(part.group)
    return bool(section) and (
        one.section == section or (section == "strings" and one.key == "bass")
    )


def _has_program(part: Clues, _said: Said, one: Instrument) -> bool:
    return part.program in (_VOCAL_PROGRAMS if one.section == "voices" else one.programs)


def _has_rare_clef(part: Clues, _said: Said, one: Instrument) -> bool:
    return part.clef == one.clef and part.clef.startswith("C")


def _reads_rare_clef(part: Clues, _said: Said, one: Instrument) -> bool:
    return part.clef in one.also and part.clef.startswith("C")


#: what settles an open name, best first; each with the words that say so
_EVIDENCE: tuple[tuple[str, Callable[[Clues, Said, Instrument], bool]], ...] = (
    ("transposition", _is_usual_of),
    ("transposition", _transposes_as),
    ("transposition", _nearly_transposes_as),
    ("sound id", _has_sound),
    ("words", _sings),
    ("group", _sits_in),
    ("MIDI program", _has_program),
    ("clef", _has_rare_clef),
    ("clef", _reads_rare_clef),
)


def _nameless(part: Clues) -> Chair:
    """A part whose names say nothing."""
    found = _by_sound(part.sound)
    if found is not None:
        return Chair(instrument=found, why="sound id")
    if part.percussion:
        return Chair(instrument=instrument("drums"), why="percussion staff")
    if part.sings:
        return Chair(instrument=instrument("voice"), why="words")
    found = next((one for one in instruments() if part.program in one.programs), None)
    if found is not None:
        return Chair(instrument=found, sure=False, why="MIDI program")
    return Chair(
        instrument=replace(UNKNOWN, transposition=part.transposition or CONCERT),
        sure=False,
        why="no instrument recognised",
    )


def _by_sound(sound: str) -> Instrument | None:
    """The instrument whose sound id is this one or begins it, the longest first."""
    fitting = [
        (len(known), one)
        for one in instruments()
        for known in one.sounds
        if sound == known or sound.startswith(f"{known}.")
    ]
    return max(fitting, key=lambda fit: fit[0])[1] if fitting else None


def _disagrees(part: Clues, named: Instrument) -> str:
    """What the sound id takes a clearly named part for, where that is quite another instrument."""
    heard = _by_sound(part.sound)
    if heard is None or heard.key == named.key or heard.section == named.section == "voices":
        return ""
    known = {sound.split(".")[0] for sound in named.sounds}
    if (
        heard.sounds[0] in known
        or not named.sounds
        or heard.section == named.section == "percussion"
    ):
        return ""  # a kind as broad as "drum"
    return heard.key


# -- company -------------------------------------------------------------------------------------

_RANGES = {"soprano-voice": "s", "mezzo-voice": "s", "alto-voice": "a", "tenor-voice": "t"}


def _company(settled: Sequence[Chair], said: Iterable[Said]) -> str:
    """Among whom the parts sit that may be singers: "band", "voices", or nobody in particular."""
    if any(
        chair.instrument.section == "saxes" or chair.instrument.key == "drums" for chair in settled
    ):
        return "band"
    ranges = {_RANGES[chair.instrument.key] for chair in settled if chair.instrument.key in _RANGES}
    for names in said:
        ranges |= {_RANGES[key] for key in names.keys if key in _RANGES and len(names.keys) > 1}
    choir = any(chair.instrument.section == "voices" for chair in settled)
    if len(ranges) == 3:
        return "voices"
    if any(chair.instrument.section in ("trumpets", "trombones") for chair in settled):
        return "band"
    return "voices" if choir and ranges else ""


def _in_company(said: Said, company: str, above: Chair | None) -> Chair:
    could = [instrument(key) for key in said.keys]
    if (
        "bass" in said.keys
        and above is not None
        and above.instrument.key in ("cello", "piano", "guitar")
    ):
        return Chair(instrument=instrument("bass"), why="part name and its neighbour")
    if company == "voices":
        singer = next((one for one in could if one.section == "voices"), None)
        if singer is not None:
            return Chair(instrument=singer, why="part name among singers")
    if company == "band":
        return Chair(
            instrument=could[0],
            why="part name in a band",
            sure=len({one.key for one in could}) == 1 or _one_sax(could),
        )
    return Chair(instrument=could[0], why="part name alone", sure=False)


def _one_sax(could: Sequence[Instrument]) -> bool:
    """A name that means one saxophone or something quite different is clear in a band; "Sax" or
    "Reed" is not."""
    return could[0].section != "woodwinds" and sum(one.section == "saxes" for one in could[:3]) <= 1


# -- the key it is built in ----------------------------------------------------------------------


def _as_built(chair: Chair, part: Clues, said: Said) -> Chair:
    """The chair with the instrument in the key that its name says ("Clarinet in A")."""
    one = chair.instrument
    if said.pitch is None or not one.pitches:
        return chair
    semitone, step = said.pitch
    if (
        semitone == 10
        and part.transposition is not None
        and part.transposition.chromatic % 12 == 11
    ):
        semitone = 11  # "in B" of a file that means B natural
    fitting = [pitch for pitch in one.pitches if (pitch - semitone) % 12 == 0]
    if not fitting:
        return chair
    has = part.transposition.chromatic if part.transposition is not None else None
    if not one.transposition.chromatic and has not in fitting:
        return chair  # a tuba in F, a trombone in Bb: built so, but written as it sounds
    chromatic = (
        has
        if has in fitting
        else min(fitting, key=lambda pitch: abs(pitch - one.transposition.chromatic))
    )
    if chromatic == one.transposition.chromatic:
        return chair
    transposition = Transposition(step + 7 * ((chromatic - semitone) // 12), chromatic)
    return replace(chair, instrument=replace(one, transposition=transposition))


# -- words over the music ------------------------------------------------------------------------


_DEMAND = re.compile(
    r"^\W*(?:(?:back|return)\s+)?(?:to|take|switch to|change to|pick up|muta in)\s+(?:the\s+)?",
    re.IGNORECASE,
)
_OWN = frozenset({"sax", "saxophone", "sx", "horn"})


def doubling(words: str, own: Instrument) -> tuple[Instrument | None, bool]:
    """The wind instrument that words over a part name, and whether they tell the player to take
    it up ("to Flute") or only name it ("Flute", which may be the label of a cue). (None, False)
    for other words. own: the chair's instrument, which "back to Sax" or its bare name tells the
    player to take up again."""
    plain = re.split(r"[(/,]", " ".join(words.split()))[0]
    demanded = _DEMAND.match(plain) is not None
    name = _DEMAND.sub("", plain).strip(" .").lower()
    if demanded and name in _OWN:
        return own, True
    keys = exactly(name) if demanded or len(name) > 2 else ()
    winds = [key for key in keys if instrument(key).section in HORNS]
    if not winds:
        return None, False
    found = own.key if own.key in winds else winds[0]
    return (own if found == own.key else instrument(found)), found == own.key or demanded
