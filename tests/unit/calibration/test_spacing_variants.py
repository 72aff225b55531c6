"""Every spacing in the patient that a header gives, in their order of trust (PS3.3 10.7.1.1,
C.8.19.6.9), and the shape of its pixels.
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.calibration import HeaderRequest, PixelScale, header_scale
from annot.calibration.projection_geometry import RefusedSpacing, StoredSpacing, spacing_variants
from annot.geometry import PixelPoint
from annot.measurement import measure_caliper
from tests.strategies import caliper, header, view

TABLE = {"table_height_mm": 120.0, "object_to_table_mm": 90.0, "beam_angle_deg": 30.0}


def names(**changes: object) -> list[str]:
    return [one.name for one in spacing_variants(view(**changes))]


def one(name: str, **changes: object) -> StoredSpacing | RefusedSpacing:
    [found] = [each for each in spacing_variants(view(**changes)) if each.name == name]
    return found


def test_variants_stand_in_their_order_of_trust():
    everything = {
        "pixel_spacing_mm": (0.16, 0.16),
        "object_spacing_mm": (0.14, 0.14),
        "magnification_factor": 1.5,
        **TABLE,
    }
    rest = ["isocentre", "magnification"]
    assert names(**everything, calibration_type="FIDUCIAL") == [
        "fiducial",
        "centre-of-beam",
        "above-table",
        *rest,
    ]
    assert names(**everything, calibration_type="GEOMETRY") == [
        "centre-of-beam",
        "geometry",
        "above-table",
        *rest,
    ]
    assert names(**everything) == ["centre-of-beam", "above-table", "method-not-named", *rest]


# ISO 750, SID 1000, detector 0.2 mm. SOD = ISO − (TH − TO)/cos BA, worked by hand.
@pytest.mark.parametrize(
    ("beam_deg", "table", "height", "distance"),
    [
        (0.0, 120.0, 120.0, 750.0),  # object at the isocentre's height
        (0.0, 120.0, 20.0, 650.0),  # 100 mm below, source below: nearer to the source
        (60.0, 120.0, 70.0, 650.0),  # 50 mm below along a beam at 60°: 100 mm
        (180.0, 120.0, 20.0, 850.0),  # source above the table: farther from it
        (30.0, 120.0, 90.0, 750.0 - 30 / math.cos(math.pi / 6)),
    ],
)
def test_a_height_above_the_table_gives_the_distance(beam_deg, table, height, distance):
    """PS3.3 C.8.19.6.9; the formula re-derived from the definitions, as the standard draws it."""
    stand = {"table_height_mm": table, "object_to_table_mm": height, "beam_angle_deg": beam_deg}
    found = one("above-table", **stand)
    assert isinstance(found, StoredSpacing)
    assert found.mm_per_px == pytest.approx((0.2 * distance / 1000,) * 2, rel=1e-12)


@pytest.mark.parametrize(
    ("beam_deg", "usable"), [(60, True), (60.5, False), (119, False), (120, True)]
)
def test_a_flat_beam_is_refused(beam_deg, usable):
    """PS3.3 C.8.19.6.9: without limit at 90°, automatic use to about 60° off the vertical."""
    stand = {**TABLE, "beam_angle_deg": float(beam_deg), "object_spacing_mm": (0.14, 0.14)}
    for name in ("above-table", "centre-of-beam"):
        found = one(name, **stand)
        assert isinstance(found, StoredSpacing) == usable
        if isinstance(found, RefusedSpacing):
            assert "too flat for a height above the table" in found.reason


def test_an_object_outside_the_beam_is_refused():
    found = one("above-table", **{**TABLE, "table_height_mm": 900.0})
    assert isinstance(found, RefusedSpacing)
    assert "outside the beam" in found.reason


@pytest.mark.parametrize("missing", sorted(TABLE))
def test_the_table_says_nothing_unless_all_of_it_is_known(missing):
    assert "above-table" not in names(**{**TABLE, missing: None})
    assert "above-table" not in names(**TABLE, source_to_detector_mm=None)
    assert "above-table" not in names(**TABLE, imager_pixel_spacing_mm=None)


def test_the_stands_own_reckoning_names_the_height_it_is_for():
    found = one("centre-of-beam", object_spacing_mm=(0.14, 0.15), object_to_table_mm=90.0)
    assert isinstance(found, StoredSpacing)
    assert found.mm_per_px == (0.14, 0.15)
    assert "90 mm above the table" in found.basis
    silent = one("centre-of-beam", object_spacing_mm=(0.14, 0.15))
    assert isinstance(silent, StoredSpacing)
    assert "a height not stated" in silent.basis


def test_a_magnification_that_the_distances_already_give_is_no_other_scale():
    """SID / SOD = 1000 / 750 (PS3.3 C.8.7.2: the factor is their ratio)."""
    assert names(magnification_factor=1000 / 750) == ["isocentre"]
    assert names(magnification_factor=1.3334) == ["isocentre"]
    assert names(magnification_factor=1.40) == ["isocentre", "magnification"]
    assert names(magnification_factor=1.4, source_to_patient_mm=None) == ["magnification"]
    assert names(magnification_factor=0.9, source_to_patient_mm=None) == ["isocentre"]


aspects = st.floats(0.5, 2.0)
ends = st.tuples(st.floats(0, 500), st.floats(0, 500))


@given(aspects, st.floats(0.05, 0.4), ends, ends)
def test_a_scale_counts_pixels_by_their_shape(aspect, row_mm, first, second):
    """A length is hypot(Δrow · s_row, Δcolumn · s_column) (PS3.3 10.7.1.3)."""
    apart = math.dist(first, second)
    if apart < 2:
        return
    spacing = (row_mm, row_mm * aspect)
    its_header = header(xray=view(imager_pixel_spacing_mm=spacing))
    scale = header_scale(its_header, HeaderRequest())
    assert isinstance(scale, PixelScale)
    drawn = caliper(points=(PixelPoint(*first), PixelPoint(*second)))
    length = measure_caliper(drawn, scale, modality="XA").result.value
    expected = 0.75 * math.hypot(
        (second[0] - first[0]) * spacing[0], (second[1] - first[1]) * spacing[1]
    )
    assert length == pytest.approx(expected, rel=1e-9)
    # turned by a right angle, with its pixels turned along, it is as long
    turned = header(xray=view(imager_pixel_spacing_mm=spacing[::-1]))
    other = header_scale(turned, HeaderRequest())
    assert isinstance(other, PixelScale)
    again = caliper(points=(PixelPoint(*first[::-1]), PixelPoint(*second[::-1])))
    assert measure_caliper(again, other, modality="XA").result.value == pytest.approx(length)
