"""Loops whose geometry changes on the way, from the file to the rows of the table."""

import json

import numpy as np
import pytest
from pydicom import dcmread
from pydicom.dataset import Dataset, FileMetaDataset
from pydicom.sequence import Sequence
from pydicom.uid import (
    EnhancedXAImageStorage,
    ExplicitVRLittleEndian,
    XRayAngiographicImageStorage,
)

from annot.calibration import HeaderRequest
from annot.errors import InputError
from annot.exports import rows_of
from annot.tasks.calibrate import scale_loop
from annot.tasks.measure import measure_read
from annot.tasks.open import list_loops, open_loop
from annot.tasks.read import load_read
from annot.tasks.refine import refinements_of
from annot.tasks.track import track_caliper

FRAMES = 6
SEGMENT = {
    "kind": "segment",
    "length_mm": 10.0,
    "tolerance_mm": 0.05,
    "points_px": [[10, 10], [10, 60]],
    "tilt_deg": 0,
    "depth_offset_mm": 20,
}


def base(sop_class: str, uid: str) -> Dataset:
    ds = Dataset()
    ds.file_meta = FileMetaDataset()
    ds.file_meta.TransferSyntaxUID = ExplicitVRLittleEndian
    ds.SOPClassUID, ds.SOPInstanceUID = sop_class, uid
    ds.StudyInstanceUID, ds.SeriesInstanceUID, ds.Modality = "1.2.3.7", "1.2.3.8", "XA"
    ds.Manufacturer, ds.DeviceSerialNumber = "MAKER", "1"
    ds.Rows, ds.Columns, ds.NumberOfFrames = 60, 80, FRAMES
    ds.SamplesPerPixel, ds.PhotometricInterpretation, ds.PixelRepresentation = 1, "MONOCHROME2", 0
    ds.BitsAllocated, ds.BitsStored, ds.HighBit = 16, 12, 11
    ds.PixelIntensityRelationship = "LIN"
    ds.PixelData = np.full((FRAMES, 60, 80), 900, np.uint16).tobytes()
    return ds


def rotational(path, *, uid="1.2.3.1", motion="DYNAMIC", **changes):
    """Write a classic rotational run (PS3.3 C.8.7.5): one angle offset for each frame."""
    ds = base(XRayAngiographicImageStorage, uid)
    ds.ImagerPixelSpacing = [0.2, 0.2]
    ds.DistanceSourceToDetector, ds.DistanceSourceToPatient = 1000, 750
    ds.PositionerMotion = motion
    ds.PositionerPrimaryAngle, ds.PositionerSecondaryAngle = -30, 0
    if motion == "DYNAMIC":
        ds.PositionerPrimaryAngleIncrement = [10 * n for n in range(FRAMES)]
        ds.PositionerSecondaryAngleIncrement = [0] * FRAMES
    for keyword, value in changes.items():
        setattr(ds, keyword, value)
    ds.save_as(path, enforce_file_format=True)
    return path


def enhanced(path, distances, *, uid="1.2.3.2"):
    """Write an enhanced loop (PS3.3 C.7.6.16): the detector's distance stands on each frame."""
    ds = base(EnhancedXAImageStorage, uid)

    def group(distance):
        item, geometry, spacing = Dataset(), Dataset(), Dataset()
        geometry.DistanceSourceToDetector = distance
        geometry.DistanceSourceToIsocenter = 750.0
        spacing.ImagerPixelSpacing = [0.2, 0.2]
        item.XRayGeometrySequence = Sequence([geometry])
        item.FramePixelDataPropertiesSequence = Sequence([spacing])
        return item

    ds.PerFrameFunctionalGroupsSequence = Sequence([group(one) for one in distances])
    ds.save_as(path, enforce_file_format=True)
    return path


def caliper(frame, **more):
    return {
        "id": f"c{frame}",
        "quantity": "ostium_width",
        "frame": frame,
        "points_px": [[20, 10], [20, 60]],
        **more,
    }


def loop(file, scale, *frames):
    return {"file": file, "scale": scale, "calipers": [caliper(frame) for frame in frames]}


def measured(folder, *loops):
    path = folder / "read.json"
    path.write_text(json.dumps({"annot_read": 1, "reader": "A", "study": "S", "loops": loops}))
    return rows_of(measure_read(load_read(path), folder))


def test_a_rotational_loop_is_scaled_by_an_object_on_its_own_frame_only(tmp_path):
    rotational(tmp_path / "turn.dcm")
    own, other = measured(
        tmp_path,
        {
            "file": "turn.dcm",
            "scale": {**SEGMENT, "frame": 2},
            "calipers": [caliper(2), caliper(3)],
        },
    )
    assert (own["unit"], own["value"]) == ("mm", pytest.approx(10.0))
    assert own["primary_deg"] == -10
    assert (other["unit"], other["scale_id"]) == ("px", None)
    assert other["primary_deg"] == 0
    assert "does not hold on frame 3" in other["warnings"]
    assert "the positioner's angles ((-10.0, 0.0) against (0.0, 0.0))" in other["warnings"]


def test_a_rotational_loops_header_scales_every_frame_with_a_depth_of_its_own(tmp_path):
    rotational(tmp_path / "turn.dcm")
    first, second = measured(
        tmp_path,
        loop("turn.dcm", {"kind": "header"}, 0, 5),
    )
    assert first["value"] == pytest.approx(50 * 0.15)
    assert second["value"] == pytest.approx(50 * 0.15)
    assert first["scale_id"] != second["scale_id"]
    assert first["depth_group"] != second["depth_group"]
    assert first["system_id"] == second["system_id"] is not None
    assert first["share_system"] > 0
    assert first["primary_deg"] == -30
    assert second["primary_deg"] == 20


def test_frames_of_another_detector_distance_have_their_own_scale(tmp_path):
    """0.2 mm · 750 / SID, frame by frame."""
    enhanced(tmp_path / "lift.dcm", [1000.0] * 3 + [1200.0] * 3)
    rows = measured(
        tmp_path,
        loop("lift.dcm", {"kind": "header"}, 1, 4),
    )
    assert [row["value"] for row in rows] == pytest.approx([50 * 0.15, 50 * 0.125])
    by_object = measured(
        tmp_path,
        {
            "file": "lift.dcm",
            "scale": {**SEGMENT, "frame": 0},
            "calipers": [caliper(1), caliper(4)],
        },
    )
    assert [row["unit"] for row in by_object] == ["mm", "px"]
    assert (
        "the distance from source to detector (1000.0 against 1200.0)" in by_object[1]["warnings"]
    )


def test_a_still_loop_lends_its_scale_to_another_angle_once_depth_is_stated(tmp_path):
    rotational(tmp_path / "a.dcm", uid="1.2.3.1", motion="STATIC")
    rotational(tmp_path / "b.dcm", uid="1.2.3.2", motion="STATIC", PositionerPrimaryAngle=30)
    lender = {"file": "a.dcm", "scale": SEGMENT, "calipers": [caliper(0)]}

    def borrower(**scale):
        calipers = [caliper(0, id="b0")]
        return {"file": "b.dcm", "scale": {"from": "a.dcm", **scale}, "calipers": calipers}

    _, refused = measured(tmp_path, lender, borrower())
    assert refused["unit"] == "px"
    assert "state how far the anatomy lies off the object in depth" in refused["warnings"]
    own, lent = measured(tmp_path, lender, borrower(depth_offset_mm=40))
    assert (lent["unit"], lent["value"]) == ("mm", pytest.approx(10.0))
    assert lent["u"] > own["u"]
    assert lent["scale_id"] == own["scale_id"]
    assert lent["depth_group"] != own["depth_group"]
    _, ranged = measured(tmp_path, lender, borrower(depth_range_mm=[30, 30]))
    assert ranged["value"] == pytest.approx(10.0 * 720 / 750)
    assert "corrected for the anatomy lying 30 mm nearer" in ranged["warnings"]
    _, overruled = measured(tmp_path, lender, borrower(overrule="phantom shows the same"))
    assert overruled["overruled"] == "phantom shows the same"


def test_a_moving_table_is_noticed_on_the_frame_it_moved_to(tmp_path):
    rotational(
        tmp_path / "pan.dcm",
        motion="STATIC",
        TableMotion="DYNAMIC",
        TableLongitudinalIncrement=[0, 0, 0, 20, 40, 60],
    )
    rows = measured(
        tmp_path,
        loop("pan.dcm", {**SEGMENT, "frame": 0}, 2, 5),
    )
    assert [row["unit"] for row in rows] == ["mm", "px"]
    assert "the table's position" in rows[1]["warnings"]


def test_a_scale_that_disagrees_with_the_header_says_so_in_every_row(tmp_path):
    rotational(tmp_path / "a.dcm", motion="STATIC")
    blunder = {**SEGMENT, "length_mm": 15.0}
    [row] = measured(tmp_path, {"file": "a.dcm", "scale": blunder, "calipers": [caliper(0)]})
    assert "the scale is +100.0 % off another of the same loop" in row["warnings"]
    assert "E_n = +" in row["warnings"]
    right = {**SEGMENT, "length_mm": 7.5}
    [row] = measured(tmp_path, {"file": "a.dcm", "scale": right, "calipers": [caliper(0)]})
    assert "E_n" not in row["warnings"]


def test_a_scale_is_asked_for_one_frame(tmp_path):
    enhanced(tmp_path / "lift.dcm", [1000.0] * 3 + [1200.0] * 3)
    opened = open_loop(tmp_path / "lift.dcm")
    answers = [scale_loop(opened, HeaderRequest(), frame=n) for n in (None, 2, 4)]
    assert [one.scale.row.value for one in answers] == pytest.approx([0.15, 0.15, 0.125])
    assert [one.frame for one in answers] == [0, 2, 4]
    with pytest.raises(InputError, match="frame 6, but the loop has frames 0 to 5"):
        scale_loop(opened, HeaderRequest(), frame=6)


def textured(path, **changes):
    """Write a loop that shows one still texture, so that an end can be followed through it."""
    texture = np.random.default_rng(4).integers(300, 3000, (60, 80), dtype=np.uint16)
    pixels = np.broadcast_to(texture, (FRAMES, 60, 80)).tobytes()
    times = {"FrameTime": 66.7, "FrameIncrementPointer": 0x00181063}
    return rotational(path, PixelData=pixels, **times, **changes)


def followed(folder, scale):
    path = folder / "read.json"
    loops = [loop("turn.dcm", scale, 2)]
    path.write_text(json.dumps({"annot_read": 1, "reader": "A", "study": "S", "loops": loops}))
    return track_caliper(load_read(path), folder, "c2")


def test_a_curve_needs_a_scale_on_every_frame(tmp_path):
    textured(tmp_path / "turn.dcm")
    with pytest.raises(InputError, match=r"turn\.dcm: the scale holds on some frames only"):
        followed(tmp_path, {**SEGMENT, "frame": 2})
    curve = followed(tmp_path, {"kind": "header"})
    results = [one.measurement.result for one in curve.points]
    assert len(results) == FRAMES
    assert {one.unit for one in results} == {"mm"}
    assert [one.value for one in results] == pytest.approx([50 * 0.15] * FRAMES, rel=0.02)


def test_a_list_says_that_the_scale_is_the_first_frames(tmp_path):
    rotational(tmp_path / "turn.dcm")
    [listed] = list_loops([tmp_path / "turn.dcm"])
    facts = listed.facts()
    assert "changes from frame to frame" in facts["header_scale"]
    assert facts["scales"][0]["basis"].startswith("frame 0: ")


def test_a_proposed_shift_is_in_mm_under_the_scale_of_its_own_frame(tmp_path):
    enhanced(tmp_path / "own.dcm", [1000.0] * (FRAMES - 1) + [1250.0])
    ds = dcmread(tmp_path / "own.dcm")
    _, columns = np.mgrid[:60, :80]
    picture = np.where(abs(columns - 36) < 22, 300, 1200).astype(np.uint16)
    ds.PixelData = np.tile(picture, (FRAMES, 1, 1)).tobytes()
    ds.save_as(tmp_path / "own.dcm", enforce_file_format=True)
    path = tmp_path / "read.json"
    part = loop("own.dcm", {"kind": "header"}, 0, FRAMES - 1)
    for one in part["calipers"]:
        one["points_px"] = [[30, 16], [30, 56]]
    path.write_text(json.dumps({"annot_read": 1, "reader": "A", "study": "S", "loops": [part]}))
    found = [one.as_dict() for one in refinements_of(load_read(path), tmp_path)]
    sizes = {one["frame"]: one["shift_mm"] / one["shift_px"] for one in found if one["shift_px"]}
    assert sizes == pytest.approx({0: 0.2 * 750 / 1000, FRAMES - 1: 0.2 * 750 / 1250})


def test_an_end_outside_the_picture_is_no_place_to_refine(tmp_path):
    enhanced(tmp_path / "own.dcm", [1000.0] * FRAMES)
    path = tmp_path / "read.json"
    part = loop("own.dcm", {"kind": "header"}, 0)
    part["calipers"][0]["points_px"] = [[30, 16], [30, 90]]
    path.write_text(json.dumps({"annot_read": 1, "reader": "A", "study": "S", "loops": [part]}))
    with pytest.raises(InputError, match="lies outside the image"):
        refinements_of(load_read(path), tmp_path)
