"""Landmarks of two X-ray views: lengths within their intervals, warnings, budgets."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from annot.errors import InputError
from annot.geometry import PixelPoint
from annot.geometry.projection import Projection, angle_between_deg
from annot.loops import XrayView
from annot.loops.frame_vectors import FrameVectors
from annot.measurement.two_views import (
    Landmark,
    angle_to_view,
    height_above_isocentre,
    landmarks_in_space,
    length_between,
)
from annot.measurement.view_geometry import (
    patient_shift_mm,
    projection_of,
    refuse_moved_table,
)
from annot.tasks.geometry import estimate_of
from annot.uncertainty import covariance_matrix, expand
from tests.strategies import header

FIRST = Projection(
    primary_deg=-30.0,
    secondary_deg=15.0,
    sid_mm=1040.0,
    sod_mm=750.0,
    spacing_mm=(0.23, 0.23),
    rows=512,
    columns=512,
)
PLACES = np.array([[8.0, 10.0, 4.0], [16.8, 5.4, 5.3], [30.0, -2.0, 14.0]])
NAMES = ("ostium", "landing", "tip")


def second(apart):
    return replace(FIRST, primary_deg=-30.0 + apart, secondary_deg=-5.0)


def marked(views, noise=0.0, rng=None, u_px=1.0):
    drawn = [np.zeros((3, 2))] * 2 if rng is None else rng.normal(0, noise, (2, 3, 2))
    seen = [view.project(PLACES) + error for view, error in zip(views, drawn, strict=True)]
    return [
        Landmark(
            name=name,
            points_px=(PixelPoint(*seen[0][index]), PixelPoint(*seen[1][index])),
            u_px=u_px,
        )
        for index, name in enumerate(NAMES)
    ]


def really(view, rng, distances):
    """Return the view as it really was, within what its header leaves open."""
    return replace(
        view,
        primary_deg=view.primary_deg + rng.uniform(-1, 1),
        secondary_deg=view.secondary_deg + rng.uniform(-1, 1),
        sid_mm=view.sid_mm + distances[0],
        sod_mm=view.sod_mm + distances[1],
    )


@pytest.mark.parametrize("apart", [20, 45, 90, 120])
def test_exact_marks_give_places_lengths_and_heights_back(apart):
    views = FIRST, second(apart)
    space = landmarks_in_space(views, marked(views))
    assert space.fit.places_mm == pytest.approx(PLACES, abs=1e-6)
    length = length_between(space, "ostium", "tip")
    assert length.value == pytest.approx(np.linalg.norm(PLACES[2] - PLACES[0]), abs=1e-6)
    assert length.unit == "mm"
    for index, view in enumerate(views):
        height = height_above_isocentre(space, "landing", index)
        assert height.value == pytest.approx(view.heights(PLACES[1])[0], abs=1e-6)
    assert space.p == pytest.approx(1)


@pytest.mark.parametrize("apart", [20, 60, 120])
def test_true_lengths_lie_in_their_intervals_as_often_as_stated(apart):
    rng = np.random.default_rng(apart)
    views = FIRST, second(apart)
    true = np.linalg.norm(PLACES[1] - PLACES[0]), np.linalg.norm(PLACES[2] - PLACES[0])
    held, fine = [], []
    for _ in range(60):
        distances = rng.uniform(-10, 10, 2)
        seen = tuple(really(view, rng, distances) for view in views)
        moved = seen[0], replace(seen[1], shift_mm=tuple(rng.normal(0, 2, 3)))
        space = landmarks_in_space(views, marked(moved, noise=1.0, rng=rng))
        for name, length in zip(NAMES[1:], true, strict=True):
            held.append(expand(length_between(space, "ostium", name)).holds(length))
        fine.append(space.p > 0.05)
    # 120 intervals of 95 %: fewer than 105 held happens less than once in 5000 (binomial)
    assert sum(held) >= 105
    assert sum(fine) >= 50


def test_a_length_that_first_order_gets_wrong_is_drawn():
    """Against NumPy's own normal draws of the six coordinates with the same covariance."""
    places = PLACES.copy()
    places[1] = places[0] + [0.6, 0.5, 0.4]
    views = FIRST, second(60)
    seen = [view.project(places) for view in views]
    space = landmarks_in_space(
        views,
        [
            Landmark(
                name=name,
                points_px=(PixelPoint(*seen[0][index]), PixelPoint(*seen[1][index])),
                u_px=4.0,
            )
            for index, name in enumerate(NAMES)
        ],
    )
    ends = [*space.place_of("ostium"), *space.place_of("landing")]
    drawn = np.random.default_rng(5).multivariate_normal(
        [one.value for one in ends], covariance_matrix(ends), size=200_000
    )
    lengths = np.linalg.norm(drawn[:, 3:] - drawn[:, :3], axis=1)
    found = estimate_of(length_between(space, "ostium", "landing"))
    assert found.value == pytest.approx(np.mean(lengths), rel=0.02)
    assert found.u == pytest.approx(np.std(lengths), rel=0.03)
    assert found.low >= 0
    assert np.mean((lengths >= found.low) & (lengths <= found.high)) == pytest.approx(
        0.95, abs=0.01
    )


def test_views_along_one_line_are_refused():
    for apart in (0, 2, 178, 180):
        views = replace(FIRST, secondary_deg=0.0), replace(second(apart), secondary_deg=0.0)
        with pytest.raises(InputError, match="apart and look along one line"):
            landmarks_in_space(views, marked(views))


def test_views_close_together_are_warned_of_and_others_not():
    for apart, warned in ((5, True), (19, True), (45, False), (175, True)):
        views = replace(FIRST, secondary_deg=0.0), replace(second(apart), secondary_deg=0.0)
        space = landmarks_in_space(views, marked(views))
        assert any("apart" in text for text in space.warnings) == warned, apart


def test_another_moment_or_another_point_shows_in_p():
    views = FIRST, second(60)
    wrong = marked(views)
    # off the other view's line: across, where no depth explains it
    moved = PixelPoint(wrong[1].points_px[1].row + 40, wrong[1].points_px[1].column)
    wrong[1] = replace(wrong[1], points_px=(wrong[1].points_px[0], moved))
    space = landmarks_in_space(views, wrong)
    assert space.p < 0.01
    assert any("do not agree on the landmarks" in text for text in space.warnings)


def test_a_shift_between_the_views_is_found_where_it_can_be():
    views = FIRST, second(90)
    moved = FIRST, replace(second(90), shift_mm=(0.0, 0.0, 3.0))
    space = landmarks_in_space(views, marked(moved))
    head = space.shift[2]
    assert head.value == pytest.approx(3.0, abs=2 * head.u)
    assert head.u < 1.0
    # along the line between the sources nothing is learnt
    line = views[1].source_mm - views[0].source_mm
    line /= np.linalg.norm(line)
    assert max(one.u for one in space.shift[:2]) == pytest.approx(2.0, rel=0.1)


def test_the_budget_names_ends_angles_distances_and_shift():
    views = FIRST, second(60)
    shares = length_between(landmarks_in_space(views, marked(views)), "ostium", "tip").shares()
    assert set(shares) == {"ends", "angles", "distances", "shift"}
    assert sum(shares.values()) == pytest.approx(1)


def test_a_biplane_stand_has_distances_of_its_own_on_either_side():
    views = FIRST, second(60)
    keys = {
        line.input.key
        for line in length_between(
            landmarks_in_space(views, marked(views), distances_shared=False), "ostium", "tip"
        ).lines
    }
    assert {"stand:sod_mm:0", "stand:sod_mm:1"} <= keys


def test_the_angle_to_a_view_tells_how_short_a_length_is_seen():
    views = FIRST, second(60)
    space = landmarks_in_space(views, marked(views))
    for index, view in enumerate(views):
        angle = angle_to_view(space, "ostium", "tip", index)
        wanted = angle_between_deg(PLACES[2] - PLACES[0], view.towards_detector)
        assert angle.value == pytest.approx(wanted, abs=1e-5)
        assert 0 < angle.u < 5


# ---------------------------------------------------------------- headers and tables
VIEW = XrayView(
    imager_pixel_spacing_mm=(0.23, 0.23),
    source_to_detector_mm=1040.0,
    source_to_patient_mm=750.0,
    primary_deg=-30.0,
    secondary_deg=15.0,
)


def test_a_header_becomes_a_projection():
    assert projection_of(replace(header(), xray=VIEW), 0) == FIRST


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"primary_deg": None}, "lacks PositionerPrimaryAngle"),
        ({"imager_pixel_spacing_mm": None}, "lacks ImagerPixelSpacing"),
        ({"source_to_patient_mm": 1200.0}, "contradict each other"),
        ({"detector_primary_deg": 5.0}, "right angle"),
    ],
)
def test_a_view_that_cannot_be_placed_is_refused(change, words):
    with pytest.raises(InputError) as fault:
        projection_of(replace(header(), xray=replace(VIEW, **change)), 0)
    assert words in str(fault.value)
    assert fault.value.message.startswith(Path(header().path).name)


def test_a_loop_that_is_no_xray_is_refused():
    with pytest.raises(InputError, match="no X-ray loop"):
        projection_of(replace(header(), xray=None, modality="US"), 0)


def moving(*places):
    vectors = FrameVectors(table_mm=places)
    return replace(header(), xray=replace(VIEW, table_motion="DYNAMIC", vectors=vectors))


def test_the_table_carries_the_patient():
    """PS3.3 C.8.7.4: longitudinal is positive to the left, lateral to the head."""
    loop = moving((None, 0.0, 0.0), (None, 4.0, -6.0))
    assert patient_shift_mm(loop, 1) == (4.0, 0.0, -6.0)
    # what moved 4 mm to the left is now seen where a point 4 mm further left was
    assert projection_of(loop, 1).project([0, 0, 0]) == pytest.approx(FIRST.project([4, 0, -6]))
    assert projection_of(loop, 0) == FIRST
    assert patient_shift_mm(replace(header(), xray=VIEW), 7) == (0.0, 0.0, 0.0)


@pytest.mark.parametrize(
    ("loop", "words"),
    [
        (moving(), "does not say where it stood at frame 1"),
        (moving((0.0, 0.0, 0.0)), "does not say where"),
        (moving((0.0, 0.0, 0.0), (2.0, 1.0, 0.0)), "up or down"),
    ],
)
def test_a_table_that_moved_to_nobody_knows_where_is_refused(loop, words):
    with pytest.raises(InputError) as fault:
        projection_of(loop, 1)
    assert words in str(fault.value)
    assert projection_of(loop, 0) == FIRST


def test_a_table_that_stood_elsewhere_between_two_loops_is_refused():
    here, there, nowhere = (
        (replace(header(), xray=replace(VIEW, table_mm=place)), 0)
        for place in ((100.0, 0.0, 50.0), (100.0, 0.0, 62.0), None)
    )
    assert refuse_moved_table(here, here) == ()
    with pytest.raises(InputError, match=r"moved by 12\.0 mm between the two views"):
        refuse_moved_table(here, there)
    [warning] = refuse_moved_table(here, nowhere)
    assert "do not say where the table stood" in warning
