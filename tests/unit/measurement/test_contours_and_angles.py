"""Contours and angles under a scale: four numbers of one drawing, each with its budget."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from annot.calibration import NoScale
from annot.errors import InputError
from annot.geometry import PixelPoint
from annot.measurement import measure_all, measure_caliper
from annot.measurement.derived import isoperimetric_ratio
from annot.uncertainty import covariance, propagate, sample
from annot.vocabulary import MEASURANDS
from tests.strategies import caliper, catheter_scale, contours, plain_scale

CONTOUR, ANGLE = MEASURANDS["ostium_contour"], MEASURANDS["neck_angle"]


def ellipse(major_px, minor_px, count=24):
    angles = 2 * np.pi * np.arange(count) / count
    return tuple(
        PixelPoint(200 + major_px / 2 * math.sin(a), 200 + minor_px / 2 * math.cos(a))
        for a in angles
    )


def contour(points, **changes):
    return caliper(measurand=CONTOUR, points=points, tilt_deg=0.0, **changes)


def numbers(points, scale, **changes):
    found = measure_all(contour(points, **changes), scale, modality="XA")
    return {one.outcome.form: one for one in found}


# The table of an ellipse's sizes: axes in mm, area, area- and perimeter-derived diameters; exact
# perimeters by the complete elliptic integral, recomputed elsewhere.
@pytest.mark.parametrize(
    ("major", "minor", "area", "by_area", "by_perimeter"),
    [
        (20, 20, 314.16, 20.000, 20.000),
        (24, 18, 339.29, 20.785, 21.107),
        (25, 17, 333.79, 20.616, 21.191),
        (28.7, 21.5, 484.63, 24.840, 25.229),
        (30, 15, 353.43, 21.213, 23.129),
    ],
)
def test_ellipses_give_their_tabled_sizes(major, minor, area, by_area, by_perimeter):
    found = numbers(ellipse(major / 0.2, minor / 0.2, 24), plain_scale(0.2))
    assert found["area"].result.value == pytest.approx(area, rel=3e-4)
    assert found["area_diameter"].result.value == pytest.approx(by_area, rel=3e-4)
    assert found["perimeter_diameter"].result.value == pytest.approx(by_perimeter, rel=3e-4)
    assert found["perimeter"].result.value == pytest.approx(math.pi * by_perimeter, rel=3e-4)
    assert [one.result.unit for one in found.values()] == ["mm2", "mm", "mm", "mm"]


@settings(max_examples=15)
@given(contours())
def test_perimeter_derived_is_never_below_area_derived(points):
    found = numbers(points, plain_scale(0.2))
    by_area, by_perimeter = (
        found[form].result.value for form in ("area_diameter", "perimeter_diameter")
    )
    assert by_perimeter >= by_area * (1 - 1e-6)


@settings(max_examples=15)
@given(contours(), st.floats(0.1, 0.5))
def test_area_takes_the_scale_twice_and_lengths_once(points, mm_per_px):
    u_rel = 0.03
    found = numbers(points, plain_scale(mm_per_px, u_rel))
    for form, times in (("area", 2), ("perimeter", 1), ("area_diameter", 1)):
        result = found[form].result
        from_scale = math.sqrt(result.shares()["scale"]) * result.u / result.value
        assert from_scale == pytest.approx(times * u_rel, rel=1e-5)


def test_wide_pixels_stretch_a_contour_along_the_columns_only():
    scale = catheter_scale(aspect=1.5)
    size = scale.row.value
    found = numbers(ellipse(120, 80), scale)
    assert found["area"].result.value == pytest.approx(
        math.pi / 4 * 120 * size * 80 * 1.5 * size, rel=1e-3
    )


def test_numbers_of_one_contour_share_its_vertices():
    found = numbers(ellipse(120, 90), plain_scale(0.2, 1e-9))
    area, diameter = found["area"].result, found["area_diameter"].result
    # a diameter is a function of the area alone, so both errors are one error
    correlation = covariance(area, diameter) / (area.u * diameter.u)
    assert correlation == pytest.approx(1.0, abs=1e-6)
    ratio = isoperimetric_ratio(area, found["perimeter"].result)
    assert ratio.value <= 1.0


def test_vertices_that_stray_average_out_over_many():
    few, many = (numbers(ellipse(120, 90, n), plain_scale(0.2, 1e-9)) for n in (8, 32))
    assert many["area"].result.u < few["area"].result.u / 1.8


def test_first_order_of_a_contour_agrees_with_drawn_samples():
    """NumPy draws of every vertex, gain of the scale too, through the curve again."""
    found = numbers(ellipse(120, 90), plain_scale(0.2, 0.02))
    for one in found.values():
        drawn = sample(one.result, draws=40_000, rng=np.random.default_rng(1))
        assert float(drawn.std()) == pytest.approx(one.result.u, rel=0.03)
        assert one.estimate.interval.low < one.result.value < one.estimate.interval.high


def test_the_value_is_the_smooth_curve_s_and_the_polygon_stays_beside_it():
    [area, *_] = measure_all(contour(ellipse(120, 120, 8)), plain_scale(0.2), modality="XA")
    assert area.raw_value == pytest.approx(0.900 * math.pi * 12**2, rel=1e-3)
    assert area.result.value == pytest.approx(math.pi * 12**2, rel=0.01)
    # a quarter of the difference, rectangular
    between = next(line for line in area.result.lines if line.input.key.endswith(":between"))
    gap = area.result.value - area.raw_value
    assert abs(between.contribution) == pytest.approx(0.25 * gap / math.sqrt(3), rel=1e-6)


@pytest.mark.parametrize(("modality", "grows"), [("XA", True), ("US", False)])
def test_tilt_acts_on_a_contour_by_its_forms(modality, grows):
    """One axis is longer or shorter by 1/cos or cos: area takes it, its diameter the root."""
    points = ellipse(120, 120)
    plain = measure_all(contour(points, origin="refined"), plain_scale(0.2), modality=modality)
    tilted = measure_all(
        replace(contour(points, origin="refined"), tilt_deg=30.0),
        plain_scale(0.2),
        modality=modality,
    )
    factor = tilted[0].result.value / plain[0].result.value
    assert (factor > 1.0) is grows
    assert tilted[2].result.value / plain[2].result.value == pytest.approx(math.sqrt(factor))
    assert tilted[1].result.value / plain[1].result.value == pytest.approx((1 + factor) / 2)


def test_without_a_scale_an_area_is_in_square_pixels():
    found = measure_all(contour(ellipse(120, 90)), NoScale(reason="none"), modality="XA")
    assert [one.result.unit for one in found] == ["px2", "px", "px", "px"]
    assert found[0].warnings[0] == "no scale, so the area is in pixels: none"


def test_a_contour_that_crosses_itself_or_has_few_points_is_refused():
    points = ellipse(120, 90)
    with pytest.raises(InputError, match="crosses itself"):
        contour((points[0], points[12], *points[1:12], *points[13:]))
    with pytest.raises(InputError, match="takes 8 to 200 points, got 7"):
        contour(points[:7])


# ---------------------------------------------------------------- angles
def angle(degrees, *, leg=80.0, turn=0.3, **changes):
    bend = PixelPoint(200.0, 200.0)
    ends = [
        PixelPoint(200 + leg * math.sin(turn + a), 200 + leg * math.cos(turn + a))
        for a in (0.0, math.radians(degrees))
    ]
    return caliper(measurand=ANGLE, points=(ends[0], bend, ends[1]), **changes)


@pytest.mark.parametrize("degrees", [25.0, 60.0, 90.0, 100.0, 150.0, 179.0, 180.0])
def test_an_angle_is_that_between_its_legs(degrees):
    one = measure_caliper(angle(degrees), plain_scale(0.2), modality="XA")
    assert one.result.value == pytest.approx(degrees, abs=1e-6)
    assert one.result.unit == "deg"
    assert one.result.u > 0


@given(st.floats(20.0, 179.0), st.floats(-3.0, 3.0))
def test_an_angle_does_not_feel_the_scale_or_how_it_lies(degrees, turn):
    one = measure_caliper(angle(degrees, turn=turn), plain_scale(0.2, 0.1), modality="XA")
    assert one.result.value == pytest.approx(degrees, abs=1e-6)
    assert one.result.shares().get("scale", 0.0) == pytest.approx(0.0, abs=1e-9)


@given(st.floats(20.0, 170.0))
def test_the_order_of_an_angle_s_legs_does_not_matter(degrees):
    one = angle(degrees)
    other = replace(one, points=one.points[::-1])
    first, second = (measure_caliper(c, plain_scale(), modality="XA").result for c in (one, other))
    assert second.value == pytest.approx(first.value)
    assert second.u == pytest.approx(first.u)


def test_an_angle_s_uncertainty_is_that_of_its_ends_seen_from_the_bend():
    """By hand at 90°: each end turns its leg by u/leg, the bend turns both at once."""
    one = measure_caliper(
        angle(90.0, u_end_px=0.8, origin="refined"), plain_scale(0.2, 1e-9), modality="XA"
    )
    by_hand = math.degrees(0.8 / 80.0) * math.sqrt(1 + 1 + 2)
    assert one.result.u == pytest.approx(by_hand, rel=1e-5)


def test_a_straight_path_shows_no_bend_and_says_so():
    one = measure_caliper(angle(179.5), plain_scale(0.2), modality="XA")
    assert any("beyond a straight line" in text for text in one.warnings)
    assert any("as seen in one view" in text for text in one.warnings)


def test_an_angle_without_a_scale_rests_on_square_pixels_and_says_so():
    one = measure_caliper(angle(90.0), NoScale(reason="none"), modality="XA")
    assert one.result.unit == "deg"
    assert one.warnings[0].startswith("no scale, so square pixels are assumed")


# ---------------------------------------------------------------- laws of lengths
@given(st.lists(st.tuples(st.floats(0, 400), st.floats(0, 400)), min_size=3, max_size=6))
def test_no_path_is_shorter_than_the_straight_line_between_its_ends(pairs):
    points = tuple(PixelPoint(*pair) for pair in pairs)
    straight = math.dist(points[0], points[-1])
    steps = [math.dist(a, b) for a, b in itertools.pairwise(points)]
    if straight < 2 or min(steps) < 2:
        return
    scale = catheter_scale(aspect=1.3)
    depth = MEASURANDS["depth"]
    path, line = (
        measure_caliper(
            caliper(measurand=depth, points=p, tilt_deg=0.0), scale, modality="XA"
        ).result.value
        for p in (points, (points[0], points[-1]))
    )
    assert path >= line * (1 - 1e-9)
    reverse = measure_caliper(
        caliper(measurand=depth, points=points[::-1], tilt_deg=0.0), scale, modality="XA"
    )
    assert reverse.result.value == pytest.approx(path)


def test_a_ratio_of_two_areas_loses_the_scale():
    scale = catheter_scale()
    one, other = (
        measure_caliper(
            caliper(key=key, measurand=CONTOUR, points=ellipse(*size), tilt_deg=0.0),
            scale,
            modality="XA",
        ).result
        for key, size in (("a", (120, 90)), ("b", (110, 80)))
    )
    ratio = propagate(lambda x, y: x / y, [one, other], unit="1")
    assert ratio.shares().get("scale", 0.0) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("back", [0.0, 1.0, 3.0])
def test_a_leg_folded_right_back_is_no_straight_path(back):
    """Drawn values on either side of a full fold belong to it: they do not average to 180°."""
    points = (PixelPoint(100, 100), PixelPoint(200, 200), PixelPoint(100 + back, 100 - back))
    found = measure_caliper(caliper(measurand=ANGLE, points=points), plain_scale(), modality="XA")
    true = math.degrees(math.atan(back / 100))
    assert found.estimate.value == pytest.approx(true, abs=0.1)
    assert found.estimate.u < 3
    assert found.interval.holds(true)
