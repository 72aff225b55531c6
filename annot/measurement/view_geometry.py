"""The geometry of an X-ray view out of a loop's header, or the reason why it has none."""

from annot.errors import InputError
from annot.geometry.projection import Projection
from annot.loops import LoopHeader


def projection_of(
    header: LoopHeader, frame: int, *, table_shift_mm: tuple[float, float, float] = (0.0, 0.0, 0.0)
) -> Projection:
    """Return the projection of one frame.

    Parameters
    ----------
    header : LoopHeader
    frame : int
        From 0.
    table_shift_mm : tuple of float
        How far the patient has moved with the table: left, back, head.

    Raises
    ------
    InputError
        If the header lacks or contradicts what a projection needs; all of it is named.
    """
    name, view = header.path.name, header.xray
    if view is None:
        raise InputError(
            f"{name} is no X-ray loop ({header.modality or 'no modality'}): name two X-ray loops."
        )
    primary, secondary = view.angles_at(frame)
    needed = {
        "PositionerPrimaryAngle": primary,
        "PositionerSecondaryAngle": secondary,
        "DistanceSourceToDetector": view.source_to_detector_mm,
        "DistanceSourceToPatient": view.source_to_patient_mm,
        "ImagerPixelSpacing": view.imager_pixel_spacing_mm,
    }
    missing = [keyword for keyword, value in needed.items() if value is None]
    if missing:
        raise InputError(
            f"{name}, frame {frame}: the header lacks {', '.join(missing)}, so the view's place in "
            "space is unknown: export the loop with its geometry or take another."
        )
    if view.detector_primary_deg or view.detector_secondary_deg:
        raise InputError(
            f"{name}: the beam does not meet the detector at a right angle, which this geometry "
            "does not cover: take another loop."
        )
    far, near = view.source_to_detector_mm or 0.0, view.source_to_patient_mm or 0.0
    if not 0 < near < far:
        raise InputError(
            f"{name}: the distances contradict each other (source to patient {near:g} mm, to "
            f"detector {far:g} mm): take another loop."
        )
    # the isocentre stands still in the room while the patient moves with the table
    left, back, head = (0.0 - part for part in table_shift_mm)
    return Projection(
        primary_deg=primary or 0.0,
        secondary_deg=secondary or 0.0,
        sid_mm=far,
        sod_mm=near,
        spacing_mm=view.imager_pixel_spacing_mm or (1.0, 1.0),
        rows=header.rows,
        columns=header.columns,
        shift_mm=(left, back, head),
    )
