"""One page for each hazard: its rows of the matrix, how it is recognised, what is said of it."""
