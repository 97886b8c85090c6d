"""The whole daemon under virtual time, its machine simulated: one seed, one trace."""
