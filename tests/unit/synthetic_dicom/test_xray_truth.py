"""Projected truth against independent formulas."""

from dataclasses import replace

import numpy as np
import pytest

from synthetic_dicom.cases import CASES, render_case
from synthetic_dicom.filled_shape import filled_shape
from synthetic_dicom.scene import beating_anatomy
from synthetic_dicom.xray_truth import shadow_width_px, silhouette_caliper, tangent_width_mm
from synthetic_dicom.xray_view import XraySetup

TIMES = tuple(66.667 * index for index in range(20))


@pytest.mark.parametrize(
    ("primary", "secondary", "receptor"),
    [
        (0.0, 0.0, (0.0, -1.0, 0.0)),  # in front of the chest
        (90.0, 0.0, (1.0, 0.0, 0.0)),  # at the patient's left: LAO is positive
        (-90.0, 0.0, (-1.0, 0.0, 0.0)),  # RAO is negative
        (0.0, 90.0, (0.0, 0.0, 1.0)),  # at the head: cranial is positive
    ],
)
def test_positioner_angles_follow_the_standard(primary, secondary, receptor):
    # DICOM PS3.3, XA Positioner module: position of the image receptor about the patient.
    axes = XraySetup(primary_deg=primary, secondary_deg=secondary).axes()
    assert -axes[2] == pytest.approx(receptor, abs=1e-12)
    assert np.linalg.det(axes) == pytest.approx(1.0)


def test_a_frontal_view_shows_the_patients_left_on_the_right_and_the_head_up():
    setup = XraySetup(primary_deg=0.0, secondary_deg=0.0)
    left, head = (setup.axes() @ np.array(p) for p in ([10.0, 0.0, 0.0], [0.0, 0.0, 10.0]))
    middle = setup.project(np.zeros(3))
    assert setup.project(left)[1] > middle[1]
    assert setup.project(head)[0] < middle[0]


@pytest.mark.parametrize(
    ("sod", "height", "percent"),
    [
        (750.0, 10.0, 1.351),
        (750.0, 20.0, 2.740),
        (750.0, 50.0, 7.143),
        (750.0, -10.0, -1.316),
        (750.0, -50.0, -6.250),
        (700.0, 20.0, 2.941),
        (700.0, -20.0, -2.778),
    ],
)
def test_magnification_grows_towards_the_source(sod, height, percent):
    # Worked by hand from M = SID/(SOD - h): 100·(SOD/(SOD - h) - 1).
    setup = XraySetup(sid_mm=1000.0, sod_mm=sod)
    gain = setup.mm_per_px(0.0)[0] / setup.mm_per_px(height)[0] - 1.0
    assert 100.0 * gain == pytest.approx(percent, abs=5e-4)
    seen = setup.project(np.array([[0.0, 0.0, height], [7.0, 0.0, height]]))
    assert seen[1, 1] - seen[0, 1] == pytest.approx(7.0 / setup.mm_per_px(height)[1])


def test_projecting_and_going_back_at_a_height_is_the_identity():
    setup = XraySetup(spacing_mm=(0.25, 0.2))
    points = np.array([[3.0, -8.0, 12.0], [-20.0, 4.0, 12.0]])
    assert setup.at_height(setup.project(points), 12.0) == pytest.approx(points[:, :2])


@pytest.mark.parametrize("name", ["xa_clean", "xa_caudal"])
@pytest.mark.parametrize("orientation", [0.0, 20.0, 65.0, 90.0, 140.0])
def test_silhouette_is_the_shadow_of_an_ellipse(name, orientation):
    # Shadow of an ellipse across a direction: sqrt(D²cos²φ + d²sin²φ).
    scene = CASES[name].scene
    drawn = beating_anatomy(1, TIMES)
    beating = replace(drawn, anatomy=replace(drawn.anatomy, orientation_deg=orientation))
    place = filled_shape(scene.setup, beating, index=0, ostium_mm=scene.ostium_mm(np.zeros(2)))
    axes = np.array([28.7, 21.5])
    caliper = silhouette_caliper(
        place, axes, ("ostium_width", 0), depth_mm=0.0, orientation_deg=orientation
    )
    angle = np.deg2rad(caliper.view_deg - orientation)
    expected = np.hypot(28.7 * np.cos(angle), 21.5 * np.sin(angle))
    assert caliper.value_mm == pytest.approx(expected, rel=1e-12)


def test_known_shadows_of_an_ellipse():
    # Worked by hand: 28.7 × 21.5 mm seen at 0, 45 and 90 degrees from the long axis.
    scene = CASES["xa_clean"].scene
    beating = beating_anatomy(1, TIMES)
    found = {}
    for off in (0.0, 45.0, 90.0):
        probe = replace(beating, anatomy=replace(beating.anatomy, orientation_deg=0.0))
        place = filled_shape(scene.setup, probe, index=0, ostium_mm=scene.ostium_mm(np.zeros(2)))
        flat = silhouette_caliper(
            place, np.array([20.0, 20.0]), ("x", 0), depth_mm=0.0, orientation_deg=0.0
        )
        turned = replace(probe, anatomy=replace(probe.anatomy, orientation_deg=flat.view_deg - off))
        place = filled_shape(scene.setup, turned, index=0, ostium_mm=scene.ostium_mm(np.zeros(2)))
        orientation = turned.anatomy.orientation_deg
        found[off] = silhouette_caliper(
            place, np.array([28.7, 21.5]), ("x", 0), depth_mm=0.0, orientation_deg=orientation
        ).value_mm
    assert found[0.0] == pytest.approx(28.700, abs=5e-4)
    assert found[45.0] == pytest.approx(25.357, abs=5e-4)
    assert found[90.0] == pytest.approx(21.500, abs=5e-4)


@pytest.mark.parametrize("name", ["xa_clean", "xa_caudal"])
def test_caliper_ends_bound_the_shadow_of_a_straight_tube(name):
    # Brute force: project a dense tube with the ostium's section; no point may lie further out
    # across the projected axis than the caliper's ends, and the outermost must reach them.
    scene = CASES[name].scene
    beating = beating_anatomy(2, TIMES)
    place = filled_shape(scene.setup, beating, index=0, ostium_mm=scene.ostium_mm(np.zeros(2)))
    axes = beating.ostium_axes_mm()[0]
    caliper = silhouette_caliper(
        place, axes, ("x", 0), depth_mm=0.0, orientation_deg=beating.anatomy.orientation_deg
    )
    turn, along = np.meshgrid(np.linspace(0, 2 * np.pi, 721), np.linspace(-6, 6, 121))
    tube = np.stack(
        [0.5 * axes[0] * np.cos(turn), 0.5 * axes[1] * np.sin(turn), along], axis=-1
    ).reshape(-1, 3)
    pixels = scene.setup.project(tube @ place.turn + place.ostium_mm)
    first, last = (np.array(point) for point in caliper.points_px)
    middle, across = 0.5 * (first + last), last - first
    length = np.hypot(*across)
    across /= length
    level = np.abs((pixels - middle) @ np.array([-across[1], across[0]])) < 0.5
    reach = (pixels[level] - middle) @ across
    assert reach.max() == pytest.approx(0.5 * length, abs=0.03)
    assert reach.min() == pytest.approx(-0.5 * length, abs=0.03)


@pytest.mark.parametrize("name", ["xa_clean", "xa_filled", "xa_caudal", "xa_sphere"])
def test_pixels_times_scale_give_the_true_widths(name):
    truth = render_case(name, seed=5, frames=3)[1]
    for caliper in truth.calipers:
        rows, columns = np.diff(np.array(caliper.points_px), axis=0)[0]
        seen = np.hypot(rows * caliper.mm_per_px[0], columns * caliper.mm_per_px[1])
        if caliper.quantity == "depth":
            expected = caliper.value_mm * np.cos(np.deg2rad(caliper.foreshortening_deg))
            assert seen == pytest.approx(expected, rel=4e-3)
        else:
            assert seen == pytest.approx(caliper.value_mm, rel=1e-4)


def test_a_tubes_shadow_is_its_size_over_the_scale():
    for name in ("xa_clean", "xa_caudal"):
        thing = render_case(name, frames=1)[1].objects[0]
        assert thing.size_px == pytest.approx(2.0 / thing.mm_per_px[0], rel=1.5e-3)
        assert thing.size_px > 11.9


def test_tangent_width_on_the_central_ray_has_a_closed_form():
    # Two tangents to a circle of radius r at distance z: 2·SID·r/sqrt(z² - r²).
    assert tangent_width_mm(1040.0, 0.0, (735.0, 5.0)) == pytest.approx(
        2.0 * 1040.0 * 5.0 / np.sqrt(735.0**2 - 25.0), rel=1e-12
    )


def test_a_balls_shadow_has_the_area_of_the_cut_cone():
    # Brute force: fraction of a fine grid of rays that meet the ball.
    scene = CASES["xa_sphere"].scene
    ball = next(item for item in scene.objects if item.id == "sphere")
    setup = scene.setup
    centre = setup.project(np.array(ball.centre_mm))
    step = 0.05
    grid = np.arange(-40.0, 40.0, step)
    rows, columns = np.meshgrid(centre[0] + grid, centre[1] + grid, indexing="ij")
    met = ball.attenuation(setup, np.stack([rows.ravel(), columns.ravel()]), np.zeros(2)) > 0.0
    diameter = np.sqrt(4.0 / np.pi * met.sum()) * step
    assert shadow_width_px(setup, ball) == pytest.approx(diameter, rel=2e-4)


def test_caudal_catheter_is_fifteen_mm_nearer_to_the_source():
    truth = render_case("xa_caudal", frames=1)[1]
    assert truth.objects[0].depth_h_mm - truth.anatomy.depth_h_mm == pytest.approx(15.0)
    clean = render_case("xa_clean", frames=1)[1]
    assert clean.objects[0].depth_h_mm == clean.anatomy.depth_h_mm


def test_marker_bands_stand_ten_mm_apart():
    truth = render_case("xa_sphere", frames=2)[1]
    bands = next(thing for thing in truth.objects if thing.kind == "markers")
    gaps = np.diff(np.array(bands.band_px), axis=0) * np.array(bands.mm_per_px)
    assert np.hypot(*gaps.T) == pytest.approx(np.full(3, 10.0), rel=1e-9)
    assert bands.size_px * bands.mm_per_px[0] == pytest.approx(10.0)
