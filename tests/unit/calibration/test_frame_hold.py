"""A scale in a loop whose geometry changes: it holds on its own frames, or each has its own."""

from dataclasses import replace

import pytest

from annot.calibration import (
    BorrowedRequest,
    FrameScales,
    GivenRequest,
    HeaderRequest,
    KnownSize,
    MadeScale,
    NoScale,
    ObjectReading,
    ObjectRequest,
    PixelScale,
    Placing,
    borrow_scale,
    candidate_scales,
    header_scale,
    make_scale,
)
from annot.geometry import PixelPoint
from annot.loops import FrameVectors
from annot.uncertainty import covariance
from tests.strategies import header, view
from tests.unit.calibration.conftest import StoredLoop

ENDS = (PixelPoint(100.0, 100.0), PixelPoint(100.0, 180.0))
LENGTH = KnownSize(size_mm=20.0, tolerance_mm=0.05, source="measured", name="length")
# a rotational run: 1.5 degrees a frame, distances still
TURNING = view(
    positioner_motion="DYNAMIC",
    primary_increments_deg=tuple(1.5 * n for n in range(20)),
    secondary_increments_deg=(0.0,) * 20,
)
TABLE = FrameVectors(table_mm=tuple((0.0, 10.0 * (n // 10), 0.0) for n in range(20)))
ZOOMED = FrameVectors(
    imager_pixel_spacing_mm=tuple((0.2, 0.2) if n < 10 else (0.1, 0.1) for n in range(20)),
    field_of_view_mm=tuple((200.0,) if n < 10 else (100.0,) for n in range(20)),
)
LIFTED = FrameVectors(source_to_detector_mm=tuple(1000.0 if n < 10 else 1100.0 for n in range(20)))


def moving(vectors=None, **changes):
    base = TURNING if vectors is None else view(vectors=vectors)
    return header(xray=replace(base, **changes))


def segment(*frames: int, **placing) -> ObjectRequest:
    return ObjectRequest(
        kind="segment",
        size=LENGTH,
        readings=tuple(ObjectReading(frame=n, points=ENDS) for n in frames),
        placing=Placing(**placing),
    )


def made(its_header, request) -> PixelScale | NoScale | FrameScales:
    return make_scale(StoredLoop(header=its_header), request).scale


# ---------------------------------------------------------------- objects
@pytest.mark.parametrize(
    ("its_header", "words"),
    [
        (moving(), "the positioner's angles ((-30.0, -20.0) against (-7.5, -20.0))"),
        (moving(TABLE), "the table's position ((0.0, 0.0, 0.0) against (0.0, 10.0, 0.0) mm)"),
        (moving(ZOOMED), "the detector's spacing"),
        (moving(ZOOMED), "the field of view ((200.0,) against (100.0,))"),
        (moving(LIFTED), "the distance from source to detector (1000.0 against 1100.0)"),
    ],
)
def test_an_objects_scale_is_refused_on_a_frame_of_another_geometry(its_header, words):
    scale = made(its_header, segment(0))
    assert isinstance(scale, PixelScale)
    assert scale.at(ENDS, frame=0) is scale
    refused = scale.at(ENDS, frame=15)
    assert isinstance(refused, NoScale)
    assert "does not hold on frame 15" in refused.reason
    assert words in refused.reason


def test_a_turn_of_less_than_a_degree_is_none():
    slow = moving(primary_increments_deg=tuple(0.1 * n for n in range(20)))
    scale = made(slow, segment(0))
    assert scale.at(ENDS, frame=9) is scale  # 0.9 degrees
    assert isinstance(scale.at(ENDS, frame=12), NoScale)


def test_a_moving_loop_asks_which_frame():
    scale = made(moving(), segment(0))
    found = scale.at(ENDS)
    assert isinstance(found, NoScale)
    assert "name the frame" in found.reason


def test_angles_that_move_without_being_stated_hold_nowhere_else():
    """PS3.3 C.8.7.5: increments are required where the positioner moves, and may be missing."""
    silent = moving(primary_increments_deg=(), secondary_increments_deg=())
    scale = made(silent, segment(3))
    assert scale.at(ENDS, frame=3) is scale
    for frame in (0, 4):
        refused = scale.at(ENDS, frame=frame)
        assert isinstance(refused, NoScale)
        assert "not stated for every frame" in refused.reason or "angles" in refused.reason
    # neither frame's angles are known: that is no agreement
    assert "not stated for every frame" in scale.at(ENDS, frame=4).reason


def test_an_object_is_read_on_frames_of_one_geometry():
    refused = made(moving(ZOOMED), segment(2, 12))
    assert isinstance(refused, NoScale)
    assert "read on frames of different geometry" in refused.reason
    assert isinstance(made(moving(ZOOMED), segment(2, 3)), PixelScale)


def test_depth_is_taken_from_the_frame_the_object_is_read_on():
    nearer = FrameVectors(source_to_patient_mm=tuple(750.0 if n < 10 else 600.0 for n in range(20)))
    first, later = (
        made(moving(nearer), segment(n, depth_offset_mm=20.0, tilt_deg=0.0)) for n in (0, 12)
    )
    assert later.row.shares()["depth"] > first.row.shares()["depth"]
    assert first.depth_group != later.depth_group


def test_a_still_loop_holds_everywhere():
    scale = made(header(), segment(0))
    assert scale.frames is None
    assert scale.at(ENDS, frame=15) is scale is scale.at(ENDS)


# ---------------------------------------------------------------- headers
def test_each_frame_has_the_header_scale_of_its_own_geometry():
    """0.2 mm · 750/1000 at first, then 0.1 mm · 750/1000 (PS3.3 10.7.1.1)."""
    scales = header_scale(moving(ZOOMED), HeaderRequest())
    assert isinstance(scales, FrameScales)
    first, other, zoomed = (scales.at(ENDS, frame=n) for n in (0, 9, 10))
    assert (first.row.value, zoomed.row.value) == pytest.approx((0.15, 0.075))
    assert first.key == other.key != zoomed.key
    assert zoomed.at(ENDS, frame=10) is zoomed
    assert isinstance(zoomed.at(ENDS, frame=0), NoScale)
    assert isinstance(scales.at(ENDS), NoScale)


def test_a_rotation_keeps_the_isocentres_scale_and_gives_each_angle_its_own_depth():
    scales = header_scale(moving(), HeaderRequest())
    one, other = (scales.at(ENDS, frame=n) for n in (0, 10))
    assert one.row.value == pytest.approx(other.row.value) == pytest.approx(0.15)
    assert one.depth_group != other.depth_group
    assert one.geometry.angles_deg == (-30.0, -20.0)
    assert other.geometry.angles_deg == (-15.0, -20.0)


def test_frames_whose_angles_nobody_states_share_no_depth():
    silent = moving(primary_increments_deg=(), secondary_increments_deg=())
    scales = header_scale(silent, HeaderRequest())
    one, other = (scales.at(ENDS, frame=n) for n in (4, 5))
    assert one.depth_group != other.depth_group


def test_frames_of_one_system_share_its_error():
    its_header = replace(moving(ZOOMED), system="5e5e5e5e")
    scales = header_scale(its_header, HeaderRequest())
    first, zoomed = (scales.at(ENDS, frame=n) for n in (0, 10))
    assert covariance(first.row, zoomed.row) > 0


def test_a_frame_whose_header_contradicts_itself_says_so():
    """The stored magnification 3.0 against SID / SOD = 1.33: E_n apart, on every frame."""
    wide = replace(moving(magnification_factor=3.0), system="5e5e5e5e")
    found = header_scale(wide, HeaderRequest()).at(ENDS, frame=3)
    assert isinstance(found, PixelScale)
    [text] = [one for one in found.warnings if "E_n" in one]
    assert "(stored magnification)" in text


def test_a_frame_that_states_nothing_has_no_header_scale():
    gap = FrameVectors(imager_pixel_spacing_mm=((0.2, 0.2), None, *((0.2, 0.2),) * 18))
    scales = header_scale(moving(gap, imager_pixel_spacing_mm=None), HeaderRequest())
    assert isinstance(scales.at(ENDS, frame=0), PixelScale)
    assert isinstance(scales.at(ENDS, frame=1), NoScale)


def test_candidates_are_those_of_the_frame():
    first, zoomed = (candidate_scales(moving(ZOOMED), frame=n)[0].scale for n in (0, 10))
    assert (first.row.value, zoomed.row.value) == pytest.approx((0.15, 0.075))


# ---------------------------------------------------------------- given and borrowed
def test_a_given_number_cannot_hold_on_all_frames():
    request = GivenRequest(mm_per_px=(0.2, 0.2), u_rel=0.01)
    refused = made(moving(ZOOMED), request)
    assert isinstance(refused, NoScale)
    assert "one given number cannot hold" in refused.reason
    overruled = replace(request, placing=Placing(overrule="frames 0 to 9 only"))
    scale = made(moving(ZOOMED), overruled)
    assert isinstance(scale, PixelScale)
    assert scale.overruled == "frames 0 to 9 only"


def lent(borrower, **placing):
    lender = header()
    scale = made(lender, segment(0, depth_offset_mm=20.0, tilt_deg=0.0))
    request = BorrowedRequest(file="lender.dcm", placing=Placing(**placing))
    return borrow_scale(MadeScale(scale=scale), lender, borrower, request)


def test_a_borrowed_scale_holds_on_the_frames_of_its_geometry():
    scale = lent(moving(LIFTED))
    assert isinstance(scale.at(ENDS, frame=5), PixelScale)
    refused = scale.at(ENDS, frame=15)
    assert isinstance(refused, NoScale)
    assert "the distance from source to detector" in refused.reason


def test_a_depth_stated_anew_carries_a_scale_through_a_rotation():
    assert isinstance(lent(moving()).at(ENDS, frame=10), NoScale)
    scale = lent(moving(), depth_offset_mm=60.0)
    assert isinstance(scale.at(ENDS, frame=10), PixelScale)
    # but not through another zoom
    assert isinstance(lent(moving(ZOOMED), depth_offset_mm=60.0).at(ENDS, frame=12), NoScale)


def test_an_overruled_scale_holds_on_every_frame_and_says_so():
    scale = lent(moving(), overrule="slow rotation")
    found = scale.at(ENDS, frame=15)
    assert isinstance(found, PixelScale)
    assert found.overruled == "slow rotation"
    assert any("scale overruled although" in one for one in found.warnings)


def test_a_moving_loops_header_scale_is_its_own():
    its_header = moving()
    scales = header_scale(its_header, HeaderRequest())
    request = BorrowedRequest(file="lender.dcm")
    found = borrow_scale(MadeScale(scale=scales), its_header, header(), request)
    assert isinstance(found, NoScale)
    assert "a moving loop's header scale belongs to its own loop" in found.reason
