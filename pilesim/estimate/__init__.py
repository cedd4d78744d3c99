"""Closed-form and steady one-dimensional answers in milliseconds, each with its formula, source and validity."""
