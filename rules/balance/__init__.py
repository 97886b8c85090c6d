"""What the water's bookkeeping tells: slow sums of what is added, held against what should be."""
