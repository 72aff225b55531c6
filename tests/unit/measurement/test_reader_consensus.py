"""One value of several readers: shared errors stay, own ones average, the middle is drawn."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from annot.measurement.reader_consensus import DRAWS, mean_of_readers, median_of_readers
from annot.measurement.section_views import SeenLength
from tests.strategies import settings  # loads the profile

assert settings is not None


def side(value, own, **shared):
    return SeenLength(rows=(), value=value, own_u=own, shared=shared)


def rng():
    return np.random.default_rng(5)


OWN = st.floats(0.05, 3.0)
PART = st.floats(-2.0, 2.0)


@given(st.lists(st.tuples(st.floats(5, 40), OWN, PART, PART), min_size=1, max_size=4))
def test_a_mean_has_the_uncertainty_that_another_library_gives_it(rows):
    """The general-purpose library `uncertainties`, which follows correlation by identity."""
    scale, depth = ufloat(0, 1), ufloat(0, 1)
    sides = [side(value, own, scale=s, depth=d) for value, own, s, d in rows]
    others = [ufloat(value, own) + s * scale + d * depth for value, own, s, d in rows]
    mean = sum(others) / len(others)
    found = mean_of_readers(sides, unit="mm")
    assert found.estimate.value == pytest.approx(mean.nominal_value)
    assert found.estimate.u == pytest.approx(mean.std_dev, rel=1e-9, abs=1e-12)
    assert found.readers == len(rows)


def test_a_shared_scale_is_not_averaged_away():
    """Without the covariance the mean of two would be known √2 times too well."""
    alone = side(20.0, 0.0, scale=0.4)
    both = mean_of_readers([alone, side(20.6, 0.0, scale=0.4)], unit="mm")
    assert both.estimate.u == pytest.approx(0.4)
    assert both.spread == pytest.approx(0.6 / math.sqrt(2))


def test_the_median_of_three_equal_readers_has_the_variance_of_an_order_statistic():
    """Variance 1 - √3/π of the middle of three standard normals (order statistics; from memory,
    and integrated here), and what is shared stays whole."""
    from scipy.integrate import quad
    from scipy.stats import norm

    def density(x):
        return x**2 * 6 * norm.cdf(x) * norm.sf(x) * norm.pdf(x)

    variance = 1 - math.sqrt(3) / math.pi
    assert quad(density, -12, 12)[0] == pytest.approx(variance, rel=1e-8)
    sides = [side(21.0, 0.5, object=0.3) for _ in range(3)]
    found = median_of_readers(sides, unit="mm", rng=rng())
    assert found.estimate.u == pytest.approx(math.hypot(0.5 * math.sqrt(variance), 0.3), rel=0.01)
    assert found.shared["object"] == pytest.approx(0.3)
    assert DRAWS >= 100_000


def test_a_median_far_from_the_others_is_the_middle_readers_own():
    sides = [side(10.0, 0.2, a=0.1), side(20.0, 0.5, b=0.3), side(30.0, 0.2, c=0.1)]
    found = median_of_readers(sides, unit="mm", rng=rng())
    assert found.estimate.value == 20.0
    assert found.estimate.u == pytest.approx(math.hypot(0.5, 0.3), rel=0.01)
    assert found.shared == {"a": 0.0, "b": pytest.approx(0.3), "c": 0.0}
    low, high = found.estimate.low, found.estimate.high
    assert (low, high) == pytest.approx((20 - 1.96 * 0.583, 20 + 1.96 * 0.583), abs=0.02)


def test_the_median_of_fewer_than_three_is_their_mean():
    sides = [side(20.0, 0.5), side(21.0, 0.5)]
    assert median_of_readers(sides, unit="mm", rng=rng()) == mean_of_readers(sides, unit="mm")
    assert mean_of_readers(sides[:1], unit="mm").spread is None


def test_the_tilt_of_a_loop_is_one_for_all_its_readers():
    """Three readers who differ by nothing but a shared tilt know the middle no better than one."""
    sides = [
        SeenLength(rows=(), value=20.0, own_u=math.hypot(0.4, 0.01), tilt_u=0.4) for _ in range(3)
    ]
    assert mean_of_readers(sides, unit="mm").estimate.u == pytest.approx(0.4, rel=1e-3)
    found = median_of_readers(sides, unit="mm", rng=rng())
    assert found.estimate.u == pytest.approx(0.4, rel=0.01)
