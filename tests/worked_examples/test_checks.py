"""The list of worked examples: every one is used, says how it is known, and how near to come."""

import re

import pytest

from tests.worked_examples.checks import FILE, as_printed, check, names

TESTS = FILE.parents[1]


def used() -> set[str]:
    text = "".join(path.read_text(encoding="utf-8") for path in TESTS.rglob("test_*.py"))
    return set(re.findall(r'@with_check\("([^"]+)"\)', text))


def test_every_example_is_used_by_a_test():
    assert used() == set(names())


@pytest.mark.parametrize("name", names())
def test_every_example_has_source_mark_and_tolerance(name):
    one = check(name)
    assert one["source"]
    assert re.search("seen|memory|run only", one["mark"])
    assert one["tolerance"]
    assert one["inputs"]
    assert one["expected"]


def test_printed_figures_are_compared_by_their_own_digits():
    assert as_printed(0.0712, "0.071")
    assert not as_printed(0.0716, "0.071")
    assert as_printed(50_000_838.4, "50 000 838")
    assert not as_printed(50_000_839.0, "50 000 838")
