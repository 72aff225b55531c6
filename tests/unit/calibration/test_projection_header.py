"""The header's scale of a projection: the standard's six cases (PS3.3 10.7.1.1), one by one.

1 FIDUCIAL · 2 GEOMETRY · 3 no type, the two spacings differ · 4 no type, both equal ·
5 PixelSpacing alone · 6 ImagerPixelSpacing alone.
"""

import math

import pytest

from annot.calibration import HeaderRequest, NoScale, PixelScale, Placing, header_scale
from annot.calibration.projection_geometry import StoredSpacing, stored_spacing
from annot.loops import XrayView
from tests.strategies import header, view

AT_DETECTOR, IN_PATIENT = (0.2, 0.2), (0.16, 0.16)
NO_DISTANCES = {"source_to_detector_mm": None, "source_to_patient_mm": None}


def bare(**changes: object) -> XrayView:
    return view(**{"imager_pixel_spacing_mm": None, **changes})


def test_case_1_a_fiducial_spacing_is_the_patients_at_the_fiducial():
    found = stored_spacing(view(pixel_spacing_mm=IN_PATIENT, calibration_type="FIDUCIAL"))
    assert isinstance(found, StoredSpacing)
    assert found.mm_per_px == IN_PATIENT
    assert "FIDUCIAL" in found.basis
    assert "that object's depth" in found.basis


def test_case_2_a_geometry_spacing_is_the_patients_at_a_depth_not_stated():
    found = stored_spacing(view(pixel_spacing_mm=IN_PATIENT, calibration_type="GEOMETRY"))
    assert isinstance(found, StoredSpacing)
    assert found.mm_per_px == IN_PATIENT
    assert "depth not stated" in found.basis


def test_case_3_two_spacings_that_differ_mean_a_correction_by_nobody_knows_what():
    found = stored_spacing(view(pixel_spacing_mm=IN_PATIENT))
    assert isinstance(found, StoredSpacing)
    assert found.mm_per_px == IN_PATIENT
    assert "method not named" in found.basis
    geometry = stored_spacing(view(pixel_spacing_mm=IN_PATIENT, calibration_type="GEOMETRY"))
    assert isinstance(geometry, StoredSpacing)
    assert found.allowance.value > geometry.allowance.value


def test_case_4_two_equal_spacings_are_the_detectors_although_one_says_patient():
    found = stored_spacing(view(pixel_spacing_mm=AT_DETECTOR))
    assert isinstance(found, StoredSpacing)
    assert found.mm_per_px == pytest.approx((0.15, 0.15))
    without = stored_spacing(view(pixel_spacing_mm=AT_DETECTOR, **NO_DISTANCES))
    assert isinstance(without, NoScale)
    assert "true at the detector only" in without.reason


@pytest.mark.parametrize("distances", [{}, NO_DISTANCES])
def test_case_5_a_lone_pixel_spacing_is_never_taken(distances):
    found = stored_spacing(bare(pixel_spacing_mm=IN_PATIENT, **distances))
    assert isinstance(found, NoScale)
    assert "PixelSpacing stands alone" in found.reason


def test_case_6_the_detectors_spacing_is_brought_to_the_isocentre_by_the_distances():
    """SID 1000, SOD 750, 0.2 mm: 0.15 mm at the isocentre (geometry)."""
    found = stored_spacing(view())
    assert isinstance(found, StoredSpacing)
    assert found.mm_per_px == pytest.approx((0.15, 0.15), rel=1e-12)
    assert found.basis == "ImagerPixelSpacing × 750 / 1000 mm, at the isocentre"


def test_case_6_rows_and_columns_stay_apart():
    found = stored_spacing(view(imager_pixel_spacing_mm=(0.2, 0.3)))
    assert isinstance(found, StoredSpacing)
    assert found.mm_per_px == pytest.approx((0.15, 0.225))
    scale = header_scale(header(xray=view(imager_pixel_spacing_mm=(0.2, 0.3))), HeaderRequest())
    assert isinstance(scale, PixelScale)
    assert (scale.row.value, scale.column.value) == pytest.approx((0.15, 0.225))


def test_case_6_by_the_stored_magnification_where_distances_are_absent():
    """EstimatedRadiographicMagnificationFactor is SID / SOD: 4/3 brings 0.2 to 0.15 mm."""
    found = stored_spacing(view(magnification_factor=4 / 3, **NO_DISTANCES))
    assert isinstance(found, StoredSpacing)
    assert found.mm_per_px == pytest.approx((0.15, 0.15))


@pytest.mark.parametrize("magnification", [None, 0.8, 1.0])
@pytest.mark.parametrize(
    "distances",
    [
        NO_DISTANCES,
        {"source_to_detector_mm": 1000.0, "source_to_patient_mm": None},
        {"source_to_detector_mm": None, "source_to_patient_mm": 750.0},
        {"source_to_detector_mm": 700.0, "source_to_patient_mm": 750.0},
        {"source_to_detector_mm": 750.0, "source_to_patient_mm": 750.0},
    ],
)
def test_case_6_without_a_real_magnification_there_is_no_scale(magnification, distances):
    """A factor of 1 puts the patient on the detector: it is a placeholder, no magnification."""
    found = stored_spacing(view(magnification_factor=magnification, **distances))
    assert isinstance(found, NoScale)
    assert "neither usable distances nor a magnification" in found.reason


def test_no_spacing_at_all_is_no_scale():
    found = stored_spacing(bare())
    assert isinstance(found, NoScale)
    assert found.reason == "the header has neither PixelSpacing nor ImagerPixelSpacing"


# ---------------------------------------------------------------- as a scale with its budget
def test_a_header_scale_carries_allowance_and_depth_and_asks_for_a_check():
    scale = header_scale(header(), HeaderRequest())
    assert isinstance(scale, PixelScale)
    # ±5 % and ±20 mm at 750 mm, both rectangular
    assert scale.u_rel == pytest.approx(math.hypot(0.05, 20 / 750) / math.sqrt(3), rel=1e-6)
    assert scale.row.shares().keys() == {"scale", "depth"}
    assert scale.depth_group is not None
    assert scale.object_id is None
    assert "check it against an object of known size" in scale.warnings[0]
    assert any("depth between reference and anatomy not stated" in one for one in scale.warnings)


def test_a_stated_uncertainty_and_depth_replace_the_defaults():
    request = HeaderRequest(u_rel=0.01, placing=Placing(depth_offset_mm=0.0))
    scale = header_scale(header(), request)
    assert isinstance(scale, PixelScale)
    assert scale.u_rel == pytest.approx(0.01)
    assert not any("not stated" in one for one in scale.warnings)


def test_the_reason_for_overruling_is_kept():
    request = HeaderRequest(placing=Placing(overrule="agreed with physicist"))
    scale = header_scale(header(), request)
    assert isinstance(scale, PixelScale)
    assert scale.overruled == "agreed with physicist"


@pytest.mark.parametrize(("modality", "word"), [("OT", "a OT picture"), ("", "a nameless picture")])
def test_pictures_of_another_kind_have_no_header_scale(modality, word):
    found = header_scale(
        header(modality=modality, xray=None, pixel_spacing_mm=(0.2, 0.2)), HeaderRequest()
    )
    assert isinstance(found, NoScale)
    assert found.reason.startswith(word)


def test_the_same_header_and_request_have_the_same_key_and_others_another():
    one, again = (header_scale(header(), HeaderRequest()) for _ in range(2))
    other = header_scale(header(), HeaderRequest(u_rel=0.03))
    assert isinstance(one, PixelScale)
    assert isinstance(again, PixelScale)
    assert isinstance(other, PixelScale)
    assert one.key == again.key != other.key
