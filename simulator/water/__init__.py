"""The water itself: chambers, passages, pumps, in the plant's own equations."""
