"""Correlations that are stated: what they do to u, dof and shares, and which cannot be."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.uncertainty import (
    Correlation,
    InputQuantity,
    correlation,
    covariance,
    exact,
    from_simultaneous_repeats,
    propagate,
    sample_jointly,
    stated,
    straight_line,
)
from annot.uncertainty.correlation import groups


def three():
    return [stated(1.0, 0.1, key=key, unit="1", source="") for key in "abc"]


def related(first, second, r):
    return Correlation(first=first, second=second, coefficient=r)


def total(inputs, *correlations):
    return propagate(lambda *x: sum(x), inputs, unit="1", correlations=correlations)


@given(st.floats(-1, 1))
def test_a_sum_of_two_follows_the_law_of_cosines(r):
    result = total(three()[:2], related("a", "b", r))
    # JCGM 100:2008 5.2.2: u² = u₁² + u₂² + 2 u₁ u₂ r
    assert result.u == pytest.approx(0.1 * math.sqrt(max(2 + 2 * r, 0)), abs=1e-9)


def test_correlations_travel_up_with_the_inputs():
    inner = total(three()[:2], related("a", "b", 0.5))
    outer = propagate(lambda s, c: s * c, [inner, three()[2]], unit="1")
    assert outer.correlations == inner.correlations
    assert outer.u == pytest.approx(math.sqrt(0.1**2 * 3 + (2 * 0.1) ** 2), rel=1e-7)
    assert covariance(inner, outer) == pytest.approx(inner.u**2, rel=1e-7)
    assert correlation(inner, inner) == pytest.approx(1.0)


def test_the_order_of_a_pair_does_not_matter():
    one = total(three()[:2], related("a", "b", 0.5))
    other = total(three()[:2], related("b", "a", 0.5))
    assert one.correlations == other.correlations


@given(st.lists(st.floats(-1, 1), min_size=3, max_size=3))
def test_signed_shares_add_up_to_one(r):
    matrix = np.array([[1, r[0], r[1]], [r[0], 1, r[2]], [r[1], r[2], 1]])
    pairs = [related("a", "b", r[0]), related("a", "c", r[1]), related("b", "c", r[2])]
    smallest = np.linalg.eigvalsh(matrix)[0]
    if smallest < -1e-8:
        with pytest.raises(ValueError, match="cannot hold together"):
            total(three(), *pairs)
    elif smallest > 1e-6:
        result = total(three(), *pairs)
        assert sum(result.shares().values()) == pytest.approx(1.0, abs=1e-9)
        assert sum(result.variance_parts()) == pytest.approx(result.u**2, rel=1e-9)


def test_company_that_cannot_be_is_refused_when_it_meets():
    ab = total(three()[:2], related("a", "b", 0.9))
    bc = total(three()[1:], related("b", "c", 0.9))
    with pytest.raises(ValueError, match="a, b, c cannot hold together"):
        propagate(lambda x, y: x + y, [ab, bc], unit="1", correlations=[related("a", "c", -0.9)])


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: related("a", "a", 0.1), "not correlated with itself"),
        (lambda: related("a", "b", 1.1), "lies in -1 to 1"),
        (lambda: related("a", "b", math.nan), "lies in -1 to 1"),
        (lambda: total(three(), related("a", "z", 0.1)), "z: a correlation names an input"),
        (
            lambda: total(three(), related("a", "b", 0.1), related("b", "a", 0.2)),
            "two correlation coefficients, 0.1 and 0.2",
        ),
        (
            lambda: total(
                [*three(), exact(1.0, key="e", unit="1", source="")], related("a", "e", 0.1)
            ),
            "is not here or is exact",
        ),
    ],
)
def test_what_is_refused_and_why(make, words):
    with pytest.raises(ValueError, match=words):
        make()


def test_groups_hang_together_by_chains():
    pairs = [related("a", "b", 0.1), related("c", "d", 0.1), related("d", "b", 0.1)]
    assert groups([*pairs, related("y", "x", 0.0)]) == (("a", "b", "c", "d"), ("x", "y"))


def test_readings_taken_together_keep_their_degrees_of_freedom():
    rng = np.random.Generator(np.random.SFC64(4))
    shared = rng.normal(size=8)
    readings = np.stack([shared + rng.normal(size=8), shared + rng.normal(size=8)], axis=1)
    inputs, pairs = from_simultaneous_repeats(readings, keys=["a", "b"], units=["1", "1"])
    both = total(inputs, *pairs)
    # the sum of each row, evaluated as one series of repeats, must give the same
    assert both.u == pytest.approx(np.std(readings.sum(axis=1), ddof=1) / math.sqrt(8), rel=1e-9)
    assert both.dof == pytest.approx(7)
    apart = total([*inputs, InputQuantity(key="c", value=0.0, u=both.u, unit="1")], *pairs)
    assert apart.dof == pytest.approx(4 * 7)  # half the variance has 7 degrees


def test_joint_draws_have_the_stated_correlation_and_tails():
    inputs = [
        InputQuantity(key=key, value=2.0, u=0.5, unit="1", dof=5, distribution="t") for key in "ab"
    ]
    one = total(inputs, related("a", "b", 0.8))
    first, second = (
        propagate(lambda x, _: x, pair, unit="1", correlations=one.correlations)
        for pair in (inputs, inputs[::-1])
    )
    drawn = sample_jointly([first, second], draws=200_000)
    assert np.corrcoef(drawn)[0, 1] == pytest.approx(0.8, abs=0.01)
    # equal degrees share their doubt: a joint t, whose squared distance/2 is F(2, 5)
    from scipy import stats

    apart = (drawn - 2.0) / 0.5
    inverse = np.linalg.inv([[1, 0.8], [0.8, 1]])
    distance = np.einsum("in,ij,jn->n", apart, inverse, apart) / 2
    assert stats.kstest(distance, stats.f(2, 5).cdf).statistic < 0.005


@pytest.mark.parametrize(
    ("x", "y", "words"),
    [
        ([1, 2], [1, 2], "three or more points"),
        ([1, 2, 3], [1, 2], "three or more points"),
        ([1, 1, 1], [1, 2, 3], "more than one x"),
        ([1, 2, math.nan], [1, 2, 3], "finite points"),
        ([1, 2, 3], [2, 4, 6], "all points lie on the line"),
    ],
)
def test_points_that_make_no_line_are_refused(x, y, words):
    with pytest.raises(ValueError, match=words):
        straight_line(x, y, key="l", unit="mm", slope_unit="1")


@pytest.mark.parametrize(
    ("values", "keys", "words"),
    [
        ([[1, 2], [2, 1]], ["a", "b"], "more than 2 simultaneous repeats, got 2"),
        ([1, 2, 3], ["a"], "one column, key and unit"),
        ([[1, 2], [2, 1], [3, 3]], ["a"], "one column, key and unit"),
        ([[1, 2], [1, 1], [1, 3]], ["a", "b"], "a: all 3 repeats are the same"),
    ],
)
def test_simultaneous_repeats_that_say_too_little_are_refused(values, keys, words):
    with pytest.raises(ValueError, match=words):
        from_simultaneous_repeats(values, keys=keys, units=["1"] * len(keys))


def test_each_of_a_pair_gets_its_own_square_and_half_the_covariance():
    inputs = [stated(0.0, u, key=key, unit="1", source="") for key, u in (("a", 1.0), ("b", 2.0))]
    result = total(inputs, related("a", "b", 0.5))
    # by hand: 1² + 0.5·1·2 and 2² + 0.5·1·2
    assert result.variance_parts() == pytest.approx((2.0, 5.0), rel=1e-7)
