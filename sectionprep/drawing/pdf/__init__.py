"""Ink to PDF."""
