"""The one error of the hydraulics: a sentence for the person who wrote the site file."""

from __future__ import annotations


class HydraulicsError(Exception):
    """Says in a sentence which passage or pump cannot be computed, and why."""
