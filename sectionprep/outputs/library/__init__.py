"""Many charts at once."""
