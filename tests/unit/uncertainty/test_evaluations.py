"""Type A, type B, coverage and digits: behaviours and refusals."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.uncertainty import (
    cosine_of_unknown_tilt,
    coverage_factor,
    decimals_for,
    expand,
    from_repeats,
    propagate,
    rectangular,
    secant_of_unknown_tilt,
    stated,
    value_with_u,
)
from tests.strategies import NOT_NUMBERS


# ---------------------------------------------------------------- type A
@given(st.lists(st.floats(-100, 100), min_size=2, max_size=30).filter(lambda x: np.ptp(x) > 1e-6))
def test_repeats_give_numpy_mean_and_its_standard_error(values):
    quantity = from_repeats(values, key="r", unit="mm")
    assert quantity.value == pytest.approx(np.mean(values))
    assert quantity.u == pytest.approx(np.std(values, ddof=1) / math.sqrt(len(values)))
    assert quantity.dof == len(values) - 1
    assert (quantity.evaluation, quantity.distribution) == ("A", "t")


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ([], "r: repeats need at least two"),
        ([1.0], "r: repeats need at least two"),
        ([[1.0, 2.0]], "r: repeats need at least two"),
        ([1.0, math.nan], "r: a repeat is not a finite number"),
        ([1.0, math.inf], "r: a repeat is not a finite number"),
        ([2.0, 2.0, 2.0], "all 3 repeats are the same; state their resolution"),
    ],
)
def test_repeats_that_say_no_scatter_are_refused(values, words):
    with pytest.raises(ValueError, match=words):
        from_repeats(values, key="r", unit="mm")


# ---------------------------------------------------------------- type B
@given(st.floats(1e-6, 1e3))
def test_rectangular_is_the_standard_deviation_of_a_uniform_distribution(half_width):
    quantity = rectangular(5.0, half_width, key="b", unit="mm", source="limits")
    # variance of a uniform distribution of width 2a: (2a)²/12
    assert quantity.u == pytest.approx(math.sqrt((2 * half_width) ** 2 / 12))
    assert math.isinf(quantity.dof)


@pytest.mark.parametrize("half_width", [0.0, -1.0, *NOT_NUMBERS])
def test_rectangular_refuses_widths_that_are_none(half_width):
    with pytest.raises(ValueError, match="b: "):
        rectangular(5.0, half_width, key="b", unit="mm", source="limits")


@pytest.mark.parametrize("u", [0.0, -1.0, *NOT_NUMBERS])
def test_stated_refuses_uncertainties_that_are_none(u):
    with pytest.raises(ValueError, match="b: "):
        stated(5.0, u, key="b", unit="mm", source="certificate")


@pytest.mark.parametrize("tilt", [0.0, -5.0, 60.01, 90.0, *NOT_NUMBERS])
@pytest.mark.parametrize("factor_of", [cosine_of_unknown_tilt, secant_of_unknown_tilt])
def test_tilts_outside_their_range_are_refused(factor_of, tilt):
    with pytest.raises(ValueError, match=r"t: a tilt half-range lies in \(0, 60\] degrees"):
        factor_of(tilt, key="t", source="")


@pytest.mark.parametrize("tilt", [0.5, 2.0, 10.0, 20.0, 45.0, 60.0])
@pytest.mark.parametrize(
    ("factor_of", "power"), [(cosine_of_unknown_tilt, 1), (secant_of_unknown_tilt, -1)]
)
def test_moments_of_cosine_and_secant_agree_with_drawn_tilts(factor_of, power, tilt):
    """Outside reference: 4 000 000 tilts drawn with NumPy."""
    tilts = np.deg2rad(np.random.default_rng(7).uniform(-tilt, tilt, 4_000_000))
    drawn = np.cos(tilts) ** power
    quantity = factor_of(tilt, key="t", source="")
    assert quantity.value == pytest.approx(float(drawn.mean()), abs=4 * float(drawn.std()) / 2000)
    assert quantity.u == pytest.approx(float(drawn.std()), rel=2e-3)


@given(st.floats(1e-4, 60.0))
def test_moments_of_the_cosine_hold_down_to_tiny_tilts(tilt):
    """A uniform tilt's cosine lies in [cos T, 1]; its sd tends to T²/√45 (own series)."""
    quantity = cosine_of_unknown_tilt(tilt, key="t", source="")
    radians = math.radians(tilt)
    assert math.cos(radians) <= quantity.value <= 1.0
    assert 0 < quantity.u <= (1 - math.cos(radians)) + 1e-16
    assert quantity.u == pytest.approx(radians**2 / math.sqrt(45), rel=0.03 + radians**2 / 5)
    secant = secant_of_unknown_tilt(tilt, key="t", source="")
    assert 1.0 <= secant.value <= 1 / math.cos(radians)
    assert secant.u > 0
    assert secant.u == pytest.approx(radians**2 / math.sqrt(45), rel=0.03 + radians**2)


# ---------------------------------------------------------------- coverage
@given(st.floats(1.0, 1e6), st.floats(0.5, 0.999))
def test_coverage_factor_is_student_t_and_never_below_the_normal_one(dof, probability):
    from scipy import stats

    factor = coverage_factor(dof, probability=probability)
    assert factor == pytest.approx(stats.t.ppf((1 + probability) / 2, dof), rel=1e-9)
    assert factor >= coverage_factor(math.inf, probability=probability) * (1 - 1e-9)


def test_coverage_factor_of_certain_inputs_is_the_normal_one():
    assert coverage_factor(math.inf) == pytest.approx(1.959963984540054, rel=1e-12)


@pytest.mark.parametrize("probability", [0.0, 1.0, -0.1, 1.5, math.nan])
def test_coverage_probabilities_outside_0_and_1_are_refused(probability):
    with pytest.raises(ValueError, match="between 0 and 1"):
        coverage_factor(10.0, probability=probability)


@pytest.mark.parametrize("dof", [0.0, -3.0, math.nan])
def test_degrees_of_freedom_that_are_none_are_refused(dof):
    with pytest.raises(ValueError, match="must be positive"):
        coverage_factor(dof)


def test_a_higher_probability_gives_a_wider_interval():
    result = propagate(lambda x: x, [stated(1.0, 0.1, key="a", unit="mm", source="")], unit="mm")
    narrow, wide = expand(result, probability=0.68), expand(result, probability=0.99)
    assert wide.low < narrow.low < narrow.high < wide.high
    assert (narrow.probability, wide.probability) == (0.68, 0.99)
    assert not narrow.holds(1.2)
    assert narrow.holds(narrow.low)


# ---------------------------------------------------------------- digits
@given(st.floats(1e-8, 0.0994))
def test_an_uncertainty_shows_exactly_two_significant_digits(u):
    shown = f"{u:.{decimals_for(u)}f}"
    assert len(shown.lstrip("0.")) == 2


@given(st.floats(1e-6, 1e6))
def test_rounding_changes_an_uncertainty_by_at_most_five_percent(u):
    assert float(f"{u:.{decimals_for(u)}f}") == pytest.approx(u, rel=0.0501, abs=0.5 * (u >= 10))


@pytest.mark.parametrize(
    ("value", "u", "text"),
    [
        (24.3456, 0.5234, "24.35 ± 0.52"),
        (24.3456, 0.0996, "24.35 ± 0.10"),
        (24.3456, 0.00996, "24.346 ± 0.010"),
        (24.3456, 9.96, "24 ± 10"),
        (1234.5, 123.0, "1234 ± 123"),
        (25.0, 0.0, "25.00 ± 0.00"),
        (25.0, math.nan, "25.00 ± nan"),
    ],
)
def test_value_and_uncertainty_share_their_decimals(value, u, text):
    assert value_with_u(value, u) == text
