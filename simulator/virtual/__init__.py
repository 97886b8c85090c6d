"""The whole daemon under virtual time: its machine, broker and disk simulated, one seed, one trace."""
