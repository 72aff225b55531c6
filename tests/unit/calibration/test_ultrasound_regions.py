"""Which ultrasound region rules a line (PS3.3 C.8.5.5), and when none may."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.calibration import HeaderRequest, NoScale, PixelScale, Placing, header_scale
from annot.geometry import PixelPoint
from annot.measurement import measure_caliper
from tests.strategies import caliper, echo_header, region

INSIDE = (PixelPoint(100.0, 150.0), PixelPoint(200.0, 300.0))


def scale_at(points, *regions, **changes):
    scales = header_scale(echo_header(*regions, **changes), HeaderRequest())
    return scales.at(points)


def test_length_is_ten_times_the_centimetres_of_both_steps():
    scale = scale_at(INSIDE, region())
    measured = measure_caliper(caliper(points=INSIDE), scale, modality="US")
    assert measured.result.value == pytest.approx(10 * math.hypot(150 * 0.05, 100 * 0.04))
    assert scale.depth_group is None
    assert scale.u_rel == pytest.approx(0.02 / math.sqrt(3), rel=1e-6)


@given(st.sampled_from([-1, 1]), st.sampled_from([-1, 1]))
def test_steps_may_be_negative_and_sizes_are_not(across, down):
    scale = scale_at(INSIDE, region(delta_x=across * 0.05, delta_y=down * 0.04))
    assert (scale.row.value, scale.column.value) == pytest.approx((0.4, 0.5))


@pytest.mark.parametrize(
    "points",
    [
        (PixelPoint(50.0, 100.0), PixelPoint(400.0, 500.0)),  # bounds are inclusive
        (PixelPoint(225.5, 300.2), PixelPoint(60.0, 101.0)),
    ],
)
def test_both_ends_in_one_region_bounds_included(points):
    assert isinstance(scale_at(points, region()), PixelScale)


def test_one_end_outside_every_region_is_no_length():
    found = scale_at((INSIDE[0], PixelPoint(49.0, 150.0)), region())
    assert isinstance(found, NoScale)
    assert "do not lie in one and the same 2-D ultrasound region" in found.reason


def test_both_ends_outside_every_region():
    found = scale_at((PixelPoint(10.0, 10.0), PixelPoint(20.0, 20.0)), region())
    assert isinstance(found, NoScale)
    assert found.reason == "the ends lie outside every ultrasound region"


def test_ends_in_two_regions_are_no_length():
    left, right = region(max_x1=250), region(min_x0=300)
    found = scale_at((PixelPoint(100.0, 200.0), PixelPoint(100.0, 400.0)), left, right)
    assert isinstance(found, NoScale)
    assert "one and the same" in found.reason


@pytest.mark.parametrize(
    "wrong", [{"spatial_format": 2}, {"spatial_format": 3}, {"units_x": 4}, {"units_y": 0}]
)
def test_regions_that_are_no_picture_in_centimetres_measure_no_length(wrong):
    found = scale_at(INSIDE, region(**wrong))
    assert isinstance(found, NoScale)
    assert "is a 2-D picture measured in centimetres" in found.reason


def test_an_ecg_strip_measures_no_length_although_the_picture_does():
    strip = region(min_y0=420, max_y1=470, spatial_format=4, units_x=4, units_y=0)
    found = scale_at((PixelPoint(430.0, 200.0), PixelPoint(440.0, 300.0)), region(), strip)
    assert isinstance(found, NoScale)
    assert "does not measure lengths" in found.reason


def test_overlapping_regions_that_agree_are_fine_whatever_their_priority():
    box = region(min_x0=140, max_x1=350, flags=1, data_type=2)
    assert isinstance(scale_at(INSIDE, region(), box), PixelScale)


def test_overlapping_regions_that_disagree_are_refused():
    found = scale_at(INSIDE, region(), region(min_x0=140, max_x1=350, delta_x=0.06))
    assert isinstance(found, NoScale)
    assert found.reason == "2 overlapping ultrasound regions give different pixel sizes"


@pytest.mark.parametrize(("factor", "agree"), [(1.0005, True), (1.005, False)])
def test_overlapping_regions_agree_up_to_the_last_digit_that_writers_keep(factor, agree):
    box = region(min_x0=120, max_x1=400, delta_x=0.05 * factor, delta_y=0.04 * factor, flags=1)
    assert bool(scale_at(INSIDE, region(), box)) == agree


def test_polar_data_say_that_they_are_polar():
    """Units of degrees (0xC) across and centimetres down: no straight line has one scale there."""
    found = scale_at(INSIDE, region(units_x=0xC))
    assert isinstance(found, NoScale)
    assert "degrees across and centimetres down (polar or curved data)" in found.reason


def test_a_region_outside_the_image_both_ways_shows_a_resized_picture():
    """As in a file that pydicom ships: 320 × 240 with a region up to 595, 414."""
    found = scale_at(
        (PixelPoint(60.0, 120.0), PixelPoint(100.0, 200.0)),
        region(min_x0=84, min_y0=31, max_x1=595, max_y1=414),
        rows=240,
        columns=320,
    )
    assert isinstance(found, NoScale)
    assert "in both directions: the picture was resized" in found.reason
    assert "320 columns and 240 rows" in found.reason


def test_one_stale_region_condemns_the_others_too():
    stale = region(min_x0=0, min_y0=0, max_x1=900, max_y1=700)
    assert isinstance(scale_at(INSIDE, region(), stale), NoScale)


def test_a_region_outside_one_way_is_used_with_a_warning():
    """As in a file that pydicom ships: 800 × 350 with a region down to row 518."""
    scale = scale_at(INSIDE, region(max_y1=518), rows=350, columns=800)
    assert isinstance(scale, PixelScale)
    assert "in one direction: the picture was cut" in scale.warnings[0]
    assert "check its scale against a known length" in scale.warnings[0]


def test_a_bound_after_the_last_pixel_is_tolerated_in_silence():
    scale = scale_at(INSIDE, region(max_x1=640, max_y1=480))
    assert isinstance(scale, PixelScale)
    assert scale.warnings == ()


def test_two_pixels_beyond_is_one_too_many():
    assert isinstance(scale_at(INSIDE, region(max_x1=641, max_y1=481)), NoScale)


def test_a_loop_without_regions_has_no_scale_whatever_its_pixel_spacing():
    found = header_scale(echo_header(pixel_spacing_mm=(0.4, 0.5)), HeaderRequest())
    assert isinstance(found, NoScale)
    assert "no ultrasound regions" in found.reason


def test_the_scale_holds_in_its_region_only():
    scale = scale_at(INSIDE, region())
    assert isinstance(scale.at(INSIDE), PixelScale)
    assert isinstance(scale.at((INSIDE[0], PixelPoint(10.0, 10.0))), NoScale)


def test_lines_in_one_region_share_a_key_and_regions_do_not():
    left, right = region(max_x1=250), region(min_x0=300, delta_x=0.06)
    at = [
        scale_at((PixelPoint(100.0, x), PixelPoint(150.0, x)), left, right) for x in (150, 200, 400)
    ]
    assert at[0].key == at[1].key != at[2].key


def test_a_stated_uncertainty_and_reason_are_kept():
    request = HeaderRequest(u_rel=0.005, placing=Placing(overrule="phantom checked"))
    scale = header_scale(echo_header(region()), request).at(INSIDE)
    assert scale.u_rel == pytest.approx(0.005)
    assert scale.overruled == "phantom checked"
