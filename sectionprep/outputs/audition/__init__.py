"""Hear a passage flat and shaped: MIDI and sound from the same played notes."""

from sectionprep.outputs.audition.synth import SOUNDS
from sectionprep.outputs.audition.writer import Wish, write_audition

__all__ = ["SOUNDS", "Wish", "write_audition"]
