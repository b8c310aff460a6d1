"""Bytes to chart."""
