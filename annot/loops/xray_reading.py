"""Fill an X-ray view from a header, noting what contradicts itself."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from annot.loops.attributes import Attributes
from annot.loops.frame_vectors import (
    ISOCENTRE_ANGLES,
    TABLE_TO_ISOCENTRE,
    TABLE_TOP,
    classic_table_positions,
    vectors_of,
)
from annot.loops.xray_view import XrayView

_MOTION = ("STATIC", "DYNAMIC")
# Stated magnification and SID / SOD come from one geometry: more apart than this, they contradict.
_MAGNIFICATION_TOLERANCE = 0.02


def read_xray_view(
    attributes: Attributes,
    *,
    frames: int,
    differing: Mapping[str, tuple[Any, ...]] | None = None,
    calibration_frames: tuple[int, ...] = (),
) -> XrayView:
    """Read the X-ray view of an angiography or fluoroscopy header.

    Parameters
    ----------
    attributes
        The header, functional groups unfolded; faults are noted there.
    frames
        Number of frames, to check per-frame values against.
    differing
        Of an enhanced object: what is not the same on all frames.
    calibration_frames
        Of an enhanced object: the frames that were used to calibrate.
    """
    view = _whole_loop(attributes)
    for sentence in (*_distance_faults(view), *_motion_faults(view, frames), *_plane_faults(view)):
        attributes.warn(sentence)
    if attributes.one_of("RecommendedViewingMode", ("SUB", "NAT")) == "SUB":
        attributes.warn("The loop is meant to be viewed subtracted; frames are the unsubtracted.")
    angulation = _angle(attributes, "ColumnAngulation", 90.0)  # fluoroscopy, PS3.3 C.8.7.6
    if angulation:
        attributes.warn(
            f"ColumnAngulation is {angulation:g} degrees: the beam does not meet the detector at a "
            "right angle."
        )
    vectors = vectors_of(differing or {})
    if not vectors.table_mm:
        moves = classic_table_positions(attributes, frames=frames)
        vectors = replace(vectors, table_mm=moves)
    return replace(view, vectors=vectors, calibration_frames=calibration_frames)


def _whole_loop(attributes: Attributes) -> XrayView:
    """Read what holds for the whole loop."""
    image_type = attributes.texts("ImageType")
    return XrayView(
        imager_pixel_spacing_mm=attributes.pixel_sides("ImagerPixelSpacing"),
        pixel_spacing_mm=attributes.pixel_sides("PixelSpacing"),
        calibration_type=attributes.one_of("PixelSpacingCalibrationType", ("GEOMETRY", "FIDUCIAL")),
        calibration_description=attributes.text("PixelSpacingCalibrationDescription"),
        source_to_detector_mm=attributes.positive("DistanceSourceToDetector"),
        source_to_patient_mm=attributes.positive("DistanceSourceToPatient"),
        magnification_factor=attributes.positive("EstimatedRadiographicMagnificationFactor"),
        primary_deg=_angle(attributes, "PositionerPrimaryAngle", 180.0),
        secondary_deg=_angle(attributes, "PositionerSecondaryAngle", 90.0),
        primary_increments_deg=attributes.numbers("PositionerPrimaryAngleIncrement") or (),
        secondary_increments_deg=attributes.numbers("PositionerSecondaryAngleIncrement") or (),
        detector_primary_deg=_angle(attributes, "DetectorPrimaryAngle", 180.0),
        detector_secondary_deg=_angle(attributes, "DetectorSecondaryAngle", 180.0),
        positioner_motion=attributes.one_of("PositionerMotion", _MOTION),
        table_motion=attributes.one_of("TableMotion", _MOTION),
        intensity_relationship=attributes.one_of(
            "PixelIntensityRelationship", ("LIN", "LOG", "DISP", "OTHER")
        ),
        intensity_sign=_sign(attributes),
        calibration_image=attributes.yes_no("CalibrationImage"),
        plane=image_type[2] if len(image_type) > 2 and image_type[2] else None,
        field_of_view_shape=attributes.one_of(
            "FieldOfViewShape", ("ROUND", "RECTANGLE", "HEXAGONAL")
        ),
        field_of_view_mm=attributes.numbers("FieldOfViewDimensionsInFloat")
        or attributes.numbers("FieldOfViewDimensions")
        or (),
        intensifier_mm=attributes.positive("IntensifierSize"),
        object_spacing_mm=attributes.pixel_sides("ObjectPixelSpacingInCenterOfBeam"),
        object_to_table_mm=attributes.number(
            "DistanceObjectToTableTop", accept=lambda height: height >= 0, rule="0 or more"
        ),
        table_height_mm=attributes.number("TableHeight"),
        beam_angle_deg=attributes.number(
            "BeamAngle",
            accept=lambda angle: 0 <= angle <= 180,
            rule="an angle from 0 to 180 degrees",
        ),
        distortion_percent=_distortion(attributes),
        table_mm=_triple(attributes, TABLE_TOP) or _triple(attributes, TABLE_TO_ISOCENTRE),
        isocentre_deg=_triple(attributes, ISOCENTRE_ANGLES),
    )


def _sign(attributes: Attributes) -> int | None:
    sign = attributes.number(
        "PixelIntensityRelationshipSign", accept=lambda one: one in {1.0, -1.0}, rule="1 or -1"
    )
    return None if sign is None else int(sign)


def _distortion(attributes: Attributes) -> float | None:
    """Read the largest distortion, which counts only where the frame is not uniform."""
    known = ("UNIFORM", "NON_UNIFORM")
    if attributes.one_of("GeometricalProperties", known) != "NON_UNIFORM":
        return None
    percent = attributes.number(
        "GeometricMaximumDistortion",
        accept=lambda percent: 0 <= percent < 100,
        rule="a percentage from 0 to below 100",
    )
    if percent is None:
        attributes.warn("GeometricalProperties is NON_UNIFORM, but the distortion is not stated.")
    return percent or None


def _triple(
    attributes: Attributes, keywords: tuple[str, str, str]
) -> tuple[float | None, float | None, float | None] | None:
    first, second, third = (attributes.number(keyword) for keyword in keywords)
    stated = (first, second, third)
    return stated if any(value is not None for value in stated) else None


def _angle(attributes: Attributes, keyword: str, limit_deg: float) -> float | None:
    return attributes.number(
        keyword,
        accept=lambda angle: abs(angle) <= limit_deg,
        rule=f"an angle from -{limit_deg:g} to {limit_deg:g} degrees",
    )


def _distance_faults(view: XrayView) -> list[str]:
    faults = []
    detector, patient = view.source_to_detector_mm, view.source_to_patient_mm
    if detector is not None and patient is not None:
        if patient >= detector:
            faults.append(
                f"DistanceSourceToPatient ({patient:g} mm) is not shorter than "
                f"DistanceSourceToDetector ({detector:g} mm)."
            )
        stated = view.magnification_factor
        if stated is not None and abs(stated * patient / detector - 1) > _MAGNIFICATION_TOLERANCE:
            faults.append(
                f"EstimatedRadiographicMagnificationFactor is {stated:g}, but the distances give "
                f"{detector / patient:.4g}."
            )
    if view.magnification_factor is not None and view.magnification_factor < 1:
        faults.append(
            f"EstimatedRadiographicMagnificationFactor is {view.magnification_factor:g}; "
            "a projection does not reduce."
        )
    return faults


def _motion_faults(view: XrayView, frames: int) -> list[str]:
    faults = []
    for name, increments in (
        ("PositionerPrimaryAngleIncrement", view.primary_increments_deg),
        ("PositionerSecondaryAngleIncrement", view.secondary_increments_deg),
    ):
        if len(increments) > 1 and len(increments) != frames:
            faults.append(f"{name} has {len(increments)} values for {frames} frames.")
        if any(increments) and view.positioner_motion == "STATIC":
            faults.append(f"{name} is not 0 although PositionerMotion is STATIC; it is not used.")
    if view.positioner_motion == "DYNAMIC":
        faults.append("The positioner moves: a scale made on one frame does not hold on another.")
        if not (view.primary_increments_deg or view.secondary_increments_deg):
            faults.append("The positioner moves, but the angles after the first frame are absent.")
    if view.table_motion == "DYNAMIC":
        faults.append("The table moves: a scale made on one frame may not hold on another.")
    return faults


def _plane_faults(view: XrayView) -> list[str]:
    faults = [
        f"{name} is {angle:g} degrees: the beam does not meet the detector at a right angle."
        for name, angle in (
            ("DetectorPrimaryAngle", view.detector_primary_deg),
            ("DetectorSecondaryAngle", view.detector_secondary_deg),
        )
        if angle
    ]
    if view.calibration_type and view.pixel_spacing_mm is None:
        faults.append("PixelSpacingCalibrationType is given without a usable PixelSpacing.")
    if view.intensity_relationship == "LOG":
        faults.append("Pixel values are logarithms of intensity (PixelIntensityRelationship LOG).")
    return faults
