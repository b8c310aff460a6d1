"""Sheets for players."""
