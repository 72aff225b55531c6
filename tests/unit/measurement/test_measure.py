"""A caliper under a scale: laws of lengths, shared scales, ends, warnings."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from annot.calibration import NoScale
from annot.geometry import PixelPoint
from annot.measurement import Beam, Known, measure_caliper
from annot.uncertainty import covariance, propagate, provisional_estimate, simulate
from annot.uncertainty.estimate import agreement_tolerance
from annot.vocabulary import MEASURANDS
from tests.strategies import caliper, catheter_scale, paths, plain_scale

DISTANCE = MEASURANDS["distance"]
DEPTH = MEASURANDS["depth"]


def keyed(key: str, points: tuple[PixelPoint, ...], **changes):
    return caliper(key=key, measurand=DISTANCE, points=points, **changes)


# ---------------------------------------------------------------- what the table's method says
@pytest.mark.parametrize("modality", ["XA", "US"])
@pytest.mark.parametrize("quantity", ["landing_zone_width", "depth"])
@pytest.mark.parametrize("tilt_deg", [None, 5.0, 20.0, 50.0])
def test_first_order_answers_only_where_drawing_agrees(modality, quantity, tilt_deg):
    """JCGM 101:2008 clause 8 on whole calipers, small and large, in echo with the beam."""
    apex = PixelPoint(10.0, 150.0)
    known = Known(
        beam=Beam(apex=apex, speed_group="sound-1", source="") if modality == "US" else None
    )
    for length in (6.0, 60.0):
        one = caliper(
            measurand=MEASURANDS[quantity],
            points=(
                PixelPoint(200.0, 150.0),
                PixelPoint(200.0 + 0.6 * length, 150.0 + 0.8 * length),
            ),
            tilt_deg=tilt_deg,
        )
        scale = catheter_scale() if modality == "XA" else plain_scale(0.2, 0.02)
        found = measure_caliper(one, scale, modality=modality, known=known)
        drawn = simulate(found.result, draws=200_000, rng=np.random.default_rng(5))
        apart = max(
            abs(found.interval.low - drawn.interval.low),
            abs(found.interval.high - drawn.interval.high),
            abs(found.estimate.value - drawn.value),
        )
        # the drawn ends themselves are placed to some hundredth of u
        assert apart <= agreement_tolerance(found.result.u) + 0.04 * drawn.u
        first = provisional_estimate(found.result)
        if found.estimate.method == "monte carlo":
            moved = max(
                abs(first.interval.low - drawn.interval.low),
                abs(first.interval.high - drawn.interval.high),
                abs(first.value - drawn.value),
            )
            assert moved > agreement_tolerance(found.result.u) - 0.04 * drawn.u


# ---------------------------------------------------------------- laws of the length
@given(paths(), st.floats(0.5, 2.0))
def test_scaling_all_points_scales_the_value(path, factor):
    assume(math.dist(*path) > 4)
    scaled = tuple(PixelPoint(row * factor, column * factor) for row, column in path)
    one, other = (
        measure_caliper(keyed("a", points), catheter_scale(), modality="XA")
        for points in (path, scaled)
    )
    assert other.result.value == pytest.approx(factor * one.result.value)


@given(paths(), st.floats(-50, 50), st.floats(-50, 50))
def test_moving_all_points_changes_nothing(path, down, across):
    moved = tuple(PixelPoint(row + down, column + across) for row, column in path)
    one, other = (
        measure_caliper(keyed("a", points), catheter_scale(), modality="XA").result
        for points in (path, moved)
    )
    assert other.value == pytest.approx(one.value)
    assert other.u == pytest.approx(one.u, rel=1e-6)


@given(paths(), st.floats(0.5, 2.0))
def test_length_uses_both_sides_of_a_pixel(path, aspect):
    """PS3.3 10.7.1.3: row spacing first; length is the root of both squared steps."""
    scale = catheter_scale(aspect=aspect)
    (r0, c0), (r1, c1) = path
    expected = math.hypot((r1 - r0) * scale.row.value, (c1 - c0) * scale.row.value * aspect)
    assert measure_caliper(keyed("a", path), scale, modality="XA").result.value == pytest.approx(
        expected
    )


@given(paths(longest=6))
def test_a_path_is_as_long_as_its_pieces(path):
    scale = plain_scale(0.25)
    whole = measure_caliper(
        caliper(measurand=DEPTH, points=path, tilt_deg=0.0), scale, modality="XA"
    )
    pieces = sum(math.dist(a, b) for a, b in itertools.pairwise(path))
    assert whole.result.value == pytest.approx(0.25 * pieces)


# ---------------------------------------------------------------- laws of the uncertainty
@given(paths())
def test_interval_contains_the_value_and_shares_add_up(path):
    measured = measure_caliper(keyed("a", path), catheter_scale(), modality="XA")
    assert measured.interval.holds(measured.result.value)
    assert measured.result.u > 0
    assert sum(measured.result.shares().values()) == pytest.approx(1.0, abs=1e-12)


@given(paths(least_px=20), paths(least_px=20))
def test_two_calipers_under_one_scale_share_its_error(first, second):
    scale = catheter_scale()
    one = measure_caliper(keyed("a", first), scale, modality="XA").result
    two = measure_caliper(keyed("b", second), scale, modality="XA").result
    shared = scale.u_rel**2 * one.value * two.value
    assert covariance(one, two) == pytest.approx(shared, rel=1e-6)
    assert covariance(one, two) > 0


@given(paths(least_px=20), paths(least_px=20))
def test_a_scale_cancels_out_of_a_ratio_but_not_of_a_sum(first, second):
    scale = catheter_scale()
    one = measure_caliper(keyed("a", first), scale, modality="XA").result
    two = measure_caliper(keyed("b", second), scale, modality="XA").result
    ratio = propagate(lambda x, y: x / y, [one, two], unit="1")
    left = {name for name, part in ratio.shares().items() if part > 1e-12}
    assert left == {"ends"}
    total = propagate(lambda x, y: x + y, [one, two], unit="mm")
    from_scale = sum(total.shares()[name] for name in ("scale", "object", "depth")) * total.u**2
    assert math.sqrt(from_scale) == pytest.approx(scale.u_rel * total.value, rel=1e-6)


def test_calipers_under_different_scales_share_nothing():
    one = measure_caliper(caliper(key="a"), plain_scale(key="s1"), modality="XA").result
    two = measure_caliper(caliper(key="b"), plain_scale(key="s2"), modality="XA").result
    assert covariance(one, two) == 0.0


def test_scales_from_one_object_share_its_size():
    one = measure_caliper(caliper(key="a"), catheter_scale(key="s1"), modality="XA").result
    two = measure_caliper(caliper(key="b"), catheter_scale(key="s2"), modality="XA").result
    u_object = 0.05 / math.sqrt(3) / 2.0
    assert covariance(one, two) == pytest.approx(u_object**2 * one.value * two.value, rel=1e-6)


def test_ends_are_off_by_placing_and_by_the_pixel_grid():
    """Two ends, each with the stated 0.8 px and ±half a pixel, along the line of 100 px."""
    exact_scale = plain_scale(0.2, 1e-9)
    drawn = measure_caliper(caliper(u_end_px=0.8), exact_scale, modality="XA").result
    assert drawn.u == pytest.approx(0.2 * math.sqrt(2 * (0.8**2 + 0.5**2 / 3)), rel=1e-6)
    refined = measure_caliper(
        caliper(u_end_px=0.8, origin="refined"), exact_scale, modality="XA"
    ).result
    assert refined.u == pytest.approx(0.2 * 0.8 * math.sqrt(2), rel=1e-6)


def test_ends_stated_in_mm_are_as_good_in_mm_whatever_the_scale():
    for mm_per_px in (0.1, 0.2, 0.4):
        result = measure_caliper(
            caliper(u_end_mm=0.3, origin="refined"), plain_scale(mm_per_px, 1e-9), modality="XA"
        ).result
        assert result.u == pytest.approx(0.3 * math.sqrt(2), rel=1e-6)


def test_ends_stated_in_mm_are_as_good_along_wide_pixels_as_down_them():
    """Isotropic in mm: a horizontal line must not inherit the row's size of a pixel."""
    scale = catheter_scale(aspect=1.5)
    down = caliper(
        u_end_mm=0.3, origin="refined", points=(PixelPoint(100, 100), PixelPoint(200, 100))
    )
    across = caliper(
        u_end_mm=0.3, origin="refined", points=(PixelPoint(100, 100), PixelPoint(100, 200))
    )
    for one in (down, across):
        result = measure_caliper(one, scale, modality="XA").result
        assert math.sqrt(result.shares()["ends"]) * result.u == pytest.approx(
            0.3 * math.sqrt(2), rel=1e-6
        )


def test_a_bend_counts_its_inner_point_on_both_sides():
    """At a right angle the corner's errors act on one leg each: u² = u²(first)+u²(corner)·2+…"""
    path = (PixelPoint(100, 100), PixelPoint(150, 100), PixelPoint(150, 150))
    result = measure_caliper(
        caliper(measurand=DEPTH, points=path, u_end_px=1.0, origin="refined", tilt_deg=0.0),
        plain_scale(0.2, 1e-9),
        modality="XA",
    ).result
    assert result.u == pytest.approx(0.2 * math.sqrt(4), rel=1e-6)


def test_without_a_scale_the_length_is_in_pixels_and_says_why():
    measured = measure_caliper(caliper(), NoScale(reason="nothing known"), modality="XA")
    assert measured.result.unit == "px"
    assert measured.result.value == pytest.approx(100.0)
    assert measured.result.u > 0
    assert measured.warnings[0] == "no scale, so the length is in pixels: nothing known"
    assert set(measured.result.shares()) == {"other", "ends"}


def test_without_a_scale_an_end_stated_in_mm_is_not_dropped_in_silence():
    measured = measure_caliper(
        caliper(u_end_mm=0.1), NoScale(reason="nothing known"), modality="XA"
    )
    assert any("in mm" in one and "scale" in one for one in measured.warnings)


def test_an_unconfirmed_caliper_says_so_with_and_without_a_scale():
    for scale in (plain_scale(), NoScale(reason="nothing known")):
        measured = measure_caliper(caliper(confirmed=False), scale, modality="XA")
        assert "not confirmed by a person" in measured.warnings


def test_an_implausible_length_warns_and_is_kept():
    measured = measure_caliper(caliper(), plain_scale(1.0), modality="XA")
    assert measured.result.value == pytest.approx(100.0)
    assert any("100.0 mm is outside 8 to 40 mm" in one for one in measured.warnings)


def test_warnings_speak_of_the_interval_that_is_stated():
    """Where drawing answers, no length is below zero: the first-order interval was not stated."""
    wide = measure_caliper(caliper(u_end_px=80.0), plain_scale(0.2), modality="XA")
    assert wide.estimate.method == "monte carlo"
    assert wide.interval.low > 0
    assert not any("below zero" in one for one in wide.warnings)
    assert any("next to nothing about a length" in one for one in wide.warnings)


def test_what_is_known_of_a_caliper_is_said_without_a_scale_too():
    known = Known(notes=("too few repeats",))
    for scale in (plain_scale(), NoScale(reason="nothing known")):
        measured = measure_caliper(caliper(), scale, modality="XA", known=known)
        assert "too few repeats" in measured.warnings


def test_warnings_of_the_scale_and_its_overruling_reach_the_measurement():
    scale = replace(plain_scale(), warnings=("scale speaks",), overruled="checked by hand")
    measured = measure_caliper(caliper(), scale, modality="XA")
    assert "scale speaks" in measured.warnings
    assert "scale overruled: checked by hand" in measured.warnings


def test_a_measurement_can_be_walked_back_to_scale_points_and_source():
    measured = measure_caliper(caliper(), catheter_scale(), modality="XA")
    keys = {line.input.key for line in measured.result.lines}
    assert {"catheter-2", "catheter-a:seen", "catheter-a:depth", "lz1:0:row:placed"} <= keys
    assert all(
        line.input.source or line.input.component == "scale" for line in measured.result.lines
    )


def test_first_order_agrees_with_drawn_samples():
    """Outside reference: NumPy draws through the plain formula (JCGM 101 clause 7)."""
    rng = np.random.default_rng(3)
    n = 400_000
    measured = measure_caliper(caliper(), catheter_scale(), modality="XA")
    size = rng.uniform(1.95, 2.05, n)
    seen = rng.normal(12.4, 0.25, n)
    ratio = rng.uniform(1 - 20 / 750, 1 + 20 / 750, n)
    ends = rng.normal(0, 1, (4, n)) + rng.uniform(-0.5, 0.5, (4, n))
    length = np.hypot(60 + ends[0] - ends[1], 80 + ends[2] - ends[3]) * size / seen * ratio
    assert measured.result.value == pytest.approx(float(length.mean()), rel=2e-3)
    assert measured.result.u == pytest.approx(float(length.std()), rel=1e-2)
    interval = measured.interval
    inside = np.mean((length >= interval.low) & (length <= interval.high))
    assert inside == pytest.approx(0.95, abs=0.01)
