"""What a check of the site file found."""

from __future__ import annotations

Finding = tuple[str, str, str]
"""Table, key, sentence."""
