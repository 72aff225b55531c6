"""Ultrasound regions: PS3.3 C.8.5.5, inclusive boxes, centimetres, damaged items."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydicom.dataset import Dataset

from annot.loops import UltrasoundRegion, read_header

US_MULTI = "1.2.840.10008.5.1.4.1.1.3.1"
REGION = {
    "RegionSpatialFormat": 1,
    "RegionDataType": 1,
    "RegionFlags": 2,
    "RegionLocationMinX0": 1,
    "RegionLocationMinY0": 0,
    "RegionLocationMaxX1": 4,
    "RegionLocationMaxY1": 3,
    "PhysicalUnitsXDirection": 3,
    "PhysicalUnitsYDirection": 3,
    "PhysicalDeltaX": 0.03,
    "PhysicalDeltaY": -0.04,
    "ReferencePixelX0": 2,
    "ReferencePixelY0": -1,
}


def region(**changes) -> UltrasoundRegion:
    values = {
        "min_x0": 10,
        "min_y0": 20,
        "max_x1": 30,
        "max_y1": 50,
        "spatial_format": 1,
        "data_type": 1,
        "flags": 0,
        "units_x": 3,
        "units_y": 3,
        "delta_x": 0.03,
        "delta_y": 0.04,
    }
    return UltrasoundRegion(**{**values, **changes})


def header_with(write_loop, *items: dict[str, object]):
    sequence = []
    for wanted in items:
        item = Dataset()
        for keyword, value in wanted.items():
            if value is not None:
                setattr(item, keyword, value)
        sequence.append(item)
    return read_header(
        write_loop(SequenceOfUltrasoundRegions=sequence, Modality="US", SOPClassUID=US_MULTI)
    )


def test_a_pixel_is_sized_in_mm_row_first():
    # PhysicalDelta is in cm per pixel: x is along a row, that is the column's step.
    assert region(delta_x=0.03, delta_y=-0.04).mm_per_px == pytest.approx((0.4, 0.3))


@pytest.mark.parametrize(
    ("row", "column", "inside"),
    [
        (20, 10, True),
        (50, 30, True),
        (35.5, 12.25, True),
        (19.99, 10, False),
        (20, 30.01, False),
        (50.01, 30, False),
        (20, 9.99, False),
    ],
)
def test_the_box_includes_its_edge_pixels(row, column, inside):
    assert region().contains(row, column) is inside


@given(
    x=st.tuples(st.integers(0, 99), st.integers(0, 99)).map(sorted),
    y=st.tuples(st.integers(0, 99), st.integers(0, 99)).map(sorted),
    row=st.integers(-5, 105),
    column=st.integers(-5, 105),
)
def test_a_region_inside_the_image_holds_only_pixels_of_the_image(x, y, row, column):
    box = region(min_x0=x[0], max_x1=x[1], min_y0=y[0], max_y1=y[1])
    assert box.inside(100, 100)
    assert not box.inside(y[1], 100)
    assert not box.inside(100, x[1])
    if box.contains(row, column):
        assert 0 <= row < 100
        assert 0 <= column < 100
    assert box.contains(y[0], x[0])
    assert box.contains(y[1], x[1])


@pytest.mark.parametrize(
    "changes",
    [
        {"spatial_format": 2},
        {"spatial_format": 4},
        {"units_x": 4},
        {"units_y": 0},
        {"delta_x": 0.0},
        {"delta_y": None},
        {"delta_x": float("nan")},
        {"delta_y": float("inf")},
    ],
)
def test_only_2d_regions_in_cm_measure_lengths(changes):
    assert region().is_2d_length
    odd = region(**changes)
    assert not odd.is_2d_length
    with pytest.raises(ValueError, match="is_2d_length"):
        _ = odd.mm_per_px


@pytest.mark.parametrize(
    ("flags", "protected", "low"),
    [(0, False, False), (1, False, True), (2, True, False), (3, True, True), (4, False, False)],
)
def test_flags_are_bits(flags, protected, low):
    assert region(flags=flags).protected is protected
    assert region(flags=flags).low_priority is low


def test_a_region_is_read_as_stored(write_loop):
    header = header_with(write_loop, {**REGION, "PhysicalDeltaY": 0.04})
    assert header.regions == (
        region(
            min_x0=1,
            min_y0=0,
            max_x1=4,
            max_y1=3,
            flags=2,
            delta_y=0.04,
            reference_x0=2,
            reference_y0=-1,
        ),
    )
    assert header.warnings == ()


@pytest.mark.parametrize(
    ("changes", "kept", "words"),
    [
        ({"RegionLocationMaxX1": 5}, 1, "leaves the image of 5 columns and 4 rows"),
        ({"RegionLocationMaxY1": 4}, 1, "leaves the image"),
        ({"RegionLocationMinX0": 5}, 0, "ends before it begins"),
        ({"RegionLocationMinX0": None}, 0, "RegionLocationMinX0 missing"),
        ({"RegionSpatialFormat": None}, 0, "RegionSpatialFormat missing"),
        ({"PhysicalDeltaX": 0.0}, 1, "PhysicalDeltaX is 0"),
        ({"PhysicalDeltaX": float("nan")}, 1, "'nan', which is not a number"),
        ({"PhysicalDeltaX": None}, 1, "without usable steps"),
        ({"PhysicalUnitsXDirection": 4}, 1, "without usable steps in cm"),
        ({"PhysicalDeltaY": -0.04}, 1, "negative step"),
        ({"PhysicalDeltaX": 1e-300}, 1, "no size of a pixel"),
        ({"PhysicalDeltaX": 1e200}, 1, "no size of a pixel"),
    ],
)
def test_odd_regions_become_sentences(write_loop, changes, kept, words):
    good = {**REGION, "PhysicalDeltaY": 0.04}
    header = header_with(write_loop, good, {**good, **changes})
    assert len(header.regions) == 1 + kept
    assert header.regions[0].is_2d_length
    assert any(words in sentence for sentence in header.warnings), header.warnings
    assert all(sentence.startswith("Ultrasound region 2: ") for sentence in header.warnings)


def test_a_strip_without_units_may_have_no_step(write_loop):
    strip = {**REGION, "RegionSpatialFormat": 4, "RegionDataType": 10}
    strip |= {"PhysicalUnitsXDirection": 4, "PhysicalUnitsYDirection": 0, "PhysicalDeltaY": 0.0}
    header = header_with(write_loop, strip)
    assert header.regions[0].delta_y is None
    assert not header.regions[0].is_2d_length
    assert header.warnings == ()


def test_regions_that_are_no_sequence_are_noted(write_loop):
    # The same bytes with a number's type in place of a sequence's.
    path = write_loop(SequenceOfUltrasoundRegions=[Dataset()], Modality="US")
    tag = b"\x18\x00\x11\x60"
    path.write_bytes(path.read_bytes().replace(tag + b"SQ", tag + b"OB"))
    header = read_header(path)
    assert header.regions == ()
    assert any("SequenceOfUltrasoundRegions" in s for s in header.warnings), header.warnings


def test_pixel_spacing_of_an_ultrasound_loop_is_doubted(write_loop):
    header = read_header(write_loop(Modality="US", SOPClassUID=US_MULTI, PixelSpacing=[0.3, 0.4]))
    assert header.pixel_spacing_mm == (0.3, 0.4)
    assert any("PixelSpacing does not belong" in sentence for sentence in header.warnings)
