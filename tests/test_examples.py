"""The examples in docstrings say what the code does."""

from __future__ import annotations

import doctest
import pkgutil
from importlib import import_module

import pytest

import analytics

WITH_EXAMPLES = [
    name
    for _, name, is_package in pkgutil.walk_packages(analytics.__path__, "analytics.")
    if not is_package and any(case.examples for case in doctest.DocTestFinder().find(import_module(name)))
]


@pytest.mark.parametrize("name", WITH_EXAMPLES)
def test_examples(name: str) -> None:
    assert doctest.testmod(import_module(name)).failed == 0


def test_that_examples_are_found() -> None:
    attempted = sum(doctest.testmod(import_module(name)).attempted for name in WITH_EXAMPLES)
    assert attempted >= 30
