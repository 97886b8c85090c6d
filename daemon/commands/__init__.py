"""One module a command; here, and nowhere else, the daemon and the simulator are put together."""
