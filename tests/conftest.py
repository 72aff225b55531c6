"""Tests that need a window are skipped without a display, but fail where CI=true."""

import os

import pytest
from hypothesis import settings

# the first example pays for imports that later ones do not: time is no law here
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")


def pytest_runtest_setup(item: pytest.Item) -> None:
    if item.get_closest_marker("viewer") is None or os.environ.get("DISPLAY"):
        return
    sentence = "needs a window: run under xvfb-run with QT_QPA_PLATFORM=xcb"
    if os.environ.get("CI", "").lower() == "true":
        pytest.fail(sentence, pytrace=False)
    pytest.skip(sentence)
