"""sectionprep: one way to phrase a chart, in every part of the section."""

__version__ = "0.1.0"
