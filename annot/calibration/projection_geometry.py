"""Every spacing in the patient that an X-ray header gives, by the standard's rules.

Sources: PS3.3 10.7.1.1 (what PixelSpacing and ImagerPixelSpacing mean) and C.8.19.6.9 (spacing in
the object from table height and beam angle).
"""

from dataclasses import dataclass
from math import cos, radians

from annot.calibration.allowances import (
    FIDUCIAL_REL,
    GEOMETRY_REL,
    SAME_GEOMETRY_REL,
    STEEPEST_BEAM_DEG,
    UNKNOWN_METHOD_REL,
    Allowance,
)
from annot.calibration.scale import NoScale
from annot.loops import XrayView

Pair = tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredSpacing:
    """Spacing in the patient as the header gives it, in mm per pixel (row, column).

    `made_by` says whose error it carries: the imaging system's, or that of one act of calibration.
    """

    name: str
    mm_per_px: Pair
    allowance: Allowance
    basis: str
    made_by: str = "geometry"


@dataclass(frozen=True, slots=True, kw_only=True)
class RefusedSpacing:
    """A spacing that the header states or hints at, and why no length is taken with it."""

    name: str
    reason: str
    stated_mm: Pair | None = None


def spacing_variants(view: XrayView) -> tuple[StoredSpacing | RefusedSpacing, ...]:
    """List every spacing, the most trusted first among those that are usable.

    FIDUCIAL is taken at its word; then come the stand's own reckoning for the object's height,
    GEOMETRY, the same reckoning done here, a corrected spacing of unknown method with a wider
    allowance, and last the isocentre's, by the distances or by the stored magnification.
    """
    patient = _pixel_spacing(view)
    ours = (_in_the_beam(view), _above_the_table(view), *_at_isocentre(view))
    found = [one for one in (patient, *ours) if one is not None]
    return tuple(sorted(found, key=lambda one: _ORDER.index(one.name)))


def stored_spacing(view: XrayView) -> StoredSpacing | NoScale:
    """Return the most trusted spacing in the patient, or why the header has none."""
    refused = []
    for one in spacing_variants(view):
        if isinstance(one, StoredSpacing):
            return one
        refused.append(one)
    # what the file states itself explains more than what could have been computed
    stated = [one for one in refused if one.stated_mm is not None] or refused
    return NoScale(reason=stated[0].reason)


_ORDER = (
    "fiducial",
    "centre-of-beam",
    "geometry",
    "above-table",
    "method-not-named",
    "pixel-spacing",
    "isocentre",
    "magnification",
)


def _pixel_spacing(view: XrayView) -> StoredSpacing | RefusedSpacing | None:
    patient, detector = view.pixel_spacing_mm, view.imager_pixel_spacing_mm
    if patient is None:
        return None
    if view.calibration_type == "FIDUCIAL":
        return StoredSpacing(
            name="fiducial",
            mm_per_px=patient,
            allowance=FIDUCIAL_REL,
            basis="PixelSpacing calibrated on an object (FIDUCIAL), true at that object's depth",
            made_by=f"fiducial-{patient[0]:.9g}-{patient[1]:.9g}",
        )
    if view.calibration_type == "GEOMETRY":
        return StoredSpacing(
            name="geometry",
            mm_per_px=patient,
            allowance=GEOMETRY_REL,
            basis="PixelSpacing corrected for magnification (GEOMETRY) at a depth not stated",
        )
    if detector is not None and not _same(patient, detector):
        return StoredSpacing(
            name="method-not-named",
            mm_per_px=patient,
            allowance=UNKNOWN_METHOD_REL,
            basis="PixelSpacing differs from the detector's: corrected by a method not named",
            made_by="method-not-named",
        )
    reason = (
        "PixelSpacing stands alone, without calibration type or detector spacing, so the plane it "
        "is true for cannot be told"
        if detector is None
        else "PixelSpacing equals ImagerPixelSpacing, so it is true at the detector only, and "
        "nothing brings it to the patient"
    )
    return RefusedSpacing(name="pixel-spacing", stated_mm=patient, reason=reason)


def _in_the_beam(view: XrayView) -> StoredSpacing | RefusedSpacing | None:
    """Object Pixel Spacing in Center of Beam (0018,9404), reckoned by the stand."""
    spacing = view.object_spacing_mm
    if spacing is None:
        return None
    if view.beam_angle_deg is not None and _too_flat(view.beam_angle_deg):
        return RefusedSpacing(
            name="centre-of-beam", stated_mm=spacing, reason=_flat_words(view.beam_angle_deg)
        )
    height = view.object_to_table_mm
    where = "at a height not stated" if height is None else f"{height:g} mm above the table"
    return StoredSpacing(
        name="centre-of-beam",
        mm_per_px=spacing,
        allowance=GEOMETRY_REL,
        basis=f"Object Pixel Spacing in Center of Beam, the stand's own for an object {where}",
    )


def _above_the_table(view: XrayView) -> StoredSpacing | RefusedSpacing | None:
    """Reckon the same from the table: SOD = ISO − (TH − TO) / cos BA (PS3.3 C.8.19.6.9)."""
    detector, far, isocentre = (
        view.imager_pixel_spacing_mm,
        view.source_to_detector_mm,
        view.source_to_patient_mm,
    )
    table, height, beam = view.table_height_mm, view.object_to_table_mm, view.beam_angle_deg
    if table is None or height is None or beam is None or detector is None:
        return None
    if far is None or isocentre is None:
        return None
    if _too_flat(beam):
        return RefusedSpacing(name="above-table", reason=_flat_words(beam))
    distance = isocentre - (table - height) / cos(radians(beam))
    if not 0 < distance < far:
        return RefusedSpacing(
            name="above-table",
            reason=(
                f"table height {table:g} mm and object height {height:g} mm put the object "
                f"{distance:.0f} mm from the source, outside the beam's {far:g} mm"
            ),
        )
    return StoredSpacing(
        name="above-table",
        mm_per_px=(detector[0] * distance / far, detector[1] * distance / far),
        allowance=GEOMETRY_REL,
        basis=(
            f"ImagerPixelSpacing × {distance:.4g} / {far:g} mm, for an object {height:g} mm above "
            "the table"
        ),
    )


def _at_isocentre(view: XrayView) -> tuple[StoredSpacing | RefusedSpacing, ...]:
    detector = view.imager_pixel_spacing_mm
    if detector is None:
        reason = "the header has neither PixelSpacing nor ImagerPixelSpacing"
        return (RefusedSpacing(name="isocentre", reason=reason),)
    far, near = view.source_to_detector_mm, view.source_to_patient_mm
    factors: dict[str, tuple[float, str]] = {}
    if far is not None and near is not None and 0 < near < far:
        basis = f"ImagerPixelSpacing × {near:g} / {far:g} mm, at the isocentre"
        factors["isocentre"] = (near / far, basis)
    stated = view.magnification_factor
    if stated is not None and stated > 1 and not _told(factors, 1 / stated):
        basis = f"ImagerPixelSpacing / {stated:g} (stored magnification)"
        factors["magnification"] = (1 / stated, basis)
    if not factors:
        reason = (
            "ImagerPixelSpacing is true at the detector only, and the header has neither usable "
            "distances nor a magnification to bring it to the patient"
        )
        return (RefusedSpacing(name="isocentre", stated_mm=detector, reason=reason),)
    return tuple(
        StoredSpacing(
            name=name,
            mm_per_px=(detector[0] * factor, detector[1] * factor),
            allowance=GEOMETRY_REL,
            basis=basis,
        )
        for name, (factor, basis) in factors.items()
    )


def _told(factors: dict[str, tuple[float, str]], factor: float) -> bool:
    """Whether the distances already say the same as the stored magnification."""
    return any(abs(one - factor) <= SAME_GEOMETRY_REL.value * factor for one, _ in factors.values())


def _too_flat(beam_deg: float) -> bool:
    return STEEPEST_BEAM_DEG.value < beam_deg < 180.0 - STEEPEST_BEAM_DEG.value


def _flat_words(beam_deg: float) -> str:
    return (
        f"the beam stands {beam_deg:g}° off the vertical, too flat for a height above the table to "
        "tell the depth"
    )


def _same(first: Pair, second: Pair) -> bool:
    return all(abs(a - b) <= 1e-6 * b for a, b in zip(first, second, strict=True))
