"""Hear a passage flat and shaped: MIDI and sound from the same played notes."""

from sectionprep.outputs.audition.writer import Wish, write_audition

__all__ = ["Wish", "write_audition"]
