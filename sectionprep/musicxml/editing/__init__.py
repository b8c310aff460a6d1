"""Marks into the bytes, and out again."""
