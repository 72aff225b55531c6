"""The centre of a dark spot: rendered here by formulas of its own, pulled by nothing."""

import numpy as np
import pytest

from annot.calibration.spot_fit import SpotShape, SpotSite, fit_spot
from annot.geometry import PixelPoint
from tests.unit.calibration.conftest import chord, detected, fine_grid

SIZE = 60
TRUE = (29.37, 31.62)
GUESS = SpotShape(length_px=7.0, width_px=7.0)


def site(off=(1.3, -0.9), wires=(False, False), turn_deg=0.0, reach_px=12.0):
    turn = np.deg2rad(turn_deg)
    return SpotSite(
        centre=PixelPoint(TRUE[0] + off[0], TRUE[1] + off[1]),
        first=(np.sin(turn), np.cos(turn)),
        second=(np.cos(turn), -np.sin(turn)),
        wires=wires,
        reach_px=reach_px,
    )


def bead(*, seed=1, slope=0.0, wire=0.0, turn_deg=0.0, photons=2500.0):
    """A bead of 7 px, on a rod if asked, before a background that rises by `slope` a pixel."""
    row, column = fine_grid(SIZE, SIZE)
    turn = np.deg2rad(turn_deg)
    across = (row - TRUE[0]) * np.cos(turn) - (column - TRUE[1]) * np.sin(turn)
    depth = 0.15 * chord(7.0, np.hypot(row - TRUE[0], column - TRUE[1]))
    depth = depth + wire * chord(4.0, across)
    return detected(depth, blur_px=1.1, veil=0.1, seed=seed, photons=photons, slope=slope)


@pytest.mark.parametrize("slope", [0.0, 0.006, -0.012])
def test_a_sloping_background_pulls_the_centre_nowhere(slope):
    found = fit_spot(bead(seed=None, slope=slope, photons=3e4), site(), GUESS)
    assert found is not None
    assert found.centre == pytest.approx(TRUE, abs=0.02)


@pytest.mark.parametrize("turn_deg", [0.0, 33.0, 90.0])
def test_the_wire_beneath_a_bead_is_not_taken_for_it(turn_deg):
    picture = bead(wire=0.05, turn_deg=turn_deg, seed=5, photons=6000)
    found = fit_spot(picture, site(wires=(True, False), turn_deg=turn_deg), GUESS)
    assert found is not None
    assert np.hypot(*np.subtract(found.centre, TRUE)) < 3 * np.sqrt(2) * found.u_px


def test_two_wires_cross_where_they_cross():
    row, column = fine_grid(SIZE, SIZE)
    depth = 0.08 * (chord(4.0, row - TRUE[0]) + chord(4.0, column - TRUE[1]))
    picture = detected(depth, blur_px=1.1, veil=0.1, seed=None, photons=3e4)
    found = fit_spot(picture, site(wires=(True, True)), GUESS)
    assert found is not None
    assert found.centre == pytest.approx(TRUE, abs=0.02)


def test_the_stated_uncertainty_is_the_scatter_between_pictures():
    found = [fit_spot(bead(seed=seed), site(), GUESS) for seed in range(60)]
    miss = np.array([np.subtract(one.centre, TRUE) for one in found])
    scatter = float(np.sqrt(np.mean(miss**2)))
    stated = float(np.mean([one.u_px for one in found]))
    # the scatter of 120 numbers is known to 1/√240 = 6.5 %; stated is the larger of two axes
    assert 0.8 < stated / scatter < 1.6


def test_a_known_shape_moves_the_centre_only():
    shape = fit_spot(bead(), site(), GUESS).shape
    found = fit_spot(bead(), site(), shape, shape_is_known=True)
    assert found.shape.length_px == pytest.approx(shape.length_px)
    assert found.centre == pytest.approx(TRUE, abs=0.2)


def test_no_spot_off_the_image_and_none_where_it_is_bright():
    assert fit_spot(bead(), site(off=(-24.0, 0.0)), GUESS) is None
    picture = bead(seed=None)
    assert fit_spot(picture.max() + 200 - picture, site(off=(0.2, 0.1)), GUESS) is None
