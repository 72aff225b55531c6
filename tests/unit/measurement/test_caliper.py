"""What a caliper may be: refusals with what, where and what to do."""

import math

import pytest

from annot.errors import InputError
from annot.geometry import PixelPoint
from annot.vocabulary import MEASURANDS
from tests.strategies import NOT_NUMBERS, caliper

A, B = PixelPoint(10.0, 10.0), PixelPoint(10.0, 40.0)


@pytest.mark.parametrize("points", [(), (A,), (A, B, PixelPoint(40, 40))])
def test_a_straight_quantity_takes_two_points(points):
    with pytest.raises(
        InputError, match=r"Caliper lz1: Landing zone width takes 2 to 2 points, got"
    ):
        caliper(points=points)


def test_a_depth_takes_a_path_of_up_to_twelve_points():
    path = tuple(PixelPoint(10.0 * n, 10.0) for n in range(12))
    assert caliper(measurand=MEASURANDS["depth"], points=path).length_px == pytest.approx(110)
    with pytest.raises(InputError, match="takes 2 to 12 points, got 13"):
        caliper(measurand=MEASURANDS["depth"], points=(*path, PixelPoint(130, 10)))


@pytest.mark.parametrize("points", [(A, A), (A, PixelPoint(10.5, 10.5))])
def test_ends_on_one_spot_are_refused(points):
    with pytest.raises(
        InputError, match=r"Caliper lz1: .* less than one pixel apart; draw it again"
    ):
        caliper(points=points)


def test_a_contour_on_one_line_is_refused():
    line = tuple(PixelPoint(100.0 + 10 * n, 100.0 + 10 * n) for n in range(8))
    with pytest.raises(InputError, match=r"Caliper lz1: .*lie on one line, so it has no inside"):
        caliper(measurand=MEASURANDS["ostium_contour"], points=line)


@pytest.mark.parametrize("bad", NOT_NUMBERS)
def test_points_that_are_no_numbers_are_refused_as_a_person_s_input(bad):
    with pytest.raises(InputError, match=r"Caliper lz1: .*finite"):
        caliper(points=(A, PixelPoint(10.0, bad)))


def test_the_uncertainty_of_an_end_comes_in_one_unit():
    with pytest.raises(InputError, match=r"Caliper lz1: .* in px or in mm, not in both"):
        caliper(u_end_px=1.0, u_end_mm=0.2)


@pytest.mark.parametrize("name", ["u_end_px", "u_end_mm"])
@pytest.mark.parametrize("bad", [0.0, -1.0, *NOT_NUMBERS])
def test_the_uncertainty_of_an_end_is_positive(name, bad):
    with pytest.raises(InputError, match=r"Caliper lz1: .*positive"):
        caliper(**{name: bad})


@pytest.mark.parametrize("bad", [-1.0, 61.0, *NOT_NUMBERS])
def test_a_tilt_lies_between_0_and_60_degrees(bad):
    with pytest.raises(InputError, match=r"Caliper lz1: .*tilt.* 0 to 60 degrees"):
        caliper(tilt_deg=bad)


def test_length_in_pixels_is_the_path_s():
    assert caliper(points=(PixelPoint(0, 0), PixelPoint(30, 40))).length_px == pytest.approx(50)
    assert math.isfinite(caliper().length_px)
