"""A scale made on one loop for another: only where the geometry is the same, or overruled."""

from dataclasses import replace
from pathlib import Path

import pytest

from annot.calibration import (
    BorrowedRequest,
    GivenRequest,
    HeaderRequest,
    MadeScale,
    NoScale,
    PixelScale,
    Placing,
    borrow_scale,
    header_scale,
)
from annot.calibration.identity import geometry_key
from tests.strategies import catheter_scale, echo_header, header, region, view

LENDER = header(path=Path("lender.dcm"))


def borrowed(borrower, *, lender=LENDER, reason="", scale=None):
    own = scale or catheter_scale(geometry=geometry_key(lender))
    request = BorrowedRequest(file="lender.dcm", placing=Placing(overrule=reason))
    return borrow_scale(MadeScale(scale=own), lender, borrower, request)


def test_the_same_geometry_takes_the_scale_as_it_is():
    lent = catheter_scale(geometry=geometry_key(LENDER))
    assert borrowed(header(sop_instance_uid="1.2.3"), scale=lent) == lent


OTHERS = {
    "the number of rows": {"rows": 1024},
    "the detector's spacing": {"xray": view(imager_pixel_spacing_mm=(0.15, 0.15))},
    "the distance from source to detector": {"xray": view(source_to_detector_mm=1100.0)},
    "the distance from source to patient": {"xray": view(source_to_patient_mm=800.0)},
    "the positioner's angles": {"xray": view(primary_deg=30.0)},
    "the plane of a biplane system": {"xray": view(plane="BIPLANE B")},
    "the field of view": {"xray": view(field_of_view_mm=(150.0,))},
    "the modality": {"modality": "RF"},
}


@pytest.mark.parametrize("words", OTHERS)
def test_another_geometry_is_refused_and_named(words):
    found = borrowed(header(**OTHERS[words]))
    assert isinstance(found, NoScale)
    assert found.reason.startswith("the scale of lender.dcm does not hold here: ")
    assert words in found.reason


@pytest.mark.parametrize("words", OTHERS)
def test_another_geometry_may_be_overruled_with_a_reason_that_is_kept(words):
    found = borrowed(header(**OTHERS[words]), reason="phantom says so")
    assert isinstance(found, PixelScale)
    assert found.overruled == "phantom says so"
    assert any(f"scale overruled although {words}" in one for one in found.warnings)


def test_a_lenders_own_overruling_is_not_lost_on_the_way():
    lent = catheter_scale(geometry=geometry_key(LENDER), overruled="lender's reason")
    found = borrowed(header(), scale=lent)
    assert found.overruled == "lender's reason"
    both = borrowed(header(rows=1024), scale=lent, reason="borrower's reason")
    assert both.overruled == "lender's reason; borrower's reason"


def test_warnings_of_the_lender_come_along():
    lent = replace(catheter_scale(geometry=geometry_key(LENDER)), warnings=("lender speaks",))
    assert borrowed(header(), scale=lent).warnings == ("lender speaks",)


def test_two_silent_headers_agree_on_nothing_and_that_is_said():
    silent = header(modality="OT", xray=None, path=Path("lender.dcm"))
    found = borrowed(replace(silent, path=Path("b.dcm")), lender=silent)
    assert isinstance(found, PixelScale)
    assert any("neither header states its geometry" in one for one in found.warnings)


def test_an_echo_at_another_depth_does_not_lend_its_scale():
    """Another depth setting shows in the regions' pixel sizes, while rows and columns stay."""
    lender = echo_header(region(), path=Path("lender.dcm"))
    deeper = echo_header(region(delta_x=0.06, delta_y=0.05))
    assert isinstance(borrowed(deeper, lender=lender), NoScale)
    assert isinstance(borrowed(echo_header(region()), lender=lender), PixelScale)


def test_an_echo_header_scale_is_its_own_loops():
    lender = echo_header(region())
    found = borrowed(lender, lender=lender, scale=header_scale(lender, HeaderRequest()))
    assert isinstance(found, NoScale)
    assert "use this loop's header" in found.reason


def test_no_scale_cannot_be_lent():
    none = NoScale(reason="too faint")
    assert borrowed(header(), scale=none) is not None
    assert (
        borrow_scale(MadeScale(scale=none), LENDER, header(), BorrowedRequest(file="lender.dcm"))
        == none
    )


def test_requests_are_frozen():
    request = GivenRequest(mm_per_px=(0.2, 0.2), u_rel=0.01)
    with pytest.raises(AttributeError):
        request.u_rel = 0.5  # type: ignore[misc]  # the point of the test
