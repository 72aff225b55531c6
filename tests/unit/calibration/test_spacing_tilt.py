"""What an unknown tilt hides of a grid's spacings: projected by hand, about any axis."""

import numpy as np
import pytest

from annot.calibration.spacing_tilt import untilted_grid
from annot.uncertainty import covariance, propagate, simulate, stated


def seen(value, key):
    one = stated(value, 1e-6, key=key, unit="px", source="")
    return propagate(lambda x: 1.0 * x, [one], unit="px")


@pytest.mark.parametrize("half_range_deg", [5.0, 15.0])
def test_the_factor_is_that_of_plates_tilted_about_any_axis(half_range_deg):
    rng = np.random.default_rng(3)
    tilt = np.deg2rad(rng.uniform(-half_range_deg, half_range_deg, 400_000))
    axis = rng.uniform(0, 2 * np.pi, tilt.size)
    # a unit vector down the rows loses what lies square to the axis
    left = np.sqrt(1 - (np.sin(tilt) * np.cos(axis)) ** 2)
    row, column = untilted_grid(seen(40.0, "r"), seen(40.0, "c"), half_range_deg, key="g")
    found = simulate(row, draws=400_000)
    assert found.value - 40.0 == pytest.approx(np.mean(40 / left) - 40, rel=0.03)
    assert found.u == pytest.approx(np.std(40 / left), rel=0.03)
    assert column.value == pytest.approx(row.value)


def test_what_the_rows_lose_the_columns_keep():
    row, column = untilted_grid(seen(40.0, "r"), seen(40.0, "c"), 15.0, key="g")
    alone = propagate(lambda a, b: a + b, [row, column], unit="px")
    cosine = {line.input.key: line for line in alone.lines}["g:tilt"]
    axis = {line.input.key: line for line in alone.lines}["g:tilt-axis"]
    assert abs(cosine.contribution) > 0.1
    assert axis.contribution == pytest.approx(0.0, abs=1e-6)
    assert covariance(row, column) < row.u**2


def test_a_grid_square_to_the_beam_is_left_as_it_is():
    pair = seen(40.0, "r"), seen(40.0, "c")
    assert untilted_grid(*pair, 0.0, key="g") == pair
