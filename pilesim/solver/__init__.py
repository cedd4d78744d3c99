"""Kernels, time stepping, budgets and the run driver."""
