"""Recordings of what the guard saw and did: their format, writing, reading, and replaying them."""
