"""What was given cannot be used."""

from __future__ import annotations


class InputError(Exception):
    """What was given cannot be used; the sentences say what, where, and what would be right."""
