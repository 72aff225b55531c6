"""Landmarks from two views against OpenCV's triangulatePoints."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from annot.geometry.projection import Projection, nearest_crossing
from annot.measurement.space_fit import fit_space

# Two constructed projection matrices, points and their pictures (x, y from the image's corner);
# OpenCV 5.0.0 recovers the points to 1e-14.
FIRST = [
    [4586.127018922, -2056.594993262, 0.0, 384000.0],
    [256.0, 443.405006738, -5000.0, 384000.0],
    [0.5, 0.866025404, 0.0, 750.0],
]
SECOND = [
    [4089.565708001, 2916.664412851, -175.114313383, 384000.0],
    [614.489047393, -1064.326250779, -4873.577417312, 384000.0],
    [-0.46984631, 0.813797681, -0.342020143, 750.0],
]
POINTS = np.array([[10, -5, 20], [0, 0, 0], [-15, 12, 3]], dtype=float)
SEEN = (
    [[586.3353, 378.785649], [512, 512], [385.883815, 492.076832]],
    [[553.941176, 405.770916], [512, 512], [466.358202, 453.637791]],
)


def view(primary, secondary=0.0, **more):
    return Projection(
        **{
            "primary_deg": primary,
            "secondary_deg": secondary,
            "sid_mm": 1000.0,
            "sod_mm": 750.0,
            "spacing_mm": (0.2, 0.2),
            "rows": 1025,
            "columns": 1025,
        }
        | more
    )


def matrix_of(one, scale):
    """Return the 3 × 4 matrix of a view, from its picture of known points (direct linear)."""
    rng = np.random.default_rng(0)
    world = rng.uniform(-80, 80, (40, 3))
    pixels = one.project(world)[:, ::-1]
    rows = []
    for place, (x, y) in zip(world / scale, pixels, strict=True):
        corner = [*place, 1.0]
        rows.append([*corner, 0, 0, 0, 0, *(-x * np.array(corner))])
        rows.append([0, 0, 0, 0, *corner, *(-y * np.array(corner))])
    return np.linalg.svd(np.array(rows))[2][-1].reshape(3, 4)


def opencv(matrices, pixels):
    found = cv2.triangulatePoints(*matrices, *(np.asarray(one, dtype=float).T for one in pixels))
    return (found[:3] / found[3]).T


def test_constructed_matrices_and_points_are_seen_alike():
    # the matrices' second axis points to the front: ours, as DICOM's, to the back
    turned = POINTS * [1, -1, 1]
    views = view(30.0), view(-30.0, -20.0)
    for one, seen in zip(views, SEEN, strict=True):
        assert one.project(turned)[:, ::-1] == pytest.approx(np.array(seen), abs=1e-5)
    pixels = tuple(np.array(seen, dtype=float) for seen in SEEN)
    assert opencv((np.array(FIRST), np.array(SECOND)), pixels) == pytest.approx(POINTS, abs=1e-5)
    places, _ = nearest_crossing(*views, tuple(one[:, ::-1] for one in pixels))
    assert places == pytest.approx(turned, abs=1e-5)
    assert np.linalg.norm(places[0] - places[2]) == pytest.approx(34.68429039204925, abs=1e-5)


@pytest.mark.parametrize("apart", [20, 45, 90, 120])
def test_exact_points_agree_with_opencv(apart):
    views = view(-30.0, 10.0), view(-30.0 + apart, -5.0, spacing_mm=(0.2, 0.25), columns=900)
    pixels = tuple(one.project(POINTS) for one in views)
    # OpenCV loses points of a millimetre world at small angles: divide the world by SOD
    scaled = opencv([matrix_of(one, one.sod_mm) for one in views], [one[:, ::-1] for one in pixels])
    places, misses = nearest_crossing(*views, pixels)
    assert places == pytest.approx(750.0 * scaled, abs=1e-6)
    assert places == pytest.approx(POINTS, abs=1e-9)
    assert np.max(np.abs(misses)) < 1e-9
    fit = fit_space(views, np.stack(pixels, axis=1), np.ones(3), u_shift_mm=2.0)
    assert fit.places_mm == pytest.approx(750.0 * scaled, abs=1e-6)


def test_noisy_points_agree_with_opencv_within_the_noise():
    views = view(-30.0), view(50.0)
    rng = np.random.default_rng(4)
    pixels = tuple(one.project(POINTS) + rng.normal(0, 0.5, (3, 2)) for one in views)
    scaled = opencv([matrix_of(one, one.sod_mm) for one in views], [one[:, ::-1] for one in pixels])
    fit = fit_space(views, np.stack(pixels, axis=1), np.full(3, 0.5), u_shift_mm=1e-6)
    # both minimise misfit, one algebraic, one in pixels; 0.5 px are 0.075 mm
    assert fit.places_mm == pytest.approx(750.0 * scaled, abs=0.01)


# SD of a point along the bisector of two views, σ/(√2·sin(φ/2)), and across: parallel-beam theory
@pytest.mark.parametrize("apart", [20, 30, 45, 60, 90])
def test_depth_gets_uncertain_as_views_close_in(apart):
    views = view(-apart / 2), view(apart / 2)
    u_px = 0.075 / (0.2 * 0.75)
    point = np.stack([one.project(np.zeros(3))[0] for one in views])[None]
    fit = fit_space(views, point, np.array([u_px]), u_shift_mm=1e-9)
    spread = fit.gain[:3, :4] @ fit.gain[:3, :4].T * u_px**2
    half = np.deg2rad(apart / 2)
    assert np.sqrt(spread[1, 1]) == pytest.approx(0.075 / (np.sqrt(2) * np.sin(half)), rel=0.03)
    assert np.sqrt(spread[0, 0]) == pytest.approx(0.075 / (np.sqrt(2) * np.cos(half)), rel=0.03)
    assert np.sqrt(spread[2, 2]) == pytest.approx(0.075 / np.sqrt(2), rel=0.03)


def test_a_shift_is_found_from_common_landmarks_but_not_along_the_sources_line():
    first = view(-30.0)
    second = replace(view(50.0), shift_mm=(0.0, 0.0, 4.0))
    places = np.array([[10.0, -20, 30], [0, 0, 0], [-25, 22, -13], [40, 5, -30]])
    points = np.stack([first.project(places), second.project(places)], axis=1)
    fit = fit_space((first, view(50.0)), points, np.full(4, 0.1), u_shift_mm=20.0)
    assert fit.shift_mm[2] == pytest.approx(4.0, abs=0.05)
    along = second.source_mm - first.source_mm
    assert fit.shift_mm @ along / np.linalg.norm(along) == pytest.approx(0.0, abs=0.05)
