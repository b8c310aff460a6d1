"""The version, which stands in every result and file of ours."""

__version__ = "0.1.0"
