"""Hear a passage flat and shaped: MIDI and sound from the same played notes."""

from sectionprep.outputs.audition.soundfiles import SOUNDS
from sectionprep.outputs.audition.writer import Wish, remarks, write_audition

__all__ = ["SOUNDS", "Wish", "remarks", "write_audition"]
