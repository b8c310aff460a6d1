"""What is told as text, JSON or on the terminal."""
