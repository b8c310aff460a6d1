"""The odds that a group of parts moves as one: evidence for every column, in nats.

The group is together: at each column it strikes or it does not, and its members follow, but for a note
dropped or added now and then. It is apart: each member strikes by its own habit (`chance`). The whole
column speaks at once, so seventeen parts on one chord after a silence are together although no two of
them prove it, and running eighths against running eighths prove nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from sectionprep.passages.chance import Chance, Floats
from sectionprep.passages.grid import Grid

#: What members of one group do, of a hundred notes. Judgements from annotated scores and planted
#: charts; halving or doubling any of them moves the measured figures by less than .005.
_DROPPED = 0.04  # a member leaves a note of the group out
_ADDED = 0.05  # a member strikes between the notes of the group, as a share of its own habit
_SAME_LENGTH = 0.9  # a member holds a note as long as the others
_SAME_PITCH = 0.95  # a member of one line has the line's pitch class
_SAME_MOTION = 0.75  # a member of a harmonised line moves the way the others move
_MOTION_BY_CHANCE = 0.4  # two lines move the same way, of up, down and neither


@dataclass(frozen=True, slots=True, kw_only=True)
class Odds:
    """groups x columns, log-likelihood ratios of together against apart. rhythm: onsets; length: of the
    notes struck together; pitch: of one line (pitch classes); motion: of a harmonised line."""

    rhythm: Floats
    length: Floats
    pitch: Floats
    motion: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Evidence:
    """What is the same for all groups: parts x columns, made once per chart. news: the part moves to
    another note there; a note struck again says nothing new about the line."""

    struck: Floats
    strike: Floats
    follows: Floats
    strays: Floats
    alone: Floats
    news: Floats
    by_length: tuple[Floats, ...]
    by_pitch: tuple[Floats, ...]
    by_motion: tuple[Floats, ...]
    chance: Chance


def gather_evidence(grid: Grid, chance: Chance) -> Evidence:
    """Tables that the odds of every group are added up from."""
    struck = grid.struck
    added = np.clip(_ADDED * chance.strike, 1e-4, None)
    moves = _moves(grid)
    return Evidence(
        struck=struck.astype(float),
        strike=chance.strike,
        follows=np.where(struck, np.log(1 - _DROPPED), np.log(_DROPPED)),
        strays=np.where(struck, np.log(added), np.log(1 - added)),
        alone=np.where(struck, np.log(chance.strike), np.log(1 - chance.strike)),
        by_length=_split(chance.length_of, struck, len(chance.lengths)),
        news=(struck & (moves != 0)).astype(float),
        by_pitch=_split(grid.pitch % 12, struck, 12),
        by_motion=_split(np.sign(moves) + 1, struck & (np.abs(moves) < _NO_MOVE), 3),
        chance=chance,
    )


_NO_MOVE = 1000  # stands for the first note of a part, which comes from nowhere


def _split(
    values: NDArray[np.int64], where: NDArray[np.bool_], count: int
) -> tuple[Floats, ...]:
    return tuple((where & (values == value)).astype(float) for value in range(count))


def _moves(grid: Grid) -> NDArray[np.int64]:
    """Semitones from the note before, for every note struck; a repeated note is no news (0)."""
    found = np.zeros(grid.pitch.shape, dtype=np.int64)
    for row, struck in enumerate(grid.struck):
        columns = np.flatnonzero(struck)
        if len(columns):
            pitches = grid.pitch[row, columns]
            found[row, columns[1:]] = np.diff(pitches)
            found[row, columns[0]] = _NO_MOVE
    return found


def odds_of(evidence: Evidence, members: Floats) -> Odds:
    """The odds of many groups. members: groups x parts of 0 and 1, at least two in each."""
    size = members.sum(axis=1, keepdims=True)
    strike = np.clip(members @ evidence.strike / size, 1e-3, 0.999)
    together = np.logaddexp(
        np.log(strike) + members @ evidence.follows, np.log(1 - strike) + members @ evidence.strays
    )
    usual_length = members @ evidence.chance.usual_length / size
    usual_pitch = members @ evidence.chance.usual_pitch / size
    moving = members @ evidence.news > 0
    return Odds(
        rhythm=together - members @ evidence.alone,
        length=_agreement(members, evidence.by_length, usual_length, _SAME_LENGTH),
        pitch=moving * _agreement(members, evidence.by_pitch, usual_pitch, _SAME_PITCH),
        motion=_agreement(
            members, evidence.by_motion, np.full((len(members), 3), _MOTION_BY_CHANCE), _SAME_MOTION
        ),
    )


def _agreement(
    members: Floats, tables: tuple[Floats, ...], usual: Floats, sure: float
) -> Floats:
    """Evidence of one quality of the notes struck: how many share the most frequent value.

    usual: groups x values, how common each value is. The first who has it proves nothing, each other
    weighs log(sure / usual), each who has another value log((1 - sure) / (1 - usual)).
    """
    most = np.zeros((len(members), tables[0].shape[1]))
    total = np.zeros_like(most)
    common = np.full_like(most, 0.5)
    for value, table in enumerate(tables):
        count = members @ table
        total += count
        better = count > most
        most[better] = count[better]
        common = np.where(better, usual[:, value : value + 1], common)
    common = np.clip(common, 0.02, sure)
    agree = np.log(sure / common) * np.maximum(most - 1, 0)
    return np.asarray(agree + np.log((1 - sure) / (1 - np.minimum(common, 0.8))) * (total - most))
