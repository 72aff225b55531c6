"""A scale made on one loop for another: only where the geometry is the same, or overruled."""

import math
from dataclasses import fields, replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from annot.calibration import (
    BorrowedRequest,
    GeometryKey,
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
from annot.calibration.scale import scale_from_reference_object
from annot.uncertainty import InputQuantity, exact
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


# every field of the key, so that a new one is not forgotten
EMPTY = ("isocentre_deg", "field_of_view_mm", "region_sizes_mm")
DIFFERENT = {
    "modality": "RF",
    "rows": 1024,
    "columns": 1024,
    "imager_spacing_mm": (0.15, 0.15),
    "source_to_detector_mm": 1100.0,
    "source_to_patient_mm": 800.0,
    "angles_deg": (30.0, -20.0),
    "isocentre_deg": (40.0, 0.0, 0.0),
    "plane": "BIPLANE B",
    "field_of_view_mm": (150.0,),
    "intensifier_mm": 230.0,
    "region_sizes_mm": ((0.4, 0.4),),
}


def test_every_field_of_the_key_is_tried():
    assert set(DIFFERENT) == {field.name for field in fields(GeometryKey)}


@pytest.mark.parametrize("name", DIFFERENT)
@pytest.mark.parametrize("absent", [False, True])
def test_borrowing_is_refused_whenever_a_field_of_the_key_differs(name, absent):
    own = geometry_key(LENDER)
    other = {"angles_deg": (None, None)} | dict.fromkeys(EMPTY, ())
    value = other.get(name) if absent else DIFFERENT[name]
    if absent and (name in {"modality", "rows", "columns"} or value == getattr(own, name)):
        return  # these are always there, or nothing is different
    lent = catheter_scale(geometry=replace(own, **{name: value}))
    assert isinstance(borrowed(LENDER, scale=lent), NoScale)
    assert isinstance(borrowed(LENDER, scale=lent, reason="why"), PixelScale)


@given(st.sampled_from(sorted(DIFFERENT)), st.floats(0.002, 0.5))
def test_numbers_apart_by_more_than_their_last_digit_are_refused(name, relative):
    own = geometry_key(LENDER)
    value = getattr(own, name)
    if not isinstance(value, float):
        return
    lent = catheter_scale(geometry=replace(own, **{name: value * (1 + relative)}))
    assert isinstance(borrowed(LENDER, scale=lent), NoScale)


def test_numbers_apart_by_their_last_digit_are_the_same():
    lent = catheter_scale(geometry=replace(geometry_key(LENDER), source_to_detector_mm=1000.4))
    assert isinstance(borrowed(LENDER, scale=lent), PixelScale)


# ---------------------------------------------------------------- other angles
TURNED = header(xray=view(primary_deg=30.0), sop_instance_uid="1.2.9")


def at_angles(borrower=TURNED, **placing):
    """Lend the 2 mm catheter of the shared strategies: 12.4 px wide, depth ± 20 mm."""
    base = catheter_scale(geometry=geometry_key(LENDER))
    own = replace(base, at_object=base.row.arguments[0])
    request = BorrowedRequest(file="lender.dcm", placing=Placing(**placing))
    return borrow_scale(MadeScale(scale=own), LENDER, borrower, request)


def test_other_angles_ask_for_a_depth():
    refused = at_angles()
    assert isinstance(refused, NoScale)
    assert "state how far the anatomy lies off the object in depth" in refused.reason


def test_a_depth_stated_anew_takes_the_place_of_the_lenders():
    scale = at_angles(depth_offset_mm=60.0)
    assert isinstance(scale, PixelScale)
    # 2.0 mm / 12.4 px stays; depth is now ±60 mm of 750 mm, in a group of its own
    assert scale.row.value == pytest.approx(2.0 / 12.4)
    parts = [line for line in scale.row.lines if line.input.component == "depth"]
    assert math.hypot(*(line.contribution for line in parts)) == pytest.approx(
        2.0 / 12.4 * 60 / 750 / math.sqrt(3), rel=1e-6
    )
    assert scale.depth_group != catheter_scale().depth_group
    assert any("the positioner's angles are not those of lender.dcm" in w for w in scale.warnings)
    # reading and size are shared with the lender's own lengths, depth is not
    own = catheter_scale()
    shared = {line.input.key for line in own.row.lines} & {
        line.input.key for line in scale.row.lines
    }
    assert shared == {"catheter-2", "catheter-a:seen"}


def test_an_object_that_showed_both_pitches_keeps_both_at_another_depth():
    base = catheter_scale(geometry=geometry_key(LENDER))
    # columns a fifth wider, by a reading of their own
    across = scale_from_reference_object(
        key="grid",
        known_size=base.row.arguments[0].arguments[0],
        seen_size=InputQuantity(
            key="grid:across", value=10.0, u=0.05, unit="px", component="scale", source="a test's"
        ),
        depth_ratio=exact(1.0, key="here", unit="1", source="at the object"),
    )
    own = replace(base, at_object=base.row.arguments[0], column_at_object=across)
    request = BorrowedRequest(file="lender.dcm", placing=Placing(depth_offset_mm=60.0))
    scale = borrow_scale(MadeScale(scale=own), LENDER, TURNED, request)
    assert scale.column.value == pytest.approx(0.2)
    keys = {line.input.key for line in scale.column.lines}
    assert "grid:across" in keys
    assert "catheter-a:seen" not in keys
    assert scale.depth_group in {line.input.key for line in scale.column.lines}


def test_the_stands_own_angles_count_like_the_patients():
    turned = header(xray=view(isocentre_deg=(40.0, 0.0, 0.0)))
    refused = at_angles(turned)
    assert isinstance(refused, NoScale)
    assert "the stand's angles at the isocentre (() against (40.0, 0.0, 0.0))" in refused.reason
    assert isinstance(at_angles(turned, depth_offset_mm=60.0), PixelScale)


def test_a_borrowed_scale_is_set_against_the_borrowers_own_header():
    other = header(xray=view(pixel_spacing_mm=(0.3, 0.3), calibration_type="FIDUCIAL"))
    scale = at_angles(other, depth_offset_mm=5.0)
    assert any("E_n = -" in one for one in scale.warnings)
    assert not any("E_n" in one for one in at_angles(header()).warnings)


def test_a_depth_known_from_two_views_moves_the_scale():
    scale = at_angles(depth_range_mm=(30.0, 30.0))
    assert scale.row.value == pytest.approx(2.0 / 12.4 * 720 / 750)


def test_a_depth_stated_anew_does_not_make_up_for_another_zoom():
    zoomed = header(xray=view(primary_deg=30.0, imager_pixel_spacing_mm=(0.1, 0.1)))
    refused = at_angles(zoomed, depth_offset_mm=60.0)
    assert isinstance(refused, NoScale)
    assert "the detector's spacing" in refused.reason
    assert "the positioner's angles" not in refused.reason


def test_a_depth_stated_anew_counts_at_the_same_angles_too():
    scale = at_angles(header(), depth_offset_mm=5.0)
    assert scale.row.u < catheter_scale().row.u
    assert not any("angles are not those" in one for one in scale.warnings)


def test_a_turn_of_less_than_a_degree_is_carried_and_said():
    scale = at_angles(header(xray=view(primary_deg=-29.5)))
    assert isinstance(scale, PixelScale)
    assert any("the positioner's angles are not those" in one for one in scale.warnings)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"table_mm": (0.0, 30.0, 0.0)}, "the table is not that of lender.dcm"),
        ({"table_height_mm": 110.0}, "the height of the table is not that of lender.dcm"),
    ],
)
def test_a_table_that_stands_elsewhere_is_warned_of(changes, words):
    scale = at_angles(header(xray=view(**changes)))
    assert isinstance(scale, PixelScale)
    assert any(words in one for one in scale.warnings)
    assert not any(words in one for one in at_angles(header()).warnings)


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
