"""A smooth closed curve against exact ellipses and against the plain polygon."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import ellipe

from annot.geometry import (
    PixelPoint,
    chord_knots,
    crosses_itself,
    polygon_area,
    polygon_perimeter,
    smooth_area,
    smooth_perimeter,
)
from tests.strategies import contours


def ellipse(major, minor, count, turn=0.0):
    angles = 2 * np.pi * (np.arange(count) + turn) / count
    return [PixelPoint(0.5 * major * math.sin(a), 0.5 * minor * math.cos(a)) for a in angles]


def sizes(points):
    rows, columns = np.array(points).T
    knots = chord_knots(points)
    return float(smooth_area(rows, columns, knots)), float(
        smooth_perimeter(rows, columns, tuple(points), knots)
    )


@pytest.mark.parametrize(("count", "tolerance"), [(8, 0.02), (12, 0.004), (24, 3e-4), (60, 1e-5)])
@pytest.mark.parametrize(("major", "minor"), [(200, 200), (240, 180), (300, 150)])
def test_vertices_on_an_ellipse_give_its_area_and_perimeter(major, minor, count, tolerance):
    """Exact: πab/4 and the complete elliptic integral (SciPy's own)."""
    area, perimeter = sizes(ellipse(major, minor, count))
    assert area == pytest.approx(math.pi * major * minor / 4, rel=tolerance)
    exact = 2 * major * ellipe(1 - (minor / major) ** 2)
    assert perimeter == pytest.approx(exact, rel=tolerance)


def test_eight_vertices_of_a_circle_make_a_polygon_of_nine_tenths():
    rows, columns = np.array(ellipse(200, 200, 8)).T
    part = 8 / (2 * math.pi) * math.sin(2 * math.pi / 8)
    assert polygon_area(rows, columns) / (math.pi * 100**2) == pytest.approx(part, rel=1e-12)
    assert part == pytest.approx(0.900, abs=5e-4)
    assert polygon_perimeter(rows, columns) == pytest.approx(8 * 200 * math.sin(math.pi / 8))


@given(contours(), st.integers(0, 15), st.booleans())
def test_start_and_direction_of_a_contour_do_not_matter(points, start, backwards):
    other = [*points[start % len(points) :], *points[: start % len(points)]]
    other = other[::-1] if backwards else other
    assert sizes(other) == pytest.approx(sizes(points), rel=1e-9)


@given(contours(), st.floats(0.2, 5.0))
def test_area_grows_with_the_square_and_perimeter_with_the_size(points, factor):
    grown = [PixelPoint(factor * p.row, factor * p.column) for p in points]
    area, perimeter = sizes(points)
    assert sizes(grown) == pytest.approx((factor**2 * area, factor * perimeter), rel=1e-9)


@given(contours())
def test_no_closed_curve_holds_more_than_a_circle_of_its_perimeter(points):
    """Isoperimetric inequality: 4πA ≤ P²."""
    area, perimeter = sizes(points)
    assert 4 * math.pi * area <= perimeter**2 * (1 + 1e-6)


@given(contours())
def test_a_contour_seen_in_order_from_inside_does_not_cross_itself(points):
    assert not crosses_itself(points)


def test_an_eight_crosses_itself_and_neighbours_do_not_count():
    square = [PixelPoint(0, 0), PixelPoint(0, 10), PixelPoint(10, 10), PixelPoint(10, 0)]
    assert not crosses_itself(square)
    assert crosses_itself([square[0], square[2], square[1], square[3]])
