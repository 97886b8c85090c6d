"""What is true of the water and what to do about it: pure functions over frozen values."""
