"""Studies over many runs."""
