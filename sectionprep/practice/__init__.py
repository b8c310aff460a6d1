"""A folder of pages that each player opens at home: their part, their passages, and sound."""

from sectionprep.practice.folder import Made, practice_folder, write_practice

__all__ = ["Made", "practice_folder", "write_practice"]
