"""What levels and flows tell of the drains: how much of the main one is left, and what it lost."""
