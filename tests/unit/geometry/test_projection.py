"""The stand's geometry: the standard's signs, rays that meet, the other view's line."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.geometry.projection import (
    Projection,
    angle_between_deg,
    beam_direction,
    nearest_crossing,
    ray_in_other_view,
    silhouette_direction_deg,
    square_views,
)

STAND = Projection(
    primary_deg=0.0,
    secondary_deg=0.0,
    sid_mm=1000.0,
    sod_mm=750.0,
    spacing_mm=(0.2, 0.2),
    rows=512,
    columns=512,
)
LEFT, BACK, HEAD = np.eye(3)
angles = st.tuples(st.floats(-90, 90), st.floats(-45, 45))
places = st.tuples(*[st.floats(-60.0, 60.0)] * 3).map(np.array)


@pytest.mark.parametrize(
    ("primary", "secondary", "where"),
    [(0, 0, -BACK), (90, 0, LEFT), (-90, 0, -LEFT), (0, 90, HEAD), (0, -90, -HEAD)],
)
def test_the_detector_stands_where_the_standard_says(primary, secondary, where):
    """PS3.3 C.8.7.5: 0 in front of the chest, +90 primary left (LAO), + secondary to the head."""
    assert beam_direction(primary, secondary) == pytest.approx(where, abs=1e-12)


def test_from_the_front_the_patients_left_is_on_the_right_and_the_head_on_top():
    [left], [head] = STAND.project(10 * LEFT), STAND.project(10 * HEAD)
    assert left[1] > 255.5
    assert left[0] == pytest.approx(255.5)
    assert head[0] < 255.5
    assert head[1] == pytest.approx(255.5)


# Relative magnification of what lies towards the tube: M = SID/(SOD − Δz), closed form
@pytest.mark.parametrize(
    ("sod", "height", "percent"),
    [(750, 10, 1.351), (750, 20, 2.740), (750, 50, 7.143), (750, -20, -2.597), (700, 20, 2.941)],
)
def test_what_lies_nearer_to_the_source_is_larger(sod, height, percent):
    stand = replace(STAND, sod_mm=float(sod))
    up = -height * stand.towards_detector
    ends = stand.project([up - 5 * LEFT, up + 5 * LEFT])
    seen = np.diff(ends[:, 1])[0] * 0.2 * sod / 1000
    assert 100 * (seen / 10 - 1) == pytest.approx(percent, abs=6e-4)
    assert stand.heights(up)[0] == pytest.approx(height)


@given(angles, angles, places)
def test_rays_of_two_views_meet_in_the_point_that_both_show(first, second, place):
    views = [replace(STAND, primary_deg=p, secondary_deg=s) for p, s in (first, second)]
    apart = angle_between_deg(*(view.towards_detector for view in views))
    if min(apart, 180 - apart) < 5:
        return
    points, misses = nearest_crossing(*views, tuple(view.project(place) for view in views))
    assert points[0] == pytest.approx(place, abs=1e-6)
    assert misses[0] == pytest.approx(0, abs=1e-6)


@given(angles, places, st.floats(-50, 50))
def test_a_shifted_isocentre_moves_the_picture_as_the_patient_would(turned, place, shift):
    view = replace(STAND, primary_deg=turned[0], secondary_deg=turned[1])
    moved = replace(view, shift_mm=(shift, 0.0, -shift))
    assert moved.project(place + np.array([shift, 0, -shift])) == pytest.approx(view.project(place))


def test_the_rays_line_in_the_other_view_passes_through_the_point():
    other = replace(STAND, primary_deg=60.0, secondary_deg=10.0)
    place = np.array([12.0, -7.0, 20.0])
    height = STAND.heights(place)[0]
    [seen] = ray_in_other_view(STAND, other, STAND.project(place), [height])
    assert seen == pytest.approx(other.project(place)[0], abs=1e-9)


@given(angles, places)
def test_slopes_are_those_of_differences(turned, place):
    view = replace(STAND, primary_deg=turned[0], secondary_deg=turned[1], shift_mm=(3.0, -2.0, 5.0))
    columns = [
        (view.project(place + step) - view.project(place - step))[0] / 2e-4
        for step in 1e-4 * np.eye(3)
    ]
    assert view.slopes(place) == pytest.approx(np.stack(columns, axis=1), abs=1e-5)


@given(st.tuples(*[st.floats(-1.0, 1.0)] * 3).filter(lambda a: np.linalg.norm(a) > 0.1))
def test_views_square_to_an_axis_are_square_and_within_reach(axis):
    for primary, secondary in square_views(axis, np.arange(-60, 61, 10), steepest_deg=40):
        assert abs(secondary) <= 40
        assert beam_direction(primary, secondary) @ np.array(axis) == pytest.approx(0, abs=1e-9)


def test_a_view_shows_the_width_square_to_axis_and_ray():
    neck = np.array([1.0, 0.0, 0.0])
    # zero is horizontal: neck × head = (1,0,0) × (0,0,1) = (0,-1,0)
    assert silhouette_direction_deg(neck, HEAD) == pytest.approx(0)
    assert silhouette_direction_deg(neck, BACK) == pytest.approx(90)
    with pytest.raises(ValueError, match="along the ray"):
        silhouette_direction_deg(neck, neck)


def test_an_isocentre_behind_the_detector_is_refused():
    with pytest.raises(ValueError, match="between source and detector"):
        replace(STAND, sod_mm=1200.0)
