"""Closed-form chords against geometry and against dense sampling."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from synthetic_dicom.anatomy import Anatomy
from synthetic_dicom.plane_section import PlanePoints, nearest_wall
from synthetic_dicom.quadrics import ellipsoid, ray_interval, union_length

SOURCE = np.array([40.0, -700.0, 15.0])


def rays_to(targets):
    away = targets - SOURCE[:, np.newaxis]
    return away / np.sqrt((away**2).sum(axis=0))


def level(solid, points):
    """Evaluate the defining inequality itself."""
    body = solid.whiten @ (points - solid.centre_mm[:, np.newaxis])
    value = body[0] ** 2 + body[1] ** 2 + solid.third_sign * body[2] ** 2
    low, high = solid.axial_mm
    return (value <= 1.0) & (points[2] >= low) & (points[2] <= high)


@given(
    offset=st.floats(0.0, 12.0),
    radius=st.floats(0.5, 10.0),
    turn=st.floats(0.0, 2 * np.pi),
)
def test_chord_of_a_sphere_follows_pythagoras(offset, radius, turn):
    # Elementary geometry: a chord at distance p from the centre is 2·sqrt(r² - p²).
    centre = np.array([3.0, 5.0, -2.0])
    ball = ellipsoid(centre, np.full(3, radius), np.eye(3))
    beside = np.array([np.cos(turn), 0.0, np.sin(turn)])
    start = centre + offset * beside - np.array([0.0, 600.0, 0.0])
    entry, leave = ray_interval(ball, start, np.array([[0.0], [1.0], [0.0]]))
    expected = 2.0 * np.sqrt(max(radius**2 - offset**2, 0.0))
    assert leave[0] - entry[0] == pytest.approx(expected, abs=2e-4 * np.sqrt(radius))


@settings(max_examples=15, deadline=None)
@given(
    bend=st.floats(0.0, 70.0),
    taper=st.floats(0.8, 0.95),
    orientation=st.floats(0.0, 180.0),
)
def test_union_of_the_appendage_agrees_with_dense_sampling(bend, taper, orientation):
    anatomy = Anatomy(bend_deg=bend, taper=taper, orientation_deg=orientation)
    solids = (anatomy.neck(), *anatomy.lobes())
    rng = np.random.default_rng(4)
    targets = np.array([rng.uniform(-9, 9, 24), rng.uniform(-3, 3, 24), rng.uniform(2, 24, 24)])
    rays = rays_to(targets)
    spans = [ray_interval(solid, SOURCE, rays) for solid in solids]
    exact = union_length(np.array([s[0] for s in spans]), np.array([s[1] for s in spans]))
    step = 0.02
    along = np.arange(650.0, 760.0, step)
    for index in range(rays.shape[1]):
        points = SOURCE[:, np.newaxis] + rays[:, index : index + 1] * along
        inside = np.any([level(solid, points) for solid in solids], axis=0)
        assert exact[index] == pytest.approx(inside.sum() * step, abs=len(solids) * step)


def test_union_counts_an_overlap_once():
    entries = np.array([[0.0, 5.0, 1.0], [2.0, 1.0, 0.0]])
    leaves = np.array([[4.0, 6.0, 2.0], [3.0, 2.0, 0.0]])
    assert union_length(entries, leaves) == pytest.approx([4.0, 2.0, 1.0])


def test_a_ray_that_misses_has_no_length():
    ball = ellipsoid(np.zeros(3), np.ones(3), np.eye(3))
    entry, leave = ray_interval(ball, SOURCE, rays_to(np.array([[5.0], [0.0], [5.0]])))
    assert entry[0] == leave[0] == 0.0


def test_bounds_hold_the_solid_and_touch_it():
    anatomy = Anatomy()
    rng = np.random.default_rng(5)
    points = rng.uniform(-30.0, 45.0, (3, 400_000))
    for solid in (anatomy.neck(), *anatomy.lobes()):
        low, high = solid.bounds_mm()
        inside = points[:, level(solid, points)]
        assert (inside >= low[:, np.newaxis] - 1e-9).all()
        assert (inside <= high[:, np.newaxis] + 1e-9).all()
        assert inside.max(axis=1) == pytest.approx(high, abs=2.0)


def test_stretching_moves_every_surface_point_with_it():
    solid = Anatomy().lobes()[1]
    factors = np.array([0.9, 0.8, 0.95])
    surface = solid.centre_mm + np.linalg.inv(solid.whiten) @ np.array([0.6, 0.0, 0.8])
    moved = solid.stretched(factors)
    body = moved.whiten @ (surface * factors - moved.centre_mm)
    assert np.linalg.norm(body) == pytest.approx(1.0)


def test_distance_in_a_plane_is_that_of_a_circle():
    ball = ellipsoid(np.array([0.0, 0.0, 4.0]), np.full(3, 6.0), np.eye(3))
    lateral = np.array([6.05, 5.9, 0.0])
    points = PlanePoints(
        lateral_mm=lateral, axial_mm=np.full(3, 4.0), direction=np.array([0.6, 0.8, 0.0])
    )
    distance = nearest_wall((ball,), points)
    assert distance[:2] == pytest.approx([0.05, -0.1], abs=2e-3)
    assert distance[2] < -6.0
