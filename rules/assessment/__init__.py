"""What `check` computes beyond the figures of a good day: doubt, failures, stops, sight, upkeep."""
