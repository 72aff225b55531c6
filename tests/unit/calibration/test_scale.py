"""A scale from an object of known size: its budget, its place, its refusals."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.calibration import GeometryKey, NoScale, PixelScale, Region
from annot.calibration.scale import pair_of_scales, scale_from_reference_object
from annot.geometry import PixelPoint
from annot.uncertainty import rectangular, stated
from tests.strategies import catheter_scale

SIZES = st.floats(0.5, 50.0)


def scale(size_mm: float, seen_px: float):
    return scale_from_reference_object(
        key="k",
        known_size=stated(size_mm, 0.01, key="size", unit="mm", source="", component="object"),
        seen_size=stated(seen_px, 0.2, key="seen", unit="px", source="", component="scale"),
        depth_ratio=rectangular(1.0, 0.02, key="depth", unit="1", source="", component="depth"),
    )


@given(SIZES, st.floats(3.0, 200.0))
def test_scale_is_known_over_seen_with_three_inputs(size_mm, seen_px):
    result = scale(size_mm, seen_px)
    assert result.value == pytest.approx(size_mm / seen_px)
    relative = math.hypot(0.01 / size_mm, 0.2 / seen_px, 0.02 / math.sqrt(3))
    assert result.u / result.value == pytest.approx(relative, rel=1e-6)
    assert set(result.shares()) == {"object", "scale", "depth"}


def test_a_known_difference_in_depth_multiplies_the_scale():
    """Anatomy 20 mm nearer the source than the object at 750 mm: 730/750 of the scale."""
    result = scale_from_reference_object(
        key="k",
        known_size=stated(2.0, 0.01, key="size", unit="mm", source=""),
        seen_size=stated(10.0, 0.1, key="seen", unit="px", source=""),
        depth_ratio=stated(730 / 750, 0.001, key="depth", unit="1", source=""),
    )
    assert result.value == pytest.approx(0.2 * 730 / 750, rel=1e-12)


@pytest.mark.parametrize(("size_mm", "seen_px"), [(-1.0, 10.0), (0.0, 10.0), (2.0, -3.0)])
def test_sizes_that_are_none_are_refused(size_mm, seen_px):
    with pytest.raises(ValueError, match="k: sizes must be positive"):
        scale(size_mm, seen_px)


@given(st.floats(0.5, 2.0))
def test_both_directions_share_every_input(aspect):
    row, column = pair_of_scales(scale(2.0, 12.4), aspect)
    assert column.value == pytest.approx(aspect * row.value)
    assert column.u / column.value == pytest.approx(row.u / row.value, rel=1e-6)
    assert {line.input.key for line in row.lines} == {line.input.key for line in column.lines}


def test_the_interval_of_a_scale_holds_it_and_widens_with_probability():
    one = catheter_scale()
    assert one.interval().holds(one.row.value)
    assert one.interval(probability=0.99).half_width > one.interval().half_width


def test_a_scale_without_a_region_holds_everywhere():
    one = catheter_scale()
    assert one.at((PixelPoint(0, 0), PixelPoint(500, 500))) is one


def test_a_scale_with_a_region_holds_in_its_box_bounds_included():
    one = catheter_scale(region=Region(min_row=10, min_column=20, max_row=30, max_column=40))
    assert one.at((PixelPoint(10, 20), PixelPoint(30, 40))) is one
    outside = one.at((PixelPoint(10, 20), PixelPoint(30, 40.5)))
    assert isinstance(outside, NoScale)
    assert "catheter-a" in outside.reason


def test_no_scale_is_false_and_stays_so_everywhere():
    none = NoScale(reason="why not")
    assert not none
    assert none.at((PixelPoint(0, 0),)) is none
    assert isinstance(catheter_scale(), PixelScale)
    assert bool(catheter_scale())


GEOMETRY = {
    "modality": "XA",
    "rows": 512,
    "columns": 512,
    "imager_spacing_mm": (0.2, 0.2),
    "source_to_detector_mm": 1000.0,
    "source_to_patient_mm": 750.0,
    "angles_deg": (-30.0, -20.0),
    "isocentre_deg": (0.0, 0.0, 0.0),
    "plane": "SINGLE PLANE",
    "field_of_view_mm": (200.0,),
    "intensifier_mm": None,
    "region_sizes_mm": (),
}


def test_equal_geometries_have_no_difference():
    assert GeometryKey(**GEOMETRY).differences(GeometryKey(**GEOMETRY)) == ()


@pytest.mark.parametrize(
    ("name", "other", "words"),
    [
        ("modality", "US", "the modality (XA against US)"),
        ("rows", 1024, "the number of rows"),
        ("columns", 1024, "the number of columns"),
        ("imager_spacing_mm", None, "the detector's spacing ((0.2, 0.2) against None)"),
        ("source_to_detector_mm", 1050.0, "the distance from source to detector"),
        ("source_to_patient_mm", 760.0, "the distance from source to patient"),
        ("angles_deg", (-30.0, 20.0), "the positioner's angles"),
        ("isocentre_deg", (30.0, 0.0, 0.0), "the stand's angles at the isocentre"),
        ("plane", "BIPLANE B", "the plane of a biplane system"),
        ("field_of_view_mm", (150.0,), "the field of view"),
        ("intensifier_mm", 230.0, "the zoom of the image intensifier (None against 230.0)"),
        ("region_sizes_mm", ((0.4, 0.4),), "the pixel sizes of the ultrasound regions"),
    ],
)
def test_each_difference_is_named_in_words(name, other, words):
    (found,) = GeometryKey(**GEOMETRY).differences(GeometryKey(**{**GEOMETRY, name: other}))
    assert found.startswith(words)
