"""The examples in the docstrings of the formulas are run as they stand."""

from __future__ import annotations

import doctest
import importlib

import pytest

MODULES = ("drains", "fittings", "friction", "partfull", "valves", "water", "weir")


@pytest.mark.parametrize("name", MODULES)
def test_docstring_examples_hold(name):
    """Each of these modules has at least one, and all give what they say."""
    found = doctest.testmod(importlib.import_module(f"rules.hydraulics.{name}"))
    assert found.attempted > 0
    assert found.failed == 0
