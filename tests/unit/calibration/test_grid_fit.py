"""Grids between four corners: found, turned, tilted, bent, broken; all drawn here."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.calibration.grid_fit import GridFit, fit_grid
from annot.calibration.grid_nodes import homography, projected
from annot.calibration.intensity import StoredPixels
from annot.calibration.known_objects import KnownSize
from annot.calibration.object_in_frame import size_in_frames
from annot.calibration.request import ObjectReading, ObjectRequest
from annot.calibration.scale import NoScale
from annot.geometry import PixelPoint
from tests.unit.calibration.conftest import chord, detected, fine_grid

CORNERS = ((0, 0), (-1, 0), (-1, -1), (0, -1))


def square(count=(4, 5), *, pitch=(34.0, 34.0), turn_deg=6.0, start=(32.0, 58.0)):
    """Nodes (row, column), shape (n, m, 2), of a turned square grid with two pixel pitches."""
    turn = np.deg2rad(turn_deg)
    one, two = np.meshgrid(*(np.arange(n) for n in count), indexing="ij")
    row = start[0] + pitch[0] * (one * np.cos(turn) - two * np.sin(turn))
    column = start[1] + pitch[1] * (one * np.sin(turn) + two * np.cos(turn))
    return np.stack([row, column], -1) + np.array([20.0, 0.0])


def beads(nodes, *, missing=(), seed=1, photons=4000.0, shape=(190, 250)):
    row, column = fine_grid(*shape)
    depth = np.zeros(row.shape)
    for step in np.ndindex(nodes.shape[:2]):
        if step not in missing:
            centre = nodes[step]
            depth = depth + 0.15 * chord(8.0, np.hypot(row - centre[0], column - centre[1]))
    return detected(depth, blur_px=1.0, veil=0.1, seed=seed, photons=photons)


def corners(nodes, sd_px=1.5, seed=0):
    rng = np.random.default_rng(seed)
    return tuple(PixelPoint(*(nodes[one] + rng.normal(0, sd_px, 2))) for one in CORNERS)


def fitted(nodes, **options) -> GridFit:
    found = fit_grid(beads(nodes, **options), corners(nodes))
    assert isinstance(found, GridFit), found
    return found


@pytest.fixture(scope="module")
def plain():
    return fitted(square())


def test_pitch_turn_and_nodes_are_found(plain):
    assert plain.make == "beads"
    assert plain.size == (4, 5)
    assert plain.pitch_row_px == pytest.approx(34.0, abs=4 * plain.u_pitch_row_px)
    assert plain.pitch_column_px == pytest.approx(34.0, abs=4 * plain.u_pitch_column_px)
    assert plain.rotation_deg == pytest.approx(6.0, abs=4 * plain.u_rotation_deg)
    assert plain.u_pitch_row_px < 0.03
    true = square()
    assert max(np.hypot(*(node.place - true[node.step])) for node in plain.nodes) < 0.12
    assert plain.largest_px < 0.12


def test_a_file_whose_values_fall_with_the_intensity_gives_the_same_spacing():
    nodes = square()
    reading = ObjectReading(frame=0, points=corners(nodes))
    size = KnownSize(name="grid", size_mm=7.0, tolerance_mm=0.03, source="measured")
    request = ObjectRequest(kind="grid", size=size, readings=(reading,))
    top = 65535
    plain, turned = (
        size_in_frames(
            {0: frame}, request, key="k", full_scale=float(top), aspect=1.0, stored=stored
        )
        for frame, stored in (
            (beads(nodes), StoredPixels()),
            ((top - beads(nodes)).astype(np.uint16), StoredPixels(sign=-1)),
        )
    )
    assert turned.size.value == pytest.approx(plain.size.value, rel=1e-9)


def test_the_corners_may_go_round_either_way():
    nodes = square()
    picture = beads(nodes)
    there = corners(nodes)
    back = (there[0], there[3], there[2], there[1])
    found = fit_grid(picture, back)
    assert isinstance(found, GridFit)
    assert found.size == (5, 4)
    assert found.pitch_row_px == pytest.approx(34.0, abs=0.05)


def test_pixels_wider_than_high_show_as_two_pitches():
    found = fitted(square(pitch=(34.0, 32.0)))
    assert found.pitch_row_px / found.pitch_column_px == pytest.approx(34 / 32, abs=0.003)


def test_missing_nodes_are_named_and_change_nothing_else():
    found = fitted(square(), missing={(1, 2), (3, 4)})
    assert set(found.missing) == {(1, 2), (3, 4)}
    assert found.pitch_row_px == pytest.approx(34.0, abs=0.05)


def test_a_tilted_grid_shows_its_keystone():
    """Size grows by c a step when x = s/(1 − c·s): here 0.3 % a step along the second direction."""
    nodes = square(turn_deg=0.0)
    middle = nodes.mean(axis=(0, 1))
    step = np.arange(5) - 2.0
    nodes = middle + (nodes - middle) / (1 - 0.003 * step)[None, :, None]
    found = fitted(nodes)
    assert found.keystone[1] == pytest.approx(0.003, abs=4 * found.u_keystone[1])
    assert abs(found.keystone[0]) < 5 * found.u_keystone[0]
    assert found.u_keystone[1] < 0.0006


def test_a_bent_picture_shows_in_the_residuals_and_in_the_uncertainty(plain):
    nodes = square()
    away = nodes - np.array([95.0, 125.0])
    bent = nodes + 4e-6 * away * (away**2).sum(axis=-1, keepdims=True)
    found = fitted(bent)
    assert found.largest_px > 3 * plain.largest_px
    assert found.u_pitch_row_px > 2 * plain.u_pitch_row_px


@pytest.mark.parametrize(
    ("marks", "words"),
    [
        (((20, 20), (20, 90), (90, 20), (90, 90)), "do not go round"),
        (((20, 20), (20, 30), (90, 90), (90, 20)), "shorter than"),
        (((20, 20), (20, 900), (90, 900), (90, 20)), "off the image"),
        (((20, 20), (20, 90), (90, 90)), "four corners, not 3"),
    ],
)
def test_corners_that_are_none_are_refused(marks, words):
    found = fit_grid(beads(square()), tuple(PixelPoint(*map(float, one)) for one in marks))
    assert isinstance(found, NoScale)
    assert words in found.reason


def test_an_empty_picture_holds_no_grid():
    nodes = square()
    empty = beads(nodes, missing=set(np.ndindex(4, 5)))
    found = fit_grid(empty, corners(nodes))
    assert isinstance(found, NoScale)


@given(
    seed=st.integers(0, 10_000),
    tilt=st.tuples(st.floats(-0.02, 0.02), st.floats(-0.02, 0.02)),
)
def test_a_projective_map_is_found_from_what_it_maps(seed, tilt):
    rng = np.random.default_rng(seed)
    true = np.array([[30.0, 2.0, 5.0], [-3.0, 28.0, 9.0], [*tilt, 1.0]])
    points = np.stack(np.meshgrid(np.arange(5.0), np.arange(4.0)), -1).reshape(-1, 2)
    points += rng.normal(0, 0.1, points.shape)
    found = homography(points, projected(true, points))
    assert found == pytest.approx(true, abs=1e-6)
