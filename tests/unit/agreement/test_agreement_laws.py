"""Laws that agreement statistics keep, and what they refuse."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from annot.agreement import (
    cases_for_limits,
    concordance,
    coverage_probability,
    deming,
    disagreement_chart,
    half_width_of_limit,
    intraclass_correlation,
    intraclass_correlations,
    limits_of_agreement,
    limits_of_varying_pairs,
    limits_with_replicates,
    passing_bablok,
    ratio_limits,
    reader_drift,
    repeatability,
    sloping_limits,
    total_deviation_index,
    weighted_kappa,
)
from annot.errors import InputError
from annot.uncertainty.variance_components import crossed_components, likely_components

values = st.floats(5, 45, allow_nan=False)
tables = arrays(float, (8, 2), elements=values).filter(lambda t: np.ptp(t[:, 0] - t[:, 1]) > 0.5)


@given(tables, st.floats(-10, 10), st.floats(0.5, 3))
def test_limits_follow_a_change_of_unit_and_ignore_a_common_shift(table, shift, factor):
    plain = limits_of_agreement(table[:, 0], table[:, 1])
    moved = limits_of_agreement(table[:, 0] * factor + shift, table[:, 1] * factor + shift)
    for name in ("bias", "lower", "upper"):
        one, other = getattr(plain, name), getattr(moved, name)
        assert other.value == pytest.approx(factor * one.value, abs=1e-6)
        assert other.low == pytest.approx(factor * one.low, abs=1e-5)


@given(tables)
def test_exchanging_the_readers_mirrors_the_limits(table):
    one = limits_of_agreement(table[:, 0], table[:, 1])
    other = limits_of_agreement(table[:, 1], table[:, 0])
    assert other.bias.value == pytest.approx(-one.bias.value)
    assert other.lower.value == pytest.approx(-one.upper.value)
    assert other.lower.low == pytest.approx(-one.upper.high)


@given(arrays(float, (6, 3), elements=values).filter(lambda t: np.ptp(t.mean(axis=1)) > 1))
def test_averaging_readers_never_lowers_a_positive_correlation(table):
    forms = intraclass_correlations(table)
    for kind in "123":
        single, mean = forms[f"{kind},1"].value, forms[f"{kind},k"].value
        assert single <= 0 or mean >= single - 1e-12


@given(tables.filter(lambda t: np.ptp(t[:, 0]) > 1 and np.ptp(t[:, 1]) > 1))
def test_concordance_never_exceeds_correlation(table):
    found = concordance(table[:, 0], table[:, 1])
    assert abs(found.coefficient.value) <= abs(found.precision) + 1e-12
    assert -1 <= found.coefficient.low <= found.coefficient.high <= 1


@given(st.floats(0.5, 2), st.floats(-5, 5))
def test_lines_through_exact_readings_are_exact(slope, intercept):
    first = np.array([12.0, 15.5, 19.0, 22.0, 27.0, 31.0])
    second = intercept + slope * first
    for line in (deming(first, second), passing_bablok(first, second, probability=0.8)):
        assert line.slope.value == pytest.approx(slope, rel=1e-6)
        assert line.intercept.value == pytest.approx(intercept, abs=1e-5)


def test_one_replicate_each_is_the_plain_case():
    rng = np.random.default_rng(5)
    table = rng.normal(24, 3, (20, 2))
    plain = limits_of_agreement(table[:, 0], table[:, 1])
    single = limits_with_replicates(table[:, :1].tolist(), table[:, 1:].tolist())
    assert single.sd == pytest.approx(plain.sd)
    assert single.upper.value == pytest.approx(plain.upper.value)


def test_the_exact_interval_of_a_limit_holds_it_as_often_as_it_says():
    """4,000 samples of 12: both limits of a known population."""
    rng = np.random.default_rng(8)
    held = 0
    for sample in rng.normal(0.5, 2.0, (4000, 12)):
        limits = limits_of_agreement(sample, np.zeros(12))
        held += limits.upper.low <= 0.5 + 1.96 * 2 <= limits.upper.high
    assert held / 4000 == pytest.approx(0.95, abs=4 * math.sqrt(0.95 * 0.05 / 4000))


def test_five_cases_read_twice_give_intervals_that_hold_bias_and_limit():
    """Student's t for the bias (exact); a normal factor would hold it in 87 % of draws."""
    rng = np.random.default_rng(4)
    sd = math.sqrt(2 * (1 + 0.49))
    draws, bias, limit = 600, 0, 0
    for _ in range(draws):
        true = rng.normal(20, 3, 5)
        first, second = (
            [case + rng.normal(0, 1) + rng.normal(0, 0.7, 2) for case in true] for _ in range(2)
        )
        found = limits_with_replicates(first, second)
        bias += found.bias.low <= 0 <= found.bias.high
        limit += found.upper.low <= 1.96 * sd <= found.upper.high
    assert 0.93 < bias / draws < 0.97
    assert limit / draws > 0.93


def test_readers_who_agree_worse_than_by_chance_have_no_correlation_above_one():
    first = np.array([1, 3, 2, 1.5, 2.9, 1.7, 2.3, 2, 2.4, 1.6])
    second = np.array([3, 1, 2.2, 2.6, 1.2, 2.5, 1.6, 2.1, 1.8, 2.3])
    for found in intraclass_correlations(np.stack([first, second], axis=1)).values():
        assert found.low <= found.value <= found.high < 0


def test_the_interval_of_limits_of_varying_pairs_holds_them():
    """1,500 studies of 20 cases with three pairs each; approximate, so a wider allowance."""
    rng = np.random.default_rng(9)
    cases = np.repeat(np.arange(20), 3)
    true = 0.4 + 1.96 * math.hypot(1.0, 0.8)
    held = 0
    for _ in range(1500):
        apart = 0.4 + rng.normal(0, 1.0, 20)[cases] + rng.normal(0, 0.8, 60)
        upper = limits_of_varying_pairs(cases, apart, np.zeros(60)).upper
        held += upper.low <= true <= upper.high
    assert 0.93 <= held / 1500 <= 0.985


def test_total_deviation_is_what_the_share_stays_below():
    rng = np.random.default_rng(4)
    first = rng.normal(0.3, 1.0, 20000)
    found = total_deviation_index(first, np.zeros(20000), share=0.9)
    assert np.mean(np.abs(first) <= found.index) == pytest.approx(0.9, abs=0.01)
    assert found.empirical == pytest.approx(found.index, rel=0.02)
    assert found.index < found.upper


def test_a_pair_apart_by_exactly_the_limit_agrees():
    assert coverage_probability([1.1, 2.2, 3.3], [1.0, 2.1, 3.2], within=0.1).value == 1.0


def test_more_cases_sharpen_a_limit_and_the_fewest_are_found():
    fewest = cases_for_limits(sd=1.5, half_width=0.5)
    assert half_width_of_limit(fewest) * 1.5 <= 0.5 < half_width_of_limit(fewest - 1) * 1.5


def test_a_reader_out_of_line_is_signalled():
    chart = disagreement_chart({"A": (6, 60), "B": (5, 60), "C": (30, 60)})
    assert [one.signal for one in chart] == [False, False, True]
    assert chart[0].centre == pytest.approx(100 * 41 / 180)


def test_a_drifting_reader_is_seen_and_a_steady_one_is_not():
    weeks = np.arange(30.0)
    noise = np.random.default_rng(2).normal(0, 0.3, 30)
    drifting, steady = reader_drift(weeks, 0.05 * weeks + noise), reader_drift(weeks, noise)
    assert drifting.is_seen
    assert drifting.rate.low <= 0.05 <= drifting.rate.high
    assert not steady.is_seen


def test_spread_that_grows_with_size_is_seen():
    rng = np.random.default_rng(6)
    size = rng.uniform(10, 40, 400)
    line = sloping_limits(size + rng.normal(0, 0.05 * size), size)
    assert line.spread_changes
    _, low, high = line.at([10.0, 40.0])
    assert (high - low)[1] > 2 * (high - low)[0]


def test_likely_components_hold_the_truth():
    """Intervals of the case component over 8 unbalanced studies."""
    rng = np.random.default_rng(12)
    held = 0
    for _ in range(8):
        case, reader = rng.integers(0, 12, 50), rng.integers(0, 4, 50)
        drawn = rng.normal(0, 2, 12)[case] + rng.normal(0, 0.5, 4)[reader] + rng.normal(0, 1, 50)
        found = likely_components(drawn, {"case": case.tolist(), "reader": reader.tolist()})
        held += found.by_factor["case"].low <= 2.0 <= found.by_factor["case"].high
    assert held >= 5  # fewer happens once in 2,500 at 95 %


def test_an_interaction_that_shows_is_kept():
    rng = np.random.default_rng(3)
    inner = rng.normal(0, 1, (10, 3))[:, :, None]
    table = rng.normal(0, 3, 10)[:, None, None] + inner + rng.normal(0, 0.2, (10, 3, 3))
    found = crossed_components(table)
    assert not found.pooled
    assert found.interaction == pytest.approx(1.0, rel=0.6)
    assert found.residual == pytest.approx(0.04, rel=0.6)


@pytest.mark.parametrize(
    ("act", "words"),
    [
        (lambda: limits_of_agreement([1, 2], [1, 2]), "at least 3"),
        (lambda: limits_of_agreement([1, 2, 3], [1, 2, 3, 4]), "pair up"),
        (lambda: limits_of_agreement([1, 2, math.nan], [1, 2, 3]), "no finite number"),
        (lambda: limits_of_agreement([[1, 2, 3]], [1, 2, 3]), "not a table"),
        (lambda: limits_of_agreement([1, 2, 3], [2, 2, 3], probability=1), "between 0 and 1"),
        (lambda: ratio_limits([1, 0, 2], [1, 1, 2]), "positive readings"),
        (lambda: sloping_limits([1, 2, 3, 4], [4, 3, 2, 1]), "one size"),
        (lambda: limits_with_replicates([[1], [2], [3]], [[1], [2]] * 2), "pair up"),
        (lambda: limits_of_varying_pairs([1, 2, 3, 4], [1, 2, 3, 4], [1, 2, 3, 5]), "one pair"),
        (lambda: repeatability([[1.0], [2.0]]), "read twice"),
        (lambda: intraclass_correlation([[1, 2]]), "two cases"),
        (lambda: intraclass_correlation([[1, math.nan], [2, 3]]), "missing"),
        (lambda: intraclass_correlation([[1, 2], [2, 1]]), "same mean"),
        (lambda: concordance([1, 1, 1, 1], [1, 2, 3, 4]), "same value"),
        (lambda: coverage_probability([1, 2, 3], [1, 2, 3], within=0), "positive"),
        (lambda: deming([1, 2, 3, 4], [1, 2, 3, 4], variance_ratio=0), "positive"),
        (lambda: deming([1, 2, 1, 2], [1, 1, 2, 2]), "do not vary together"),
        (lambda: passing_bablok([1, 2, 3, 4], [1, 2, 3, 4]), "too few"),
        (lambda: passing_bablok([1, 2, 3, 4], [4, 2, 0, -2]), "rising"),
        (lambda: weighted_kappa([0, 1], [0, 2], classes=2), "from 0 to 1"),
        (lambda: weighted_kappa([1, 1], [1, 1], classes=3), "one class"),
        (lambda: disagreement_chart({}), "no reader"),
        (lambda: disagreement_chart({"A": (3, 2)}), "no count"),
        (lambda: cases_for_limits(sd=1, half_width=0), "positive"),
        (lambda: cases_for_limits(sd=1, half_width=1e-4), "More than"),
    ],
)
def test_what_cannot_be_computed_is_refused_in_words(act, words):
    with pytest.raises(InputError, match=words):
        act()


@pytest.mark.parametrize(
    ("act", "words"),
    [
        (lambda: crossed_components([[[1.0]]]), "two cases"),
        (lambda: crossed_components(np.full((2, 2, 2), np.nan)), "missing"),
        (lambda: likely_components([1.0, 2.0, 3.0], {"case": ["a", "b"]}), "labels"),
        (lambda: likely_components([1.0, 2.0, 3.0], {"case": ["a", "b", "c"]}), "repeats"),
        (lambda: likely_components([1.0, 1.0], {"case": ["a", "a"]}), "vary"),
        (lambda: likely_components([1.0, math.inf], {"case": ["a", "a"]}), "finite"),
    ],
)
def test_components_that_cannot_be_told_are_refused(act, words):
    with pytest.raises(ValueError, match=words):
        act()
