"""Copies of the notation made for the engraver; the score itself is never among them."""
