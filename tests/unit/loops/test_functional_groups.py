"""Enhanced objects: geometry, angles and times out of the functional groups (PS3.3 C.7.6.16).

The clause numbers of the single macros (C.8.19.6.x) are from memory, save C.8.19.6.9.
"""

from contextlib import suppress

import numpy as np
import pytest
from pydicom.dataset import Dataset
from pydicom.sequence import Sequence

from annot.errors import LoopError
from annot.loops import read_header

ENHANCED_XA = "1.2.840.10008.5.1.4.1.1.12.1.1"
ENHANCED_US = "1.2.840.10008.5.1.4.1.1.6.2"
ANGLES = "PositionerPositionSequence"
CONTENT = "FrameContentSequence"


def group(**macros: dict[str, object]) -> Dataset:
    """Make one functional group of macros, each with its attributes."""
    item = Dataset()
    for keyword, attributes in macros.items():
        inside = Dataset()
        for name, value in attributes.items():
            setattr(inside, name, value)
        setattr(item, keyword, Sequence([inside]))
    return item


GEOMETRY = {
    "XRayGeometrySequence": {
        "DistanceSourceToDetector": 1100,
        "DistanceSourceToIsocenter": 750.0,
    },
    "FramePixelDataPropertiesSequence": {"ImagerPixelSpacing": [0.2, 0.25]},
}


def positions(*degrees: tuple[float, float]) -> list[Dataset]:
    return [
        group(**{ANGLES: {"PositionerPrimaryAngle": one, "PositionerSecondaryAngle": two}})
        for one, two in degrees
    ]


def enhanced(write_loop, *, each=None, shared=None, sop_class=ENHANCED_XA, **attributes):
    groups = {
        "SharedFunctionalGroupsSequence": Sequence([group(**(shared or GEOMETRY))]),
        "PerFrameFunctionalGroupsSequence": Sequence(each) if each else None,
    }
    return read_header(write_loop(SOPClassUID=sop_class, **groups, **attributes))


def test_what_all_frames_share_becomes_the_view(write_loop):
    header = enhanced(write_loop, each=positions((30, -20), (30, -20), (30, -20)))
    view = header.xray
    assert view.source_to_detector_mm == 1100
    assert view.source_to_patient_mm == 750
    assert view.imager_pixel_spacing_mm == (0.2, 0.25)
    assert [view.angles_at(n) for n in range(3)] == [(30, -20)] * 3
    assert view.positioner_motion == "STATIC"
    assert any("DistanceSourceToIsocenter stands in" in one for one in header.warnings)


def test_the_sign_of_the_pixels_is_taken_from_the_groups(write_loop):
    properties = {"ImagerPixelSpacing": [0.2, 0.25], "PixelIntensityRelationshipSign": -1}
    shared = {**GEOMETRY, "FramePixelDataPropertiesSequence": properties}
    assert enhanced(write_loop, shared=shared).xray.intensity_sign == -1


def test_angles_that_move_are_told_frame_by_frame(write_loop):
    header = enhanced(write_loop, each=positions((30, -20), (31.5, -20), (33, -19)))
    assert [header.xray.angles_at(n) for n in range(3)] == [(30, -20), (31.5, -20), (33, -19)]
    assert header.xray.positioner_motion == "DYNAMIC"
    assert any("The positioner moves" in one for one in header.warnings)


def test_a_distance_that_differs_belongs_to_its_frame(write_loop):
    """PS3.3 C.8.19.6.14, X-Ray Geometry macro, one for each frame."""
    each = [
        group(XRayGeometrySequence={"DistanceSourceToDetector": value})
        for value in (1100, 1100, 1050)
    ]
    header = enhanced(write_loop, each=each, shared={"PixelMeasuresSequence": {}})
    assert header.xray.source_to_detector_mm is None
    assert [header.xray.at(n).source_to_detector_mm for n in range(3)] == [1100, 1100, 1050]
    assert not header.xray.at(2).varies
    assert (
        "DistanceSourceToDetector differs from frame to frame: a scale holds on its own frames "
        "only." in header.warnings
    )


@pytest.mark.parametrize(
    ("macro", "keyword", "values", "field", "expected"),
    [
        (
            "XRayGeometrySequence",
            "DistanceSourceToIsocenter",
            (750.0, 740.0, 740.0),
            "source_to_patient_mm",
            (750, 740, 740),
        ),
        (
            "FramePixelDataPropertiesSequence",
            "ImagerPixelSpacing",
            ([0.2, 0.25], [0.1, 0.125], [0.2, 0.25]),
            "imager_pixel_spacing_mm",
            ((0.2, 0.25), (0.1, 0.125), (0.2, 0.25)),
        ),
        (
            "ProjectionPixelCalibrationSequence",
            "ObjectPixelSpacingInCenterOfBeam",
            ([0.15, 0.15], [0.15, 0.15], [0.14, 0.14]),
            "object_spacing_mm",
            ((0.15, 0.15), (0.15, 0.15), (0.14, 0.14)),
        ),
        (
            "ProjectionPixelCalibrationSequence",
            "BeamAngle",
            (0.0, 5.0, 10.0),
            "beam_angle_deg",
            (0, 5, 10),
        ),
        (
            "FieldOfViewSequence",
            "FieldOfViewDimensionsInFloat",
            ([200.0], [200.0], [150.0]),
            "field_of_view_mm",
            ((200,), (200,), (150,)),
        ),
    ],
)
def test_each_frame_keeps_what_its_macros_say(write_loop, macro, keyword, values, field, expected):
    each = [group(**{macro: {keyword: value}}) for value in values]
    view = enhanced(write_loop, each=each, shared={"PixelMeasuresSequence": {}}).xray
    found = [getattr(view.at(n), field) for n in range(3)]
    flat = [one if isinstance(one, tuple) else (one,) for one in found]
    wanted = [one if isinstance(one, tuple) else (one,) for one in expected]
    assert flat == [pytest.approx(one) for one in wanted]
    assert view.varies


def test_a_stated_distance_to_the_patient_goes_before_an_isocentre_that_moves(write_loop):
    each = [
        group(XRayGeometrySequence={"DistanceSourceToIsocenter": value})
        for value in (750.0, 740.0, 730.0)
    ]
    view = enhanced(write_loop, each=each, DistanceSourceToPatient=700).xray
    assert [view.at(n).source_to_patient_mm for n in range(3)] == [700, 700, 700]


def test_a_table_that_moves_stands_elsewhere_on_each_frame(write_loop):
    """PS3.3 C.8.19.6.11, X-Ray Table Position macro."""
    each = [
        group(
            TablePositionSequence={
                "TableTopVerticalPosition": 0,
                "TableTopLongitudinalPosition": along,
                "TableTopLateralPosition": 5,
            }
        )
        for along in (0, 10, 20)
    ]
    view = enhanced(write_loop, each=each).xray
    assert [view.at(n).table_mm for n in range(3)] == [(0, 0, 5), (0, 10, 5), (0, 20, 5)]


def test_the_isocentres_system_gives_table_and_angles(write_loop):
    """PS3.3 C.8.19.6.13: Y is downwards, so it is the table's vertical position."""
    each = [
        group(
            IsocenterReferenceSystemSequence={
                "PositionerIsocenterPrimaryAngle": float(angle),
                "PositionerIsocenterSecondaryAngle": 5.0,
                "PositionerIsocenterDetectorRotationAngle": 0.0,
                "TableXPositionToIsocenter": 1.0,
                "TableYPositionToIsocenter": 2.0,
                "TableZPositionToIsocenter": float(angle),
            }
        )
        for angle in (0, 10, 20)
    ]
    view = enhanced(write_loop, each=each).xray
    assert [view.at(n).isocentre_deg for n in range(3)] == [(0, 5, 0), (10, 5, 0), (20, 5, 0)]
    assert [view.at(n).table_mm for n in range(3)] == [(2, 0, 1), (2, 10, 1), (2, 20, 1)]
    still = enhanced(write_loop, each=[each[1]] * 3).xray
    assert (still.isocentre_deg, still.table_mm) == ((10, 5, 0), (2, 10, 1))
    assert not still.varies


def test_the_frames_used_to_calibrate_are_named(write_loop):
    """PS3.3 C.8.19.6.6, X-Ray Calibration Device Usage: (0050,0004) inside (0018,9455)."""
    each = [group(CalibrationSequence={"CalibrationImage": one}) for one in ("NO", "YES", "NO")]
    assert enhanced(write_loop, each=each).xray.calibration_frames == (1,)


@pytest.mark.parametrize(
    ("properties", "percent", "expected"),
    [("NON_UNIFORM", 2.5, 2.5), ("UNIFORM", 2.5, None), ("NON_UNIFORM", None, None)],
)
def test_a_distortion_counts_only_where_the_frame_is_not_uniform(
    write_loop, properties, percent, expected
):
    """PS3.3 C.8.19.6.4: the distortion is required if the properties are NON_UNIFORM."""
    said = {"GeometricalProperties": properties}
    said |= {} if percent is None else {"GeometricMaximumDistortion": percent}
    header = enhanced(write_loop, shared={"FramePixelDataPropertiesSequence": said})
    assert header.xray.distortion_percent == expected
    assert any("is not stated" in one for one in header.warnings) == (percent is None)


def test_an_angle_missing_on_one_frame_is_not_used(write_loop):
    each = [*positions((30, -20), (30, -20)), group(FrameContentSequence={})]
    header = enhanced(write_loop, each=each)
    assert header.xray.primary_deg is None
    assert any("PositionerPrimaryAngle is missing on some" in one for one in header.warnings)


def test_groups_of_another_count_leave_only_what_is_shared(write_loop):
    header = enhanced(write_loop, each=positions((30, -20)))
    assert header.xray.primary_deg is None
    assert header.xray.source_to_detector_mm == 1100
    assert any("describe 1 frames of 3" in one for one in header.warnings)


def test_a_distance_to_the_patient_needs_no_stand_in(write_loop):
    header = enhanced(write_loop, DistanceSourceToPatient=700)
    assert header.xray.source_to_patient_mm == 700
    assert not any("stands in" in one for one in header.warnings)


def times(*seconds: str, keyword: str = "FrameAcquisitionDateTime") -> list[Dataset]:
    return [group(**{CONTENT: {keyword: f"19010203235959.{one}"}}) for one in seconds]


@pytest.mark.parametrize("keyword", ["FrameAcquisitionDateTime", "FrameReferenceDateTime"])
def test_frames_have_the_times_they_were_acquired_at(write_loop, keyword):
    header = enhanced(write_loop, each=times("000000", "066700", "133500", keyword=keyword))
    assert header.frame_times.source == keyword
    assert header.frame_times.times_ms == pytest.approx((0, 66.7, 133.5))


def test_midnight_between_frames_is_no_jump(write_loop):
    each = times("900000", "950000")
    each.append(group(**{CONTENT: {"FrameAcquisitionDateTime": "19010204000000.000000"}}))
    header = enhanced(write_loop, each=each)
    assert header.frame_times.times_ms == pytest.approx((0, 50, 100))


def test_a_frame_time_comes_before_acquisition_times(write_loop):
    header = enhanced(write_loop, each=times("0", "1", "2"), FrameTime=40)
    assert header.frame_times.source == "FrameTime"


def test_times_that_run_backwards_are_not_used_nor_quoted(write_loop):
    header = enhanced(write_loop, each=times("2", "1", "0"), CineRate=25)
    assert header.frame_times.source == "CineRate"
    assert any("does not run forward" in one for one in header.warnings)
    assert "1901" not in repr(header)


def test_times_missing_on_one_frame_are_no_times(write_loop):
    each = [*times("0", "1"), group(**{CONTENT: {}})]
    assert enhanced(write_loop, each=each).frame_times.times_ms is None


def test_an_enhanced_ultrasound_volume_has_the_spacing_of_its_groups(write_loop):
    shared = {"PixelMeasuresSequence": {"PixelSpacing": [0.3, 0.4]}}
    header = enhanced(write_loop, shared=shared, sop_class=ENHANCED_US, Modality="US")
    assert header.pixel_spacing_mm == (0.3, 0.4)
    assert not any("does not belong" in one for one in header.warnings)


def test_a_window_of_the_first_frame_is_the_loops(write_loop):
    shared = {"FrameVOILUTSequence": {"WindowCenter": 120, "WindowWidth": 80}}
    assert enhanced(write_loop, shared=shared).window == (120, 80)


def test_random_damage_in_groups_never_escapes_as_another_error(write_loop, tmp_path):
    groups = Sequence(positions((1, 2), (1, 2), (1, 3)))
    for number, item in enumerate(groups):
        for keyword, attributes in GEOMETRY.items():
            inside = Dataset()
            for name, value in attributes.items():
                setattr(inside, name, [0.2, 0.1 + number] if "Spacing" in name else value + number)
            setattr(item, keyword, Sequence([inside]))
    path = write_loop(SOPClassUID=ENHANCED_XA, PerFrameFunctionalGroupsSequence=groups)
    content = path.read_bytes()
    at = content.index(b"\x00\x52\x30\x92SQ")
    rng = np.random.default_rng(13)
    broken = tmp_path / "broken.dcm"
    for _ in range(300):
        damaged = bytearray(content)
        for place in rng.integers(at, len(content), 4):
            damaged[place] = rng.integers(256)
        broken.write_bytes(damaged)
        with suppress(LoopError):
            header = read_header(broken)
            assert header.frames
            assert header.xray is None or header.xray.at(header.frames - 1)
