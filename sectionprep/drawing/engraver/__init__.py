"""The engraver: its processes, its notation, and how wide bars are."""
