"""A page on the director's own machine to look, listen and decide. What is decided there is in the
plan file at once."""
