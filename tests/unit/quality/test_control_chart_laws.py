"""Laws of control charts, and what they refuse."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.errors import InputError
from annot.quality import (
    cumulative_sums_chart,
    gauge_study,
    gauge_study_of_ranges,
    individuals_chart,
    limits_of_individuals,
    limits_of_moving_range,
    limits_of_subgroups,
    moving_range_chart,
    run_length_of_limits,
    run_length_of_sums,
    run_length_of_weighted_means,
    stated_limits,
    subgroup_charts,
    weighted_means_chart,
)

UNIT = stated_limits(centre=0, sigma=1)
series = st.lists(st.floats(-2.5, 2.5), min_size=2, max_size=30)


@given(series, st.floats(-50, 50), st.floats(0.1, 20))
def test_signals_do_not_depend_on_the_unit(values, shift, factor):
    row = np.round(np.array(values), 3)
    moved = individuals_chart(
        row * factor + shift, stated_limits(centre=shift, sigma=factor), rules=False
    )
    assert moved.signals == individuals_chart(row, UNIT, rules=False).signals


@given(series)
def test_later_points_never_change_what_was_said_before(values):
    whole = individuals_chart(values, UNIT)
    part = individuals_chart(values[:-1], UNIT)
    before = [one for one in whole.signals if one.point < len(values) - 1]
    assert before == list(part.signals)


@given(series)
def test_the_lower_sums_are_the_upper_sums_of_the_mirrored_values(values):
    upper, lower = cumulative_sums_chart(values, target=0, allowance=0.5, decision=4)
    mirrored, _ = cumulative_sums_chart(
        [-value for value in values], target=0, allowance=0.5, decision=4
    )
    assert lower.points == mirrored.points
    assert min(upper.points) >= 0


def test_a_weight_of_one_charts_the_values_themselves():
    values = [0.3, -1.2, 2.0]
    chart = weighted_means_chart(values, UNIT, weight=1.0)
    assert chart.points == pytest.approx(values)
    assert chart.upper == pytest.approx((3.0, 3.0, 3.0))


def test_early_limits_are_narrower_and_end_settled():
    chart = weighted_means_chart(np.zeros(80), UNIT, weight=0.2)
    settled = weighted_means_chart(np.zeros(80), UNIT, weight=0.2, settled=True)
    assert chart.upper[0] == pytest.approx(3 * 0.2)
    assert np.all(np.diff(chart.upper) >= 0)
    assert chart.upper[-1] == pytest.approx(settled.upper[0])


@pytest.mark.parametrize(
    ("values", "rule", "point"),
    [
        ([0, 0, 3.2], "beyond a limit", 2),
        ([0, 2.1, 0, 2.2], "two of three beyond two sigma on one side", 3),
        ([1.2, 1.3, 0, 1.1, 1.5], "four of five beyond one sigma on one side", 4),
        ([-0.1] * 8, "eight in a row on one side", 7),
    ],
)
def test_each_run_rule_speaks_at_the_first_point_it_can(values, rule, point):
    chart = individuals_chart(values, UNIT)
    assert [(one.point, one.rule) for one in chart.signals] == [(point, rule)]


def test_two_far_points_on_opposite_sides_are_no_run():
    assert individuals_chart([2.1, -2.1, 0.3], UNIT).in_control


def test_sigma_is_recovered_from_a_long_baseline():
    rng = np.random.default_rng(1)
    values = rng.normal(20, 0.4, 20000)
    assert limits_of_individuals(values).sigma == pytest.approx(0.4, rel=0.02)
    means, spreads = limits_of_subgroups(values.reshape(-1, 5).tolist())
    assert means.sigma == pytest.approx(0.4 / math.sqrt(5), rel=0.02)
    assert spreads.centre == pytest.approx(0.4 * 0.94, rel=0.02)


def test_a_jump_within_a_series_shows_in_the_moving_range():
    rng = np.random.default_rng(2)
    baseline = rng.normal(0, 1, 200)
    chart = moving_range_chart([0.1, 0.2, 9.0], limits_of_moving_range(baseline))
    assert [one.point for one in chart.signals] == [1]


def test_subgroups_out_of_place_and_out_of_spread_are_told_apart():
    rng = np.random.default_rng(3)
    limits = limits_of_subgroups(rng.normal(0, 1, (40, 5)).tolist())
    moved, wide = rng.normal(3, 1, 5), np.array([-6.0, 6.0, -6.0, 6.0, 0.0])
    means, spreads = subgroup_charts([moved.tolist(), wide.tolist()], limits)
    assert {one.point for one in means.signals if one.rule == "beyond a limit"} == {0}
    assert {one.point for one in spreads.signals} == {1}


def test_theory_of_run_lengths_against_simulation():
    """A shift of one sigma, 1,500 runs each of 200 values: no run is cut off at this rate."""
    rng = np.random.default_rng(4)
    sums, means = [], []
    for values in rng.normal(1.0, 1.0, (1500, 200)):
        upper, _ = cumulative_sums_chart(values, target=0, allowance=0.5, decision=5)
        sums.append(upper.signals[0].point + 1)
        chart = weighted_means_chart(values, UNIT, weight=0.1, width=2.814, settled=True)
        means.append(chart.signals[0].point + 1)
    assert np.mean(sums) == pytest.approx(run_length_of_sums(1, two_sided=False), rel=0.05)
    expected = run_length_of_weighted_means(1, weight=0.1, width=2.814)
    assert np.mean(means) == pytest.approx(expected, rel=0.05)


@given(st.floats(0, 3))
def test_a_larger_shift_is_never_found_later(shift):
    for length in (run_length_of_limits, run_length_of_sums, run_length_of_weighted_means):
        assert length(shift + 0.1) <= length(shift) * (1 + 1e-9)


def test_a_gauge_without_persons_or_noise_shows_none():
    objects = np.array([1.0, 2.0, 4.0])[:, None, None] + np.zeros((3, 2, 2))
    assert gauge_study_of_ranges(objects).gauge == 0
    assert gauge_study_of_ranges(objects).distinct_classes == math.inf


@pytest.mark.parametrize(
    ("act", "words"),
    [
        (lambda: limits_of_individuals([1.0]), "at least 2"),
        (lambda: limits_of_individuals([1.0, 1.0]), "never changes"),
        (lambda: limits_of_individuals([1.0, math.nan]), "finite"),
        (lambda: limits_of_subgroups([[1.0, 2.0], [1.0]]), "one common size"),
        (lambda: limits_of_subgroups([[1.0, 1.0], [2.0, 2.0]]), "never change"),
        (lambda: stated_limits(centre=0, sigma=0), "positive sigma"),
        (lambda: weighted_means_chart([1.0], UNIT, weight=0), "weight"),
        (lambda: cumulative_sums_chart([1.0], target=0, allowance=-1, decision=1), "allowance"),
        (lambda: run_length_of_weighted_means(0, weight=2), "weight"),
        (lambda: run_length_of_sums(0, decision=0), "positive decision"),
        (lambda: gauge_study([[[1.0]]]), "gauge study"),
        (lambda: gauge_study_of_ranges([[[1.0]]]), "full table"),
    ],
)
def test_what_cannot_be_charted_is_refused_in_words(act, words):
    with pytest.raises(InputError, match=words):
        act()


def test_a_rule_speaks_at_points_that_count_and_not_after_them():
    limits = stated_limits(centre=0.0, sigma=1.0)
    found = individuals_chart([0.0, 2.5, 2.5, 0.0, 0.0], limits).signals
    assert [(one.point, one.rule) for one in found] == [
        (2, "two of three beyond two sigma on one side")
    ]
