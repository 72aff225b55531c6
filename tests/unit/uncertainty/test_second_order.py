"""Second-order terms against polynomials whose derivatives are known by hand."""

import math

import numpy as np
import pytest

from annot.uncertainty import InputQuantity, exact, propagate, second_order, stated


def normals(*pairs):
    return [stated(x, u, key=f"x{n}", unit="1", source="") for n, (x, u) in enumerate(pairs)]


def test_the_third_derivative_by_one_input():
    bent = second_order(propagate(lambda x: x + x**3, normals((0.0, 0.3)), unit="1"))
    # f' = 1, f'' = 0, f''' = 6 at zero: u² + 6 u⁴ (JCGM 100:2008 5.1.2 NOTE)
    assert bent.u == pytest.approx(math.sqrt(0.3**2 + 6 * 0.3**4), rel=1e-6)
    assert bent.shift == pytest.approx(0.0, abs=1e-12)


def test_the_mixed_third_derivative():
    result = propagate(lambda a, b: a * (1 + b**2), normals((0.0, 0.3), (0.0, 0.2)), unit="1")
    # f_a = 1, f_abb = 2, all else zero: u_a² + 2 u_a² u_b²
    assert second_order(result).u == pytest.approx(0.3 * math.sqrt(1 + 2 * 0.2**2), rel=1e-6)


def test_a_square_has_the_cumulants_of_chi_square():
    bent = second_order(propagate(np.square, normals((0.0, 1.0)), unit="1"))
    # chi-square of one degree: mean 1, variance 2, skewness √8, excess 12 (textbook)
    found = (bent.shift, bent.spread, bent.skewness, bent.excess)
    assert found == pytest.approx((1.0, math.sqrt(2), math.sqrt(8), 12.0), rel=1e-6)


@pytest.mark.parametrize(("dof", "excess"), [(10.0, 1.0), (4.0, math.nan)])
def test_degrees_of_freedom_widen(dof, excess):
    one = InputQuantity(key="x", value=0.0, u=1.0, unit="1", dof=dof)
    bent = second_order(propagate(lambda x: x, [one], unit="1"))
    # a t of ν degrees: variance ν/(ν − 2), excess 6/(ν − 4) (textbook)
    wide = math.sqrt(dof / (dof - 2)) if dof > 4 else math.nan
    assert (bent.spread, bent.excess) == pytest.approx((wide, excess), nan_ok=True)
    assert bent.u == pytest.approx(1.0)


def test_curvature_that_is_not_finite_is_not_given():
    assert second_order(propagate(np.log, normals((1.0, 0.9)), unit="1")) is None


def test_nothing_uncertain_bends_nothing():
    one = exact(2.0, key="x", unit="1", source="")
    bent = second_order(propagate(np.square, [one], unit="1"))
    assert (bent.shift, bent.u, bent.spread, bent.skewness, bent.excess) == (0, 0, 0, 0, 0)
