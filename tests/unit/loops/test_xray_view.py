"""The X-ray view: angle increments and spacings (PS3.3 C.8.7.5, 10.7.1.1), and faulty headers."""

import pytest

from annot.loops import XrayView, read_header

GEOMETRY = {
    "ImagerPixelSpacing": [0.2, 0.25],
    "DistanceSourceToDetector": 1050,
    "DistanceSourceToPatient": 750,
    "EstimatedRadiographicMagnificationFactor": 1.4,
    "PositionerPrimaryAngle": -30,
    "PositionerSecondaryAngle": -20,
    "PositionerMotion": "STATIC",
    "TableMotion": "STATIC",
    "PixelIntensityRelationship": "LIN",
    "ImageType": ["ORIGINAL", "PRIMARY", "SINGLE PLANE"],
}


def view_of(write_loop, **changes):
    header = read_header(write_loop(**{**GEOMETRY, **changes}))
    assert header.xray is not None
    return header.xray, header.warnings


def test_a_plain_view_is_read_as_stored(write_loop):
    view, warnings = view_of(write_loop)
    assert warnings == ()
    assert view == XrayView(
        imager_pixel_spacing_mm=(0.2, 0.25),
        source_to_detector_mm=1050,
        source_to_patient_mm=750,
        magnification_factor=1.4,
        primary_deg=-30,
        secondary_deg=-20,
        positioner_motion="STATIC",
        table_motion="STATIC",
        intensity_relationship="LIN",
        plane="SINGLE PLANE",
    )


def test_values_that_fall_with_the_intensity_are_told(write_loop):
    view, warnings = view_of(write_loop, PixelIntensityRelationshipSign=-1)
    assert view.intensity_sign == -1
    assert warnings == ()


def test_absent_geometry_is_unknown_and_no_fault(write_loop):
    header = read_header(write_loop())
    assert header.xray == XrayView()
    assert header.warnings == ()


def test_calibration_is_read(write_loop):
    view, warnings = view_of(
        write_loop,
        PixelSpacing=[0.15, 0.16],
        PixelSpacingCalibrationType="FIDUCIAL",
        PixelSpacingCalibrationDescription="catheter",
        CalibrationImage="YES",
        FieldOfViewShape="ROUND",
        FieldOfViewDimensions=[200],
    )
    assert view.pixel_spacing_mm == (0.15, 0.16)
    assert view.calibration_type == "FIDUCIAL"
    assert view.calibration_description == "catheter"
    assert view.calibration_image is True
    assert (view.field_of_view_shape, view.field_of_view_mm) == ("ROUND", (200,))
    assert warnings == ()


def test_other_images_have_no_xray_view(write_loop):
    header = read_header(
        write_loop(Modality="OT", SOPClassUID="1.2.840.10008.5.1.4.1.1.7", PixelSpacing=[0.3, 0.4])
    )
    assert header.xray is None
    assert header.pixel_spacing_mm == (0.3, 0.4)


def test_a_still_positioner_keeps_its_angles():
    view = XrayView(primary_deg=-30, secondary_deg=20, positioner_motion="STATIC")
    assert view.angles_at(0) == view.angles_at(7) == (-30, 20)


def test_one_increment_is_the_change_per_frame():
    view = XrayView(
        primary_deg=-30,
        secondary_deg=20,
        positioner_motion="DYNAMIC",
        primary_increments_deg=(1.5,),
        secondary_increments_deg=(0.0,),
    )
    assert view.angles_at(0) == (-30, 20)
    assert view.angles_at(4) == (-24, 20)


def test_many_increments_are_offsets_from_the_first_frame():
    view = XrayView(
        primary_deg=-30,
        secondary_deg=20,
        positioner_motion="DYNAMIC",
        primary_increments_deg=(0, 2, 5),
        secondary_increments_deg=(0, -1, -1),
    )
    assert [view.angles_at(n) for n in range(4)] == [(-30, 20), (-28, 19), (-25, 19), (None, None)]


def test_a_moving_positioner_without_increments_is_unknown_after_the_first_frame():
    view = XrayView(primary_deg=-30, secondary_deg=None, positioner_motion="DYNAMIC")
    assert view.angles_at(0) == (-30, None)
    assert view.angles_at(1) == (None, None)


@pytest.mark.parametrize(
    ("changes", "field", "value", "words"),
    [
        ({"ImagerPixelSpacing": [0, 0.2]}, "imager_pixel_spacing_mm", None, "0\\0.2, not two"),
        ({"ImagerPixelSpacing": [-1, 1]}, "imager_pixel_spacing_mm", None, "-1\\1, not two"),
        (
            {"ImagerPixelSpacing": b"0.2"},
            "imager_pixel_spacing_mm",
            None,
            "not two sizes of a pixel",
        ),
        ({"ImagerPixelSpacing": b""}, "imager_pixel_spacing_mm", None, "present but empty"),
        (
            {"ImagerPixelSpacing": b"a\\b"},
            "imager_pixel_spacing_mm",
            None,
            "'a', which is not",
        ),
        ({"ImagerPixelSpacing": b"nan\\1"}, "imager_pixel_spacing_mm", None, "not a number"),
        ({"DistanceSourceToDetector": 0}, "source_to_detector_mm", None, "is 0, not a positive"),
        ({"DistanceSourceToPatient": b"inf"}, "source_to_patient_mm", None, "not a number"),
        ({"DistanceSourceToPatient": b"750\\1"}, "source_to_patient_mm", None, "2 values"),
        ({"DistanceSourceToPatient": 1100}, "source_to_patient_mm", 1100, "not shorter than"),
        ({"EstimatedRadiographicMagnificationFactor": 1.2}, "magnification_factor", 1.2, "1.4"),
        ({"EstimatedRadiographicMagnificationFactor": 0.7}, "magnification_factor", 0.7, "reduce"),
        ({"PositionerPrimaryAngle": 400}, "primary_deg", None, "400, not an angle"),
        ({"PositionerSecondaryAngle": -91}, "secondary_deg", None, "-91, not an angle"),
        ({"PositionerMotion": "DYNAMIC"}, "positioner_motion", "DYNAMIC", "angles after the first"),
        ({"PositionerMotion": "WOBBLY"}, "positioner_motion", None, "none of STATIC, DYNAMIC"),
        ({"TableMotion": "DYNAMIC"}, "table_motion", "DYNAMIC", "The table moves"),
        ({"DetectorPrimaryAngle": 3}, "detector_primary_deg", 3, "right angle"),
        ({"PixelSpacingCalibrationType": "FOO"}, "calibration_type", None, "none of GEOMETRY"),
        ({"PixelSpacingCalibrationType": "GEOMETRY"}, "pixel_spacing_mm", None, "without a usable"),
        ({"PixelIntensityRelationship": "LOG"}, "intensity_relationship", "LOG", "logarithms"),
        ({"PixelIntensityRelationshipSign": 2}, "intensity_sign", None, "2, not 1 or -1"),
        ({"ImagerPixelSpacing": b"1e-300\\1e-300"}, "imager_pixel_spacing_mm", None, "no"),
        ({"ImagerPixelSpacing": b"1e200\\1e200"}, "imager_pixel_spacing_mm", None, "of a pixel"),
        ({"CalibrationImage": "MAYBE"}, "calibration_image", None, "none of YES, NO"),
        ({"RecommendedViewingMode": "SUB"}, "plane", "SINGLE PLANE", "unsubtracted"),
        (
            {"PositionerPrimaryAngleIncrement": [0, 1]},
            "primary_increments_deg",
            (0, 1),
            "2 values for 3 frames",
        ),
        (
            {"PositionerPrimaryAngleIncrement": [0, 1, 2]},
            "primary_increments_deg",
            (0, 1, 2),
            "although PositionerMotion is STATIC",
        ),
    ],
)
def test_faults_become_sentences(write_loop, changes, field, value, words):
    view, warnings = view_of(write_loop, **changes)
    assert getattr(view, field) == value
    assert any(words in sentence for sentence in warnings), warnings


# ---------------------------------------------------------------- what changes within a loop
MOVING_TABLE = {
    "TableMotion": "DYNAMIC",
    "TableVerticalIncrement": [0, 1, 2],
    "TableLongitudinalIncrement": [0, 10, 20],
    "TableLateralIncrement": [0, 0, -5],
}


def test_a_moving_table_stands_elsewhere_on_each_frame(write_loop):
    """PS3.3 C.8.7.4: offsets from the first frame."""
    view, warnings = view_of(write_loop, **MOVING_TABLE)
    assert [view.at(n).table_mm for n in range(3)] == [(0, 0, 0), (1, 10, 0), (2, 20, -5)]
    assert view.varies
    assert any("The table moves" in one for one in warnings)


def test_one_increment_of_the_table_is_the_change_per_frame(write_loop):
    view, _ = view_of(
        write_loop,
        TableMotion="DYNAMIC",
        TableVerticalIncrement=2,
        TableLongitudinalIncrement=None,
    )
    assert [view.at(n).table_mm for n in range(3)] == [
        (0, None, None),
        (2, None, None),
        (4, None, None),
    ]


@pytest.mark.parametrize("motion", ["STATIC", None])
def test_a_table_that_stands_still_has_no_increments(write_loop, motion):
    view, _ = view_of(write_loop, **{**MOVING_TABLE, "TableMotion": motion})
    assert view.at(2).table_mm is None
    assert not view.varies


def test_a_table_that_moves_without_saying_where_is_not_known(write_loop):
    view, _ = view_of(write_loop, TableMotion="DYNAMIC")
    assert view.at(2).table_mm is None


def test_the_view_of_a_frame_has_that_frames_angles(write_loop):
    view, _ = view_of(
        write_loop,
        PositionerMotion="DYNAMIC",
        PositionerPrimaryAngleIncrement=[0, 15, 30],
        PositionerSecondaryAngleIncrement=[0, 0, 0],
    )
    assert [view.at(n).primary_deg for n in range(3)] == [-30, -15, 0]
    assert view.at(1).at(1) == view.at(1)
    assert view.at(1).source_to_detector_mm == 1050


def test_a_still_view_is_the_same_on_every_frame(write_loop):
    view, _ = view_of(write_loop)
    assert not view.varies
    assert view.at(2) is view


@pytest.mark.parametrize(
    ("changes", "field", "value"),
    [
        ({"IntensifierSize": 230}, "intensifier_mm", 230),
        ({"TableHeight": 120}, "table_height_mm", 120),
        ({"ObjectPixelSpacingInCenterOfBeam": [0.15, 0.16]}, "object_spacing_mm", (0.15, 0.16)),
        ({"DistanceObjectToTableTop": 90.0}, "object_to_table_mm", 90),
        ({"DistanceObjectToTableTop": -1.0}, "object_to_table_mm", None),
        ({"BeamAngle": 30.0}, "beam_angle_deg", 30),
        ({"BeamAngle": 200.0}, "beam_angle_deg", None),
        ({"TableTopVerticalPosition": 5}, "table_mm", (5, None, None)),
    ],
)
def test_what_the_stand_says_of_depth_and_zoom_is_read(write_loop, changes, field, value):
    """PS3.3 C.8.19.6.9, projection pixel calibration; (0018,1162) is the intensifier's zoom."""
    view, _ = view_of(write_loop, **changes)
    found = getattr(view, field)
    assert found == (value if value is None else pytest.approx(value))
