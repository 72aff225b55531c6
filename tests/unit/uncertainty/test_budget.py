"""Budgets: order, shares that add up to 1, and what to improve first."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.uncertainty import (
    Correlation,
    InputQuantity,
    MeasurementResult,
    budget,
    exact,
    from_repeats,
    improvements,
    propagate,
    relative_u_of_spread,
    stated,
)
from tests.strategies import inputs


def make(key, u, component="other", value=0.0):
    return InputQuantity(key=key, value=value, u=u, unit="mm", component=component)


def total(*inputs, correlations=()):
    return propagate(lambda *x: sum(x), inputs, unit="mm", correlations=correlations)


@given(st.lists(inputs(), min_size=1, max_size=8, unique_by=lambda one: one.key))
def test_shares_add_up_to_one_and_stand_in_order(some):
    rows = budget(total(*some))
    shares = [row.share for row in rows]
    assert sum(shares) == pytest.approx(1.0, abs=1e-12)
    assert shares == sorted(shares, reverse=True)
    assert {row.key for row in rows} == {one.key for one in some}


def test_a_flat_result_has_the_shares_of_its_curvature():
    flat = propagate(lambda a, b: a**2 + b**2, [make("a", 1.0), make("b", 2.0)], unit="mm2")
    rows = budget(flat)
    # variance of (u z)² is 2u⁴: 32 of 34 from b
    assert {row.key: row.share for row in rows} == pytest.approx({"b": 16 / 17, "a": 1 / 17})


def test_a_flat_product_shares_its_pairs_evenly():
    flat = propagate(lambda a, b: a * b, [make("a", 1.0), make("b", 2.0)], unit="mm2")
    assert [row.share for row in budget(flat)] == pytest.approx([0.5, 0.5])


def test_nothing_uncertain_has_no_shares():
    certain = propagate(lambda x: x, [exact(1.0, key="x", unit="mm", source="")], unit="mm")
    assert [row.share for row in budget(certain)] == [0.0]
    stored = MeasurementResult(value=1.0, unit="mm", lines=certain.lines)
    assert [row.share for row in budget(stored)] == [0.0]


def test_what_to_improve_first():
    result = total(make("a", 3.0, "ends"), make("b", 4.0, "scale"), make("c", 0.1, "tilt"))
    found = improvements(result)
    assert [one.component for one in found] == ["scale", "ends", "tilt"]
    assert found[0].u_without == pytest.approx(np.hypot(3.0, 0.1))
    assert found[0].gain == pytest.approx(result.u - np.hypot(3.0, 0.1))


def test_a_known_component_takes_its_covariance_along():
    pair = Correlation(first="a", second="b", coefficient=-0.5)
    result = total(make("a", 1.0, "one"), make("b", 1.0, "two"), correlations=[pair])
    assert result.u == pytest.approx(1.0)
    # each alone is as uncertain as both: knowing one gains nothing
    assert [one.gain for one in improvements(result)] == pytest.approx([0.0, 0.0])


@given(st.integers(2, 40), st.integers(0, 1000))
def test_more_repeats_never_widen_a_type_a_term_in_expectation(few, seed):
    """Mean of u over many series: σ·c₄(n)/√n falls with n (JCGM 100:2008 4.2, E.4.3)."""
    rng = np.random.Generator(np.random.SFC64(seed))
    readings = rng.normal(10.0, 2.0, (300, 2 * few))
    less = [from_repeats(row[:few], key="r", unit="mm").u for row in readings]
    more = [from_repeats(row, key="r", unit="mm").u for row in readings]
    assert np.mean(more) < np.mean(less)


@given(st.integers(2, 60))
def test_how_well_a_spread_is_known_is_that_of_drawn_series(n):
    rng = np.random.Generator(np.random.SFC64(n))
    spreads = np.std(rng.normal(size=(20_000, n)), axis=1, ddof=1)
    assert relative_u_of_spread(n) == pytest.approx(np.std(spreads) / np.mean(spreads), rel=0.04)


def test_one_reading_has_no_spread():
    with pytest.raises(ValueError, match="two or more repeats, got 1"):
        relative_u_of_spread(1)


@given(inputs(key="a"), inputs(key="b"), st.floats(0.1, 10.0))
def test_scaling_all_points_scales_value_and_uncertainty(a, b, factor):
    def length(x, y):
        return np.sqrt(x**2 + y**2)

    plain = propagate(length, [a, b], unit="mm")
    bigger = [
        stated(factor * one.value, factor * one.u, key=one.key, unit="mm", source="")
        for one in (a, b)
    ]
    scaled = propagate(length, bigger, unit="mm")
    assert scaled.value == pytest.approx(factor * plain.value, rel=1e-12)
    assert scaled.u == pytest.approx(factor * plain.u, rel=1e-6)
