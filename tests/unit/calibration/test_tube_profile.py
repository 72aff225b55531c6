"""The tube's table against brute force, scipy's own numerics, and printed widths of cylinders.

`cylinder-width` and `cylinder-beer`: numerical convolution of the line integral 2√(r² − x²) with a
Gaussian, tabled outside this project's code (own run with Gauss–Legendre quadrature).
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from annot.calibration.half_maximum import half_maximum_px
from annot.calibration.shadow import TubeShadow
from annot.calibration.tube_profile import (
    BY_GLARE,
    BY_LOG_BLUR,
    BY_LOG_LUMEN,
    BY_LOG_OUTER,
    BY_LOG_WALL,
    BY_OFFSET,
    BY_RATIO,
    VALUE,
    tube_profile,
)

# blur over diameter: width of a faint cylinder at half maximum over its diameter
FAINT = {0.05: 0.84369, 0.1: 0.82393, 0.15: 0.82614, 0.2: 0.85072, 0.25: 0.89806, 0.3: 0.96421}
# optical depth along the diameter: width at half depth in intensity, blur 0.1 and 0.2 diameters
DENSE = {0.5: (0.8499, 0.8705), 1: (0.8728, 0.8888), 2: (0.9094, 0.92), 5: (0.9659, 0.9729)}
# the same after a logarithm of the blurred intensity
AFTER_LOG = {0.5: 0.8083, 1: 0.7925, 2: 0.7603, 5: 0.6609}
DIAMETER = 200.0  # so large that a pixel's own square does not count


def absorbed_by_rod(depth, blur_rel):
    rod = TubeShadow(outer_px=DIAMETER, lumen_ratio=1e-6, wall_depth=depth, lumen_depth=0.0,
                     blur_px=blur_rel * DIAMETER)  # fmt: skip
    offset = np.arange(-350.0, 350.5, 0.5)
    return offset, tube_profile(rod, 350.0).at(offset)[VALUE]


@pytest.mark.parametrize("blur_rel", FAINT)
def test_half_maximum_of_a_faint_cylinder_is_as_small_as_tabled(blur_rel):
    width = half_maximum_px(*absorbed_by_rod(1e-4, blur_rel))
    assert width / DIAMETER == pytest.approx(FAINT[blur_rel], abs=5e-4)


@pytest.mark.parametrize("depth", DENSE)
@pytest.mark.parametrize("which", [0, 1])
def test_half_depth_of_a_dense_cylinder_is_as_tabled(depth, which):
    width = half_maximum_px(*absorbed_by_rod(depth, (0.1, 0.2)[which]))
    assert width / DIAMETER == pytest.approx(DENSE[depth][which], abs=1e-3)


@pytest.mark.parametrize("depth", AFTER_LOG)
def test_a_logarithm_makes_a_dense_cylinder_look_thinner_as_tabled(depth):
    offset, absorbed = absorbed_by_rod(depth, 0.1)
    width = half_maximum_px(offset, -np.log1p(-absorbed))
    assert width / DIAMETER == pytest.approx(AFTER_LOG[depth], abs=1e-3)


def test_the_area_of_a_faint_shadow_does_not_depend_on_the_blur():
    """π D²/4 for every blur: convolution keeps integrals."""
    for blur_rel in (0.05, 0.2):
        offset, absorbed = absorbed_by_rod(1e-4, blur_rel)
        area = np.trapezoid(absorbed, offset) * DIAMETER / 1e-4
        assert area == pytest.approx(np.pi * DIAMETER**2 / 4, rel=1e-3)


def test_no_crossing_on_both_sides_has_no_width():
    offset = np.arange(5.0)
    assert half_maximum_px(offset, np.array([0.0, 1.0, 1.0, 1.0, 1.0])) is None
    assert half_maximum_px(offset, np.zeros(5)) is None


def test_profile_of_a_tube_agrees_with_scipys_filter_on_a_fine_grid():
    """Outside reference: `scipy.ndimage.gaussian_filter1d`, then the pixel's own mean."""
    from scipy.ndimage import gaussian_filter1d, uniform_filter1d

    step = 1 / 101
    grid = np.arange(-3000, 3001) * step
    outer = 2 * np.sqrt(np.maximum(6.55**2 - grid**2, 0))
    inner = 2 * np.sqrt(np.maximum((0.65 * 6.55) ** 2 - grid**2, 0))
    sharp = 1 - np.exp(-(0.5 * (outer - inner) + 1.1 * inner) / 13.1)
    drawn = uniform_filter1d(gaussian_filter1d(sharp, 1.3 / step, truncate=6), 101)
    tube = TubeShadow(outer_px=13.1, lumen_ratio=0.65, wall_depth=0.5, lumen_depth=1.1, blur_px=1.3)
    offset = np.linspace(-20, 20, 81)
    own = tube_profile(tube, 20.0).at(offset)[VALUE]
    assert own == pytest.approx(np.interp(offset, grid, drawn), abs=3e-4)


def test_glare_is_a_share_of_a_blur_three_times_as_wide():
    """Outside reference: `scipy.ndimage.gaussian_filter1d` twice, mixed."""
    from scipy.ndimage import gaussian_filter1d, uniform_filter1d

    step = 1 / 101
    grid = np.arange(-3000, 3001) * step
    sharp = 1 - np.exp(-1.1 * 2 * np.sqrt(np.maximum(6.55**2 - grid**2, 0)) / 13.1)
    near, wide = (gaussian_filter1d(sharp, s / step, truncate=6) for s in (1.2, 3.6))
    drawn = uniform_filter1d(0.8 * near + 0.2 * wide, 101)
    rod = TubeShadow(outer_px=13.1, lumen_ratio=1e-6, wall_depth=1.1, lumen_depth=0.0, blur_px=1.2,
                     glare=0.2)  # fmt: skip
    offset = np.linspace(-20, 20, 81)
    drawn = np.interp(offset, grid, drawn)
    assert tube_profile(rod, 20.0).at(offset)[VALUE] == pytest.approx(drawn, abs=3e-4)
    assert rod.absorbed(offset) == pytest.approx(drawn, abs=3e-4)


def tube_of(vector):
    return TubeShadow(
        outer_px=float(np.exp(vector[0])),
        blur_px=float(np.exp(vector[1])),
        lumen_ratio=float(vector[2]),
        wall_depth=float(np.exp(vector[3])),
        lumen_depth=float(np.exp(vector[4])),
        glare=float(vector[5]),
    )


@settings(max_examples=25, deadline=None)
@given(
    outer=st.floats(5, 30),
    blur=st.floats(0.6, 2.5),
    ratio=st.floats(0.3, 0.92),
    wall=st.floats(0.05, 3.0),
    lumen=st.floats(0.05, 3.0),
    glare=st.floats(0.0, 0.5),
)
def test_every_slope_is_that_of_the_value(outer, blur, ratio, wall, lumen, glare):
    """Outside reference: central differences of the value itself."""
    vector = np.array([np.log(outer), np.log(blur), ratio, np.log(wall), np.log(lumen), glare])
    offset = np.linspace(-20, 20, 61)
    table = tube_profile(tube_of(vector), 25.0).at(offset)
    order = (BY_LOG_OUTER, BY_LOG_BLUR, BY_RATIO, BY_LOG_WALL, BY_LOG_LUMEN, BY_GLARE)
    for index, row in enumerate(order):
        step = np.zeros(6)
        # a chord ends in a root: where that meets a cell's edge, wide steps straddle it
        step[index] = 1e-4
        high, low = (
            tube_profile(tube_of(vector + s), 25.0).at(offset)[VALUE] for s in (step, -step)
        )
        numeric = (high - low) / 2e-4
        assert table[row] == pytest.approx(numeric, abs=0.01 * np.abs(numeric).max() + 1e-5)
    beside = tube_profile(tube_of(vector), 25.0)
    numeric = (beside.at(offset + 0.1)[VALUE] - beside.at(offset - 0.1)[VALUE]) / 0.2
    assert table[BY_OFFSET] == pytest.approx(numeric, abs=0.02 * np.abs(numeric).max() + 1e-5)
