"""Where a point is: the array's convention against the standard's (PS3.3 C.18.6)."""

import pytest
from hypothesis import given

from annot.geometry import ImagePoint, PixelPoint, pixel_point, to_image_point, to_pixel_point
from tests.strategies import NOT_NUMBERS, points


def test_first_pixels_centre_is_half_a_pixel_in_and_column_comes_first():
    assert to_image_point(PixelPoint(0.0, 0.0)) == ImagePoint(0.5, 0.5)
    assert to_image_point(PixelPoint(10.0, 20.0)) == ImagePoint(column=20.5, row=10.5)
    assert to_pixel_point(ImagePoint(column=20.5, row=10.5)) == PixelPoint(10.0, 20.0)


@given(points)
def test_there_and_back_is_the_same_place(point):
    assert to_pixel_point(to_image_point(point)) == pytest.approx(point, abs=1e-9)


@pytest.mark.parametrize(
    ("row", "column", "inside"),
    [
        (0, 0, True),
        (-0.5, -0.5, True),
        (9.5, 19.5, True),
        (9.51, 5, False),
        (5, 19.51, False),
        (-0.51, 5, False),
        (5, -0.51, False),
        *((bad, 5, False) for bad in NOT_NUMBERS),
        *((5, bad, False) for bad in NOT_NUMBERS),
    ],
)
def test_an_image_reaches_half_a_pixel_beyond_its_outer_centres(row, column, inside):
    assert PixelPoint(row, column).is_inside(10, 20) is inside


def test_pairs_become_points_in_the_order_row_column():
    assert pixel_point([3, 4]) == PixelPoint(row=3.0, column=4.0)


@pytest.mark.parametrize("bad", NOT_NUMBERS)
@pytest.mark.parametrize("place", [0, 1])
def test_points_of_no_finite_number_are_refused(bad, place):
    pair = [1.0, 2.0]
    pair[place] = bad
    with pytest.raises(ValueError, match="two finite numbers"):
        pixel_point(pair)
