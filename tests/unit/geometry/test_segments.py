"""Lengths, stations and profiles along straight pieces."""

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.geometry import PixelPoint, along, length_px, normals_of, profiles
from tests.strategies import paths


@given(paths(longest=6))
def test_a_path_is_as_long_as_its_pieces(path):
    """Outside reference: math.dist."""
    assert length_px(path) == pytest.approx(
        sum(itertools.starmap(math.dist, itertools.pairwise(path)))
    )


@given(paths(longest=6), st.floats(0.1, 10))
def test_scaling_all_points_scales_the_length(path, factor):
    scaled = [PixelPoint(row * factor, column * factor) for row, column in path]
    assert length_px(scaled) == pytest.approx(factor * length_px(path))


@given(paths(longest=5))
def test_a_path_read_backwards_is_as_long(path):
    assert length_px(path[::-1]) == pytest.approx(length_px(path))


@given(paths(longest=5), st.floats(0, 1))
def test_stations_lie_on_the_path_at_their_arc_length(path, part):
    total = length_px(path)
    (place,), (tangent,) = along(path, np.array([part * total]))
    assert np.hypot(*tangent) == pytest.approx(1.0)
    pieces = list(itertools.pairwise(path))
    walked = 0.0
    found = False
    for first, second in pieces:
        length = math.dist(first, second)
        gone = math.dist(first, place)
        on_piece = gone + math.dist(place, second) == pytest.approx(length, abs=1e-6)
        found |= on_piece and walked + gone == pytest.approx(part * total, abs=1e-6)
        walked += length
    assert found


def test_normals_are_a_quarter_turn_from_the_tangent():
    _, tangents = along([PixelPoint(0, 0), PixelPoint(3, 4)], np.array([1.0, 2.0]))
    normals = normals_of(tangents)
    assert np.sum(normals * tangents, axis=1) == pytest.approx([0, 0])
    assert np.hypot(*normals.T) == pytest.approx([1, 1])


def test_a_station_at_a_corner_takes_the_piece_that_follows():
    places, tangents = along(
        [PixelPoint(0, 0), PixelPoint(0, 5), PixelPoint(5, 5)], np.array([5.0])
    )
    assert places.tolist() == [[0, 5]]
    assert tangents.tolist() == [[1, 0]]


def test_profiles_of_a_plane_are_exact_between_pixels():
    rows, columns = np.mgrid[0:40, 0:50]
    frame = 3.0 * rows - 2.0 * columns + 7.0
    offsets = np.array([-4.3, 0.0, 5.7])
    (line,) = profiles(frame, np.array([[20.2, 25.4]]), np.array([[0.6, 0.8]]), offsets)
    expected = 3 * (20.2 + 0.6 * offsets) - 2 * (25.4 + 0.8 * offsets) + 7
    assert line == pytest.approx(expected, abs=1e-3)


def test_samples_off_the_image_are_not_numbers():
    frame = np.ones((20, 20), dtype=np.uint16)
    (line,) = profiles(
        frame, np.array([[10.0, 2.0]]), np.array([[0.0, 1.0]]), np.array([-5.0, 0, 5])
    )
    assert np.isnan(line).tolist() == [True, False, False]
    assert line[1:] == pytest.approx([1, 1])
