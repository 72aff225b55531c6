"""Worked examples of the standards as data: figures, how each is known, and how near to come.

`uncertainty_checks.json` holds them. A test that uses one carries its mark in its own name, so
that a run with -v prints whether the printed figure was seen, is from memory, or is only a run.
"""

import functools
import json
from pathlib import Path
from typing import Any

import pytest

FILE = Path(__file__).with_name("uncertainty_checks.json")


@functools.cache
def _all() -> dict[str, dict[str, Any]]:
    return json.loads(FILE.read_text(encoding="utf-8"))["checks"]


def names() -> list[str]:
    """Return the names of all examples."""
    return sorted(_all())


def check(name: str) -> dict[str, Any]:
    """Return one example."""
    return _all()[name]


def marked(name: str) -> Any:
    """Return the example as a pytest parameter that shows its mark."""
    one = check(name)
    return pytest.param(one, id=f"{name}: {one['source']} [{one['mark']}]")


def with_check(name: str) -> Any:
    """Run a test with one example as its argument `example`."""
    return pytest.mark.parametrize("example", [marked(name)])


def as_printed(value: float, printed: str, *, slack: float = 1.0) -> bool:
    """Whether a value is within half a unit of the last printed digit (times `slack`)."""
    digits = printed.replace(" ", "")
    places = len(digits.partition(".")[2])
    return abs(value - float(digits)) <= 0.5 * slack * 10.0**-places + 1e-12
