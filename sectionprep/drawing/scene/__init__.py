"""Drawn lines as ink, with what the engraver cannot draw added."""
