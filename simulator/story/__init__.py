"""Drills as they are written: what happens, what must come of it, and the names of things."""
