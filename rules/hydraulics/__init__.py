"""Steady flow through everything water passes on its way: formulas with their ranges and sources."""
