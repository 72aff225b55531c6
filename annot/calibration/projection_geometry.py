"""The scale an X-ray header offers, by the standard's rules (PS3.3 10.7.1.1)."""

from dataclasses import dataclass

from annot.calibration.allowances import (
    FIDUCIAL_REL,
    GEOMETRY_REL,
    UNKNOWN_METHOD_REL,
    Allowance,
)
from annot.calibration.scale import NoScale
from annot.loops import XrayView


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredSpacing:
    """Spacing in the patient as the header gives it, in mm per pixel (row, column)."""

    mm_per_px: tuple[float, float]
    allowance: Allowance
    basis: str


def stored_spacing(view: XrayView) -> StoredSpacing | NoScale:
    """Return the header's spacing in the patient, or why it has none.

    FIDUCIAL and GEOMETRY are taken at their word; a corrected spacing without a type gets a
    wider allowance; an uncorrected one is brought to the isocentre by the stored distances.
    """
    patient, detector = view.pixel_spacing_mm, view.imager_pixel_spacing_mm
    if patient is not None and view.calibration_type == "FIDUCIAL":
        return StoredSpacing(
            mm_per_px=patient,
            allowance=FIDUCIAL_REL,
            basis="PixelSpacing calibrated on an object (FIDUCIAL), true at that object's depth",
        )
    if patient is not None and view.calibration_type == "GEOMETRY":
        return StoredSpacing(
            mm_per_px=patient,
            allowance=GEOMETRY_REL,
            basis="PixelSpacing corrected for magnification (GEOMETRY) at a depth not stated",
        )
    if patient is not None and detector is None:
        return NoScale(
            reason=(
                "PixelSpacing stands alone, without calibration type or detector spacing, so the "
                "plane it is true for cannot be told"
            )
        )
    if patient is not None and detector is not None and not _same(patient, detector):
        return StoredSpacing(
            mm_per_px=patient,
            allowance=UNKNOWN_METHOD_REL,
            basis="PixelSpacing differs from the detector's: corrected by a method not named",
        )
    return _at_isocentre(view)


def _at_isocentre(view: XrayView) -> StoredSpacing | NoScale:
    detector = view.imager_pixel_spacing_mm
    if detector is None:
        return NoScale(reason="the header has neither PixelSpacing nor ImagerPixelSpacing")
    far, near = view.source_to_detector_mm, view.source_to_patient_mm
    if far is not None and near is not None and 0 < near < far:
        factor, basis = near / far, f"ImagerPixelSpacing × {near:g} / {far:g} mm, at the isocentre"
    elif view.magnification_factor is not None and view.magnification_factor > 1:
        factor = 1 / view.magnification_factor
        basis = f"ImagerPixelSpacing / {view.magnification_factor:g} (stored magnification)"
    else:
        return NoScale(
            reason=(
                "ImagerPixelSpacing is true at the detector only, and the header has neither "
                "usable distances nor a magnification to bring it to the patient"
            )
        )
    return StoredSpacing(
        mm_per_px=(detector[0] * factor, detector[1] * factor),
        allowance=GEOMETRY_REL,
        basis=basis,
    )


def _same(first: tuple[float, float], second: tuple[float, float]) -> bool:
    return all(abs(a - b) <= 1e-6 * b for a, b in zip(first, second, strict=True))
