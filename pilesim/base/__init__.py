"""Foundations: errors, units door, sources and the constants registry."""
