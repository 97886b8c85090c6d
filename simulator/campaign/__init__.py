"""Thousands of nights, drawn at random, played and counted."""
