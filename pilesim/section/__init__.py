"""Geometry: outline, grid and discrete operators, without physics."""
