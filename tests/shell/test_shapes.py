import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.geometry import PixelPoint
from napari_annot.shapes import (
    circle,
    clamp,
    crossbars,
    distance_px,
    distance_to_line_px,
    to_pixel_point,
    to_vertices,
)

COORDINATE = st.floats(-1e4, 1e4)


@given(st.lists(st.tuples(COORDINATE, COORDINATE), min_size=2, max_size=6), st.integers(0, 999))
def test_points_survive_the_way_to_vertices_and_back(pairs, frame):
    points = [PixelPoint(*pair) for pair in pairs]
    vertices = to_vertices(points, frame)
    assert vertices.shape == (len(points), 3)
    assert set(vertices[:, 0]) == {frame}
    assert [to_pixel_point(vertex) for vertex in vertices] == points


def test_a_pixel_centre_lies_at_whole_numbers_as_in_napari():
    # against napari itself: the value under a whole-numbered place is that very pixel's
    from napari.layers import Image

    picture = np.arange(12.0).reshape(1, 3, 4)
    layer = Image(picture)
    point = to_pixel_point((0, 2.4, 0.6))
    assert layer.get_value((0.0, *point)) == picture[0, 2, 1]


@pytest.mark.parametrize(
    "vertex", [(1.0,), (1.0, 2.0, 3.0, 4.0), (0, math.nan, 1), (0, 1, math.inf)]
)
def test_what_is_no_place_is_refused(vertex):
    with pytest.raises(ValueError, match="vertex"):
        to_pixel_point(vertex)


def test_clamping_keeps_points_on_pixel_centres():
    assert clamp(PixelPoint(-3, 700), 480, 640) == (0, 639)
    assert clamp(PixelPoint(12.5, 6.25), 480, 640) == (12.5, 6.25)


@given(COORDINATE, COORDINATE, COORDINATE, COORDINATE)
def test_crossbars_stand_square_on_the_ends(a, b, c, d):
    line = (PixelPoint(a, b), PixelPoint(c, d))
    if distance_px(*line) < 1:
        return
    for end, (one, other) in zip(line, crossbars(line, 10.0), strict=True):
        assert distance_px(one, other) == pytest.approx(10, rel=1e-6)
        middle = np.mean([one, other], axis=0)
        assert middle == pytest.approx(end, abs=1e-6)
        across = np.subtract(one, other) @ np.subtract(*line)
        assert across == pytest.approx(0, abs=1e-5 * distance_px(*line))


def test_distance_to_a_line_ends_at_its_ends():
    line = (PixelPoint(0, 0), PixelPoint(0, 10))
    assert distance_to_line_px(PixelPoint(3, 5), line) == 3
    assert distance_to_line_px(PixelPoint(3, 14), line) == 5


def test_a_circle_is_closed_and_round():
    ring = circle(PixelPoint(5, 5), PixelPoint(5, 8))
    assert ring[0] == pytest.approx(ring[-1])
    assert [distance_px(PixelPoint(5, 5), point) for point in ring] == pytest.approx([3] * 49)
