"""Limits are set once, written down, and stand whatever comes later."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.errors import InputError
from annot.quality import CHARTS, drifted_baseline, from_body, monitored, set_limits

rng = np.random.default_rng(1)
SINGLES = [[float(one)] for one in rng.normal(10, 0.1, 20)]
GROUPS = rng.normal(10, 0.1, (20, 4)).tolist()
KEYS = [f"c{number}" for number in range(20)]
SINGLE, GROUPED = set_limits(SINGLES, members=KEYS), set_limits(GROUPS, members=KEYS)


@given(st.lists(st.floats(5, 15), min_size=1, max_size=30))
def test_what_is_charted_never_moves_the_limits(later):
    chart = monitored([[one] for one in later], SINGLE)[0]
    assert set(chart.lower) == {SINGLE.centre.lower}
    assert set(chart.upper) == {SINGLE.centre.upper}
    assert chart.centre == SINGLE.centre.centre


@pytest.mark.parametrize("limits", [SINGLE, GROUPED])
def test_kept_limits_come_back_the_same(limits):
    assert from_body(json.loads(json.dumps(limits.as_body()))) == limits


@pytest.mark.parametrize("chart", CHARTS)
def test_every_chart_sees_a_large_shift(chart):
    grouped = chart in {"mean", "spread"}
    limits, shift = (GROUPED, 0.6) if grouped else (SINGLE, 0.8)
    values = GROUPS if grouped else SINGLES
    moved = [[one + shift for one in group] for group in values[:3]]
    if chart == "spread":
        moved = [[9.0, 11.0, 9.0, 11.0]]
    charts = monitored([*values[:4], *moved], limits, chart=chart)
    assert any(one.signals for one in charts)


def test_left_out_checks_are_named_and_do_not_count():
    wild = [*SINGLES, [14.0]]
    limits = set_limits(wild, members=[*KEYS, "wild"], left_out=["wild"])
    assert limits.centre == SINGLE.centre
    assert limits.left_out == ("wild",)
    assert set_limits(wild, members=[*KEYS, "wild"]).centre.sigma > SINGLE.centre.sigma


def test_a_corrected_baseline_is_told_and_changes_nothing():
    now = dict(zip(KEYS, SINGLES, strict=True))
    assert drifted_baseline(SINGLE, now) == ""
    now["c3"] = [12.0]
    del now["c5"]
    words = drifted_baseline(SINGLE, now)
    assert words.startswith("2 of 20 baseline checks")
    assert "c3, c5" in words


@pytest.mark.parametrize(
    ("act", "words"),
    [
        (lambda: set_limits(SINGLES[:7], members=KEYS[:7]), "at least 8"),
        (lambda: set_limits(SINGLES, members=KEYS, left_out=["x"]), "no check x"),
        (lambda: set_limits([*SINGLES, [1.0, 2.0]], members=[*KEYS, "x"]), "differ in their"),
        (lambda: monitored(SINGLES, SINGLE, chart="pie"), "no chart 'pie'"),
        (lambda: monitored(SINGLES, SINGLE, chart="mean"), "several readings"),
        (lambda: monitored(GROUPS, GROUPED, chart="moving-range"), "single readings"),
        (lambda: monitored(GROUPS, SINGLE), "another number"),
    ],
)
def test_what_cannot_be_charted_is_refused(act, words):
    with pytest.raises(InputError, match=words):
        act()
