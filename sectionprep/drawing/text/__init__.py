"""Fonts, lettering and its frames."""
