"""Every distribution: its u, what is drawn from it, and what is refused.

Moments and quantiles are those of scipy.stats, each distribution written there on its own.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.uncertainty import (
    InputQuantity,
    arcsine,
    cosine_of_unknown_tilt,
    curvilinear_trapezoid,
    empirical,
    exponential,
    half_normal,
    rectangular,
    sample,
    secant_of_unknown_tilt,
    stated,
    trapezoidal,
    triangular,
)
from annot.uncertainty.shapes import SHAPES
from tests.strategies import NOT_NUMBERS

DRAWS = 200_000
WORDS = {"key": "x", "unit": "mm", "source": "a test"}
SAMPLES = [1.0, 1.5, 2.0, 4.0] * 10


def by_scipy():
    """Pair each quantity with the same distribution of scipy."""
    from scipy import stats

    t = InputQuantity(key="x", value=5.0, u=0.5, unit="mm", dof=9, distribution="t")
    return {
        "normal": (stated(5.0, 0.5, **WORDS), stats.norm(5, 0.5)),
        "t": (t, stats.t(9, loc=5, scale=0.5)),
        "rectangular": (rectangular(5.0, 0.5, **WORDS), stats.uniform(4.5, 1)),
        "triangular": (triangular(5.0, 0.5, **WORDS), stats.triang(0.5, loc=4.5, scale=1)),
        "trapezoidal": (
            trapezoidal(5.0, 0.5, 0.4, **WORDS),
            stats.trapezoid(0.3, 0.7, loc=4.5, scale=1),
        ),
        "arcsine": (arcsine(5.0, 0.5, **WORDS), stats.arcsine(4.5, 1)),
        "half-normal": (
            half_normal(5.0, 0.5, side="above", **WORDS),
            stats.halfnorm(loc=5, scale=0.5),
        ),
        "exponential": (
            exponential(5.0, 0.5, side="above", **WORDS),
            stats.expon(loc=5, scale=0.5),
        ),
    }


@pytest.mark.parametrize("name", by_scipy())
def test_draws_follow_the_same_law_as_scipy(name):
    from scipy import stats

    quantity, law = by_scipy()[name]
    drawn = sample(quantity, draws=DRAWS, rng=np.random.Generator(np.random.SFC64(1)))
    # the largest gap of a true law stays below 1.95/√n in 999 of 1000 cases
    assert stats.kstest(drawn, law.cdf).statistic < 1.95 / math.sqrt(DRAWS)
    assert quantity.value == pytest.approx(float(law.mean()))


@pytest.mark.parametrize("name", by_scipy())
def test_width_and_higher_moments_are_those_of_scipy(name):
    quantity, law = by_scipy()[name]
    if name != "t":  # whose u is the scale, not the standard deviation
        assert quantity.u == pytest.approx(float(law.std()), rel=1e-9)
        moments = SHAPES[name].moments(quantity.parameters)
        assert moments == pytest.approx([float(x) for x in law.stats("sk")], abs=1e-6)


def tilts():
    rng = np.random.Generator(np.random.SFC64(2))
    return np.cos(rng.uniform(-math.radians(25), math.radians(25), DRAWS))


@pytest.mark.parametrize(
    ("quantity", "truth"),
    [
        (cosine_of_unknown_tilt(25, key="x", source=""), tilts),
        (secant_of_unknown_tilt(25, key="x", source=""), lambda: 1 / tilts()),
    ],
)
def test_an_unknown_tilt_is_drawn_as_a_tilt(quantity, truth):
    from scipy import stats

    rng = np.random.Generator(np.random.SFC64(1))
    drawn, wanted = sample(quantity, draws=DRAWS, rng=rng), truth()
    assert stats.ks_2samp(drawn, wanted).statistic < 1.95 * math.sqrt(2 / DRAWS)
    assert (drawn.min(), drawn.max()) == pytest.approx((wanted.min(), wanted.max()), abs=1e-4)
    skewness, excess = SHAPES[quantity.distribution].moments(quantity.parameters)
    assert stats.skew(wanted) == pytest.approx(skewness, abs=0.02)
    assert stats.kurtosis(wanted) == pytest.approx(excess, abs=0.03)


@given(st.floats(0.01, 0.5))
def test_vague_limits_are_a_rectangle_of_drawn_width(vague):
    quantity = curvilinear_trapezoid(5.0, 0.5, vague, **WORDS)
    rng = np.random.Generator(np.random.SFC64(3))
    width = 0.5 + vague * rng.uniform(-1, 1, DRAWS)
    wanted = width * rng.uniform(-1, 1, DRAWS)
    assert quantity.u == pytest.approx(np.std(wanted), rel=0.01)
    drawn = sample(quantity, draws=DRAWS)
    assert np.std(drawn) == pytest.approx(quantity.u, rel=0.01)
    assert np.max(np.abs(drawn - 5.0)) <= 0.5 + vague
    z = wanted / np.std(wanted)
    excess = SHAPES[quantity.distribution].moments(quantity.parameters)[1]
    assert np.mean(z**4) - 3 == pytest.approx(excess, abs=0.03)


def test_a_side_is_kept():
    below = sample(exponential(5.0, 0.5, side="below", **WORDS), draws=1000)
    assert np.all(below < 5.0)
    below = sample(half_normal(5.0, 0.5, side="below", **WORDS), draws=1000)
    assert np.all(below < 5.0)


def test_samples_are_drawn_as_they_are():
    quantity = empirical(SAMPLES, **WORDS)
    drawn = sample(quantity, draws=10_000)
    assert set(np.round(drawn, 9)) == {1.0, 1.5, 2.0, 4.0}
    assert quantity.value == pytest.approx(np.mean(SAMPLES))
    assert quantity.u == pytest.approx(np.std(SAMPLES, ddof=1))


def shaped(distribution, *parameters, **changes):
    plain = {"key": "x", "value": 1.0, "u": 0.1, "unit": "1", "distribution": distribution}
    return InputQuantity(**{**plain, "parameters": parameters, **changes})


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: shaped("gaussian"), "x: there is no distribution 'gaussian'"),
        (lambda: shaped("normal", 1.0), "'normal' takes no parameters"),
        (lambda: shaped("trapezoidal"), "takes one parameter from 0 to 1"),
        (lambda: shaped("trapezoidal", 1.1), "takes one parameter from 0 to 1"),
        (lambda: shaped("exponential", 0.5), "takes one parameter, 1 or -1"),
        (lambda: shaped("cosine of tilt", 2.0), r"half-range in \(0, 60\] degrees"),
        (lambda: shaped("empirical", 1.0, 2.0), "at least 20 finite samples"),
        (lambda: shaped("empirical", *[1.0] * 20), "samples that differ"),
        (lambda: shaped("arcsine", dof=3), "finite degrees of freedom go with normal, t or rect"),
        (lambda: trapezoidal(1.0, 0.1, -0.1, **WORDS), "top of a trapezoid is 0 to 1"),
        (lambda: curvilinear_trapezoid(1.0, 0.1, 0.2, **WORDS), "vague by 0 to their half-width"),
        (lambda: half_normal(1.0, 0.1, side="left", **WORDS), "above or below its edge"),
        (lambda: empirical(SAMPLES, key="x", unit="1", source=" "), "samples need a source"),
        (lambda: empirical([1.0], **WORDS), "samples are a row of finite numbers"),
        (lambda: empirical([*SAMPLES, math.nan], **WORDS), "samples are a row of finite numbers"),
        (lambda: triangular(1.0, 0.0, **WORDS), "'exact' go together"),
    ],
)
def test_what_is_refused_and_why(make, words):
    with pytest.raises(ValueError, match=words):
        make()


MAKERS = {
    "triangular": lambda a: triangular(1.0, a, **WORDS),
    "arcsine": lambda a: arcsine(1.0, a, **WORDS),
    "trapezoidal": lambda a: trapezoidal(1.0, a, 0.5, **WORDS),
    "curvilinear": lambda a: curvilinear_trapezoid(1.0, a, a / 2, **WORDS),
    "half-normal": lambda a: half_normal(1.0, a, side="above", **WORDS),
    "exponential": lambda a: exponential(1.0, a, side="above", **WORDS),
    "stated": lambda a: stated(1.0, a, **WORDS),
    "rectangular": lambda a: rectangular(1.0, a, **WORDS),
}


@pytest.mark.parametrize("width", [*NOT_NUMBERS, -0.1])
@pytest.mark.parametrize("name", MAKERS)
def test_no_width_that_is_negative_or_no_finite_number(name, width):
    with pytest.raises(ValueError, match="x: "):
        MAKERS[name](width)
