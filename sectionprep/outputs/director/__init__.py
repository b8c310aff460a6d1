"""The director's pages."""
