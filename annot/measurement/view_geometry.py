"""The geometry of an X-ray view out of a loop's header, or the reason why it has none."""

from annot.errors import InputError
from annot.geometry.projection import Projection
from annot.loops import LoopHeader
from annot.loops.frame_vectors import TablePosition

# positions of one table, as headers store them, that are nearer than this are one position
TABLE_STEP_MM = 0.5


def projection_of(header: LoopHeader, frame: int) -> Projection:
    """Return the projection of one frame, in the axes of the patient as the loop began.

    Parameters
    ----------
    header : LoopHeader
    frame : int
        From 0.

    Raises
    ------
    InputError
        If the header lacks or contradicts what a projection needs, all of it named, or the table
        moved to where the header does not say.
    """
    name = header.path.name
    if header.xray is None:
        raise InputError(
            f"{name} is no X-ray loop ({header.modality or 'no modality'}): name two X-ray loops."
        )
    primary, secondary = header.xray.angles_at(frame)
    view = header.xray.at(frame)
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
    left, back, head = (0.0 - part for part in patient_shift_mm(header, frame))
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


def patient_shift_mm(header: LoopHeader, frame: int) -> tuple[float, float, float]:
    """Return how far table and patient moved since a loop's first frame: left, back, head.

    Source: PS3.3 C.8.7.4. The names are an operator's beside the table: longitudinal is across the
    patient, positive to the left, lateral along it, positive to the head.

    Raises
    ------
    InputError
        If the table moves and the header does not say how far, or moves it up or down: the
        direction of that increment is not certain from the header, so it is not guessed.
    """
    view, name = header.xray, header.path.name
    if view is None or view.table_motion != "DYNAMIC" or frame == 0:
        return (0.0, 0.0, 0.0)
    moved = view.at(frame).table_mm
    if moved is None or all(part is None for part in moved):
        raise InputError(
            f"{name}: the table moves and the header does not say where it stood at frame "
            f"{frame}, so this view cannot be set against another: take another frame or loop."
        )
    vertical, longitudinal, lateral = (part or 0.0 for part in moved)
    if vertical:
        raise InputError(
            f"{name}: the table moved up or down before frame {frame}, in a direction that the "
            "header does not make certain: take frame 0 or another loop."
        )
    return (longitudinal, 0.0, lateral)


def refuse_moved_table(
    first: tuple[LoopHeader, int], second: tuple[LoopHeader, int]
) -> tuple[str, ...]:
    """Refuse two views between which the table stood elsewhere; warn where nobody says where.

    Parameters
    ----------
    first, second : (LoopHeader, frame)

    Raises
    ------
    InputError
        If both headers state the table's position and they differ.
    """
    stated = [_position(header, frame) for header, frame in (first, second)]
    known = [one for one in stated if one is not None]
    if len(known) < 2:
        return (
            "the headers do not say where the table stood, so that it did not move between the "
            "two loops is taken within the stated shift",
        )
    gaps = [abs(a - b) for a, b in zip(*known, strict=True) if a is not None and b is not None]
    if any(gap > TABLE_STEP_MM for gap in gaps):
        raise InputError(
            f"{first[0].path.name} and {second[0].path.name}: the table moved by "
            f"{max(gaps):.1f} mm between the two views, so they do not show the patient in one "
            "place: take two loops with the table where it was."
        )
    return ()


def _position(header: LoopHeader, frame: int) -> TablePosition | None:
    """Return the table's stored position, None where it is unknown or counted within the loop."""
    if header.xray is None or header.xray.table_motion == "DYNAMIC":
        return None
    return header.xray.at(frame).table_mm
