"""Settings for all tests: generated cases are the same in every run, and never judged by time."""

from __future__ import annotations

from hypothesis import settings

settings.register_profile("weirkeeper", deadline=None, derandomize=True)
settings.load_profile("weirkeeper")
