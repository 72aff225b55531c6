"""Verdicts with guard bands, evenness of a scale, linearity of sizes."""

import json

import numpy as np
import pytest

from annot.errors import InputError
from annot.quality.judgement import judged, overall, value_from_body
from annot.quality.scale_map import scale_map
from annot.quality.size_linearity import size_linearity
from annot.uncertainty import Tolerance, acceptance_limit, propagate, stated


def value(number, u=0.5, limits=Tolerance(low=-3, high=3)):  # noqa: B008 - frozen
    one = stated(number, u, key="x", unit="%", source="test")
    return judged(propagate(lambda x: x, [one], unit="%"), quantity="q", limits=limits)


def test_the_border_of_a_pass_is_the_guarded_limit():
    """JCGM 106:2012, 8.3.2: the limit moved inwards by z·u, z = 1.645 for 95 %."""
    border = acceptance_limit(3, 0.5, probability=0.95)
    assert border == pytest.approx(3 - 1.6449 * 0.5, abs=1e-4)
    assert value(border - 0.01).verdict == "pass"
    assert value(border + 0.01).verdict == "undecided"
    assert value(border).chance_of_wrong_pass == pytest.approx(0.05, abs=1e-3)


@pytest.mark.parametrize(
    ("number", "verdict"),
    [(0, "pass"), (-2.9, "undecided"), (3.1, "undecided"), (4.0, "fail"), (-4.0, "fail")],
)
def test_what_nobody_can_tell_is_left_undecided(number, verdict):
    assert value(number).verdict == verdict


def test_a_value_without_limits_gets_no_verdict_and_the_worst_one_counts():
    free = value(9, limits=None)
    assert (free.verdict, free.chance_of_wrong_pass) == ("no limits", None)
    assert overall((free,)) == "no limits"
    assert overall((free, value(0))) == "pass"
    assert overall((value(3), value(0))) == "undecided"
    assert overall((value(3), value(9))) == "fail"


def test_a_kept_value_comes_back_the_same():
    one = value(1.25)
    assert value_from_body(json.loads(json.dumps(one.as_body()))) == one


# ---------------------------------------------------------------- evenness
STEP = np.stack(np.meshgrid(np.arange(9), np.arange(9), indexing="ij"), -1).reshape(-1, 2)


def test_an_even_grid_is_even_within_its_noise():
    rng = np.random.default_rng(1)
    worst = []
    for _ in range(40):
        found = scale_map(STEP, 40.0 * STEP + rng.normal(0, 0.05, STEP.shape), (40, 40))
        worst.append(np.max(np.abs(found.percent) / found.u_percent))
        # own noise: each block of 3 by 3 nodes tells about sqrt(1/6 + 1/6)/2 of it
        assert np.median(found.u_percent) == pytest.approx(100 * 0.05 / 40 * 0.289, rel=0.3)
    assert np.median(worst) == pytest.approx(1.9, abs=0.5)  # largest of nine normal values


def test_a_barrel_shows_where_it_is_and_how_large():
    """r' = r(1 − k r²): the scale along the radius and across it, at the corner block's middle."""
    middle, k = 40.0 * 4, 1e-7
    away = 40.0 * STEP - middle
    seen = middle + away * (1 - k * (away**2).sum(axis=1))[:, None]
    found = scale_map(STEP, seen, (40, 40))
    corner = int(np.argmin(found.place_px.sum(axis=1)))
    r2 = 2 * 120.0**2
    expected = 100 * (((1 - k * r2) * (1 - 3 * k * r2)) ** -0.5 - 1)
    assert found.percent[corner] == pytest.approx(expected, rel=0.1)
    assert found.largest == pytest.approx(max(found.percent), rel=0.05)


def test_a_grid_too_small_for_a_map_is_refused():
    with pytest.raises(InputError, match="too small"):
        scale_map(STEP[:9], 40.0 * STEP[:9], (40, 40))


# ---------------------------------------------------------------- linearity
def test_a_wrong_edge_is_an_offset_and_a_wrong_scale_a_slope():
    true = np.array([5.0, 10.0, 20.0, 30.0])
    line = size_linearity(true, 1.02 * true + 0.3, [0.02] * 4, key="t")
    assert line.offset.value == pytest.approx(0.3)
    assert line.slope.value == pytest.approx(2.0)
    assert line.chi2 == pytest.approx(0, abs=1e-9)


def test_line_and_uncertainties_agree_with_another_library():
    """statsmodels' weighted least squares with known weights."""
    linear = pytest.importorskip("statsmodels.api")
    rng = np.random.default_rng(2)
    true, u = np.array([5.0, 8, 10, 15, 20, 30]), np.array([0.02, 0.03, 0.02, 0.05, 0.02, 0.1])
    seen = true + rng.normal(0, u / 3)
    fit = linear.WLS(seen, linear.add_constant(true), weights=u**-2).fit(cov_type="fixed scale")
    line = size_linearity(true, seen, u, key="t")
    assert [line.offset.value, 1 + line.slope.value / 100] == pytest.approx(fit.params)
    assert [line.offset.u, line.slope.u / 100] == pytest.approx(fit.bse)


@pytest.mark.parametrize("true", [[5, 10], [10, 10, 10.5]])
def test_too_few_or_equal_sizes_are_refused(true):
    with pytest.raises(InputError, match="three objects"):
        size_linearity(true, true, [0.1] * len(true), key="t")
