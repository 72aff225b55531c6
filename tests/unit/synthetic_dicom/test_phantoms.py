"""Phantoms and tilted wires of the generator, by formulas worked out again here."""

import numpy as np
import pytest

from synthetic_dicom import render_case
from synthetic_dicom.phantoms import BeadGrid, Lattice, StepPlate, WireGrid
from synthetic_dicom.reference_objects import MarkerBands
from synthetic_dicom.slope import Slope
from synthetic_dicom.xray_view import XraySetup

SETUP = XraySetup()
STILL = np.zeros(2)


def attenuated(item, places_mm):
    """Ray sums through places (x, y, h)."""
    return item.attenuation(SETUP, SETUP.project(np.array(places_mm, dtype=float)).T, STILL)


def test_a_lattice_counts_its_own_nodes():
    lattice = Lattice(centre_mm=(3.0, -2.0, 40.0), spacing_mm=8.0, size=(4, 6), turn_deg=25.0)
    nodes = lattice.nodes_mm()
    steps = lattice.steps(nodes[..., :2].reshape(-1, 2))
    assert steps == pytest.approx(np.array(list(np.ndindex(4, 6)), dtype=float))
    assert np.linalg.norm(nodes[1, 0] - nodes[0, 0]) == pytest.approx(8.0)
    assert (nodes[1, 0] - nodes[0, 0]) @ (nodes[0, 1] - nodes[0, 0]) == pytest.approx(0.0)
    # turned from the rows downwards (y) towards the columns (x)
    first = nodes[1, 0] - nodes[0, 0]
    assert np.rad2deg(np.arctan2(first[0], first[1])) == pytest.approx(25.0)


def test_a_ray_through_a_beads_centre_crosses_its_diameter_and_a_missing_one_nothing():
    lattice = Lattice(centre_mm=(0.0, 0.0, 10.0), size=(3, 3))
    grid = BeadGrid(id="grid", lattice=lattice, bead_mm=2.0, bead_per_mm=0.9, missing=((1, 2),))
    nodes = lattice.nodes_mm()
    assert attenuated(grid, [nodes[0, 0], nodes[2, 1]]) == pytest.approx(1.8)
    assert attenuated(grid, [nodes[1, 2], 0.5 * (nodes[0, 0] + nodes[1, 1])]) == pytest.approx(0.0)


def test_wires_add_up_where_they_cross():
    lattice = Lattice(centre_mm=(0.0, 0.0, 0.0), size=(3, 3))
    grid = WireGrid(id="grid", lattice=lattice, wire_mm=0.8, wire_per_mm=0.9)
    middle, beside, between = (0.0, 0.0, 0.0), (5.0, 0.0, 0.0), (5.0, 5.0, 0.0)
    assert attenuated(grid, [middle]) == pytest.approx(2 * 0.72)
    # 5 mm off the axis the ray slants by 5/750, and crosses a little more
    assert attenuated(grid, [beside]) == pytest.approx(0.72, rel=1e-3)
    assert attenuated(grid, [between, (0.0, 16.0, 0.0)]) == pytest.approx(0.0)


def test_strips_lie_between_even_edges_and_the_next():
    lattice = Lattice(centre_mm=(0.0, 0.0, 0.0), spacing_mm=4.0, size=(4, 2), turn_deg=90.0)
    plate = StepPlate(id="step", lattice=lattice, depth=0.5)
    strip, gap, other = ((x, 0.0, 0.0) for x in (-4.0, 0.0, 4.0))
    assert attenuated(plate, [strip, other]) == pytest.approx(0.5, rel=1e-3)
    assert attenuated(plate, [gap, (-9.0, 0.0, 0.0), (0.0, 30.0, 0.0)]) == pytest.approx(0.0)


@pytest.mark.parametrize("turn_deg", [0.0, 35.0, 90.0])
def test_a_slope_sees_a_cylinder_as_its_quadratic_does(turn_deg):
    """Where |p − (p·t)t|² = R² along p = source + λ·ray, solved for λ."""
    turn = np.deg2rad(turn_deg)
    start = np.array([-12.0, 4.0, -10.0])
    forward = np.array([np.cos(turn) * 0.9, np.sin(turn) * 0.9, np.sqrt(1 - 0.81)])
    path = Slope(start_mm=tuple(start), end_mm=tuple(start + 30.0 * forward))
    rng = np.random.default_rng(2)
    spots = start + rng.uniform(5, 25, (40, 1)) * forward + rng.normal(0, 0.6, (40, 3))
    pixels = SETUP.project(spots).T
    found = path.rays(SETUP, pixels, STILL).chord(1.0)
    ray, source = SETUP.rays(*pixels), SETUP.source_mm() - start
    flat_ray = ray - np.outer(forward, forward @ ray)
    flat_source = source - (source @ forward) * forward
    a = (flat_ray**2).sum(axis=0)
    b = flat_source @ flat_ray
    c = flat_source @ flat_source - 1.0
    expected = 2 * np.sqrt(np.maximum(b**2 - a * c, 0.0)) / a
    assert found == pytest.approx(expected, abs=1e-6)
    assert (expected > 0).sum() > 10


def test_a_tilted_row_has_gaps_that_shrink_by_the_cosine_and_grow_towards_the_source():
    rise = np.deg2rad(18.0)
    end = 60.0 * np.array([0.0, np.cos(rise), np.sin(rise)])
    wire = MarkerBands(
        id="m", path=Slope(start_mm=(0.0, -30.0, 0.0), end_mm=(end[0], end[1] - 30.0, end[2]))
    )
    bands = SETUP.project(np.array([wire.path.point_mm(one) for one in wire.centres_mm()]))
    gaps = np.hypot(*np.diff(bands, axis=0).T)
    assert wire.path.tilt_deg == pytest.approx(18.0)
    assert np.all(np.diff(gaps) > 0)
    flat = 10.0 / SETUP.mm_per_px(wire.path.point_mm(29.0)[2])[0]
    assert gaps[1] == pytest.approx(flat * np.cos(rise), rel=0.01)


def test_bands_may_be_missing_and_off_their_places():
    path = Slope(start_mm=(0.0, 0.0, 0.0), end_mm=(0.0, 60.0, 0.0))
    wire = MarkerBands(id="m", path=path, missing=(1,), off_mm=(0.0, 5.0, 0.3, -0.2))
    assert wire.centres_mm() == pytest.approx((14.0, 34.3, 43.8))


@pytest.mark.parametrize("name", ["xa_wire_grid", "xa_bead_grid"])
def test_a_grid_is_darkest_at_its_true_nodes(name):
    from scipy.ndimage import gaussian_filter, map_coordinates

    frames, truth = render_case(name, frames=1)
    smooth = gaussian_filter(frames[0].astype(float), 1.5)
    [thing] = truth.objects
    nodes = np.array(thing.node_px)
    there = np.ones(nodes.shape[:2], dtype=bool)
    for step in thing.missing:
        there[step] = False
    at = map_coordinates(smooth, nodes[there].T, order=1)
    for shift in ((4, 0), (-4, 0), (0, 4), (0, -4), (4, 4)):
        beside = map_coordinates(smooth, nodes[there].T + np.array([shift]).T, order=1)
        assert np.all(at < beside)
    if thing.missing:
        gone = map_coordinates(smooth, nodes[~there].T, order=1)
        assert gone.min() > 1.05 * at.max()


def test_a_plates_edges_stand_halfway_between_dark_and_bright():
    from scipy.ndimage import gaussian_filter, map_coordinates

    frames, truth = render_case("xa_step", frames=1)
    smooth = gaussian_filter(frames[0].astype(float), 2.0)
    edges = np.array(truth.objects[0].edge_px)
    middles = 0.5 * (edges[1:] + edges[:-1])
    level = map_coordinates(smooth, middles.T, order=1)
    assert np.all(level[0::2] < 0.75 * level[1::2].mean())
    at = map_coordinates(smooth, edges.T, order=1)
    assert at == pytest.approx(0.5 * (level[0::2].mean() + level[1::2].mean()), rel=0.04)
