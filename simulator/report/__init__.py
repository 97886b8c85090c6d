"""Drills on paper: one page a drill and an index, drawn by ourselves, to read without a network."""
