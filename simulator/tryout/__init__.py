"""What the try-out needs so that nothing has to be installed: a broker, a phone."""
