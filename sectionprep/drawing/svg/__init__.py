"""Ink to SVG, for pages in a browser."""
