"""Measures of a run: compliance with the chosen rule, edges, air."""
