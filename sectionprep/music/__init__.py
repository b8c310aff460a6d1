"""The vocabulary: time, pitch, marks, instruments and the chart. Knows nothing of files."""
