"""Steady flow through all that water passes on its way: formulas, their ranges and sources."""
