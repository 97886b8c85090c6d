"""Signals held against each other, against what the plumbing allows, and against their own past."""
