"""Whether a drawing shows what the file has."""
