"""Run lengths under limits that were estimated, against tables, other formulas and counting."""

import math

import numpy as np
import pytest

from annot.errors import InputError
from annot.quality import (
    alarm_probability,
    run_length_from_baseline,
    run_length_of_limits,
    run_length_of_rules,
    run_lengths_from_baseline,
    simulated_run_lengths,
)
from annot.quality.baseline_spread import estimated_limits, variance_of_mean_range


@pytest.mark.parametrize(
    ("shift", "length"),
    [(0, 91.75), (0.2, 66.80), (0.4, 36.61), (0.6, 20.90), (0.8, 13.25), (1.0, 9.22), (2.0, 3.13)],
)
def test_run_rules_have_the_published_run_lengths(shift, length):
    """Champ and Woodall 1987, Table 1, rules 1, 2, 3 and 4 together (from memory)."""
    assert run_length_of_rules(shift) == pytest.approx(length, abs=0.011)


@pytest.mark.parametrize("count", [20, 30, 100])
def test_the_mean_range_spreads_as_published(count):
    """Cryer and Ryan 1990, J Qual Technol 22:187: (0.8264 n − 1.082)/(n − 1)² (from memory)."""
    published = (0.8264 * count - 1.082) / (count - 1) ** 2
    assert variance_of_mean_range(count) == pytest.approx(published, rel=2e-4)
    law = estimated_limits(count)
    mean = float(law.sigma @ law.sigma_weight)
    assert mean == pytest.approx(1, abs=1e-6)
    assert float((law.sigma - mean) ** 2 @ law.sigma_weight) == pytest.approx(
        variance_of_mean_range(count), rel=1e-4
    )


def test_the_law_of_sigma_holds_where_long_runs_come_from():
    """Counted: how often a baseline of 30 gives a sigma half as large again."""
    rng = np.random.default_rng(11)
    ranges = np.abs(np.diff(rng.standard_normal((200_000, 30)), axis=1)).mean(axis=1)
    counted = np.mean(ranges * math.sqrt(math.pi) / 2 > 1.5)
    law = estimated_limits(30)
    expected = float(law.sigma_weight[law.sigma > 1.5].sum())
    assert counted == pytest.approx(expected, rel=0.15)


def test_a_long_baseline_comes_near_known_limits():
    found = run_length_from_baseline(1.0, baseline=500, chart="individuals")
    assert run_length_of_limits(1.0) < found < 1.08 * run_length_of_limits(1.0)


@pytest.mark.parametrize(
    ("chart", "shift"),
    [("rules", 1.0), ("rules", 2.0), ("weighted", 1.0), ("sums", 1.0), ("individuals", 2.0)],
)
def test_a_drift_is_found_when_theory_says(chart, shift):
    """Over 2,000 archives, each with limits of its own from 100 checks."""
    rng = np.random.default_rng(5)
    expected = run_length_from_baseline(shift, baseline=100, chart=chart)
    counted = simulated_run_lengths(shift, baseline=100, chart=chart, archives=2000, rng=rng)
    assert counted.mean() == pytest.approx(expected, rel=0.1)


def test_false_alarms_are_as_rare_as_theory_says():
    """Over 10,000 archives in control, limits from 100 checks each, all run rules."""
    rng = np.random.default_rng(6)
    expected = run_length_from_baseline(0, baseline=100, chart="rules")
    counted = simulated_run_lengths(0, baseline=100, chart="rules", archives=10_000, rng=rng)
    assert counted.mean() == pytest.approx(expected, rel=0.05)


def test_limits_taken_for_true_ones_would_be_caught():
    """The textbook's figure for known limits is not what archives show."""
    rng = np.random.default_rng(7)
    counted = simulated_run_lengths(1, baseline=30, chart="sums", archives=2000, rng=rng).mean()
    assert counted == pytest.approx(run_length_from_baseline(1, baseline=30, chart="sums"), rel=0.1)
    assert counted > 1.1 * 10.4  # Montgomery's table for known limits, 10.4 (from memory)


def test_a_short_baseline_gives_many_early_false_alarms():
    """A share of archives, which no rare archive can decide, counted over 2,000."""
    rng = np.random.default_rng(8)
    counted = simulated_run_lengths(0, baseline=30, chart="individuals", archives=2000, rng=rng)
    expected = alarm_probability(0, baseline=30, points=100)
    assert np.mean(counted <= 100) == pytest.approx(expected, abs=0.035)
    assert expected > 1 - (1 - 0.0027) ** 100


def test_luck_in_the_baseline_is_told():
    short, long = (
        run_lengths_from_baseline(0.0, baseline=count, chart="individuals") for count in (30, 400)
    )
    assert short.low < long.low < 370 < long.high < short.high
    assert short.median < short.mean


def test_shares_of_archives_are_as_told():
    """Counted over 20,000 baselines: each one's own run length under known errors of its limits."""
    rng = np.random.default_rng(12)
    values = rng.standard_normal((20_000, 50))
    stretch = np.abs(np.diff(values, axis=1)).mean(axis=1) * math.sqrt(math.pi) / 2
    own = [
        run_length_of_limits(-centre, width=3 * size)
        for centre, size in zip(values.mean(axis=1), stretch, strict=True)
    ]
    told = run_lengths_from_baseline(0.0, baseline=50, chart="individuals")
    counted = np.quantile(own, (0.1, 0.5, 0.9))
    assert counted == pytest.approx((told.low, told.median, told.high), rel=0.06)


@pytest.mark.parametrize("baseline", [0, 19, 501])
def test_what_cannot_be_told_is_refused(baseline):
    with pytest.raises(InputError, match="20 to 500"):
        run_length_from_baseline(0, baseline=baseline, chart="individuals")


def test_an_unknown_chart_is_refused():
    with pytest.raises(InputError, match="no chart 'pie'"):
        run_length_from_baseline(0, baseline=30, chart="pie")  # type: ignore[arg-type]
