"""A plant with its own physics, standing where the pins stand, and the drills that disturb it."""
