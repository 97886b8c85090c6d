"""The running process: pins, tick, outputs, broker link, command line."""
