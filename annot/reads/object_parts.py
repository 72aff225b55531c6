"""Reference objects: the read file's parts to requests of the calibration, and back."""

from dataclasses import replace

from annot.calibration import (
    BorrowedRequest,
    GivenRequest,
    HeaderRequest,
    KnownSize,
    ObjectReading,
    ObjectRequest,
    Placing,
    ScaleRequest,
    french_to_mm,
)
from annot.calibration.allowances import (
    CATHETER_TOLERANCE,
    LABEL_STEP,
    SEGMENT_TOLERANCE_REL,
    SPHERE_TOLERANCE,
)
from annot.errors import InputError
from annot.geometry import PixelPoint, pixel_point
from annot.reads.depth_fields import depth_fields, placing_of
from annot.reads.read_file import parse_scale
from annot.reads.scale_parts import (
    BorrowedPart,
    CatheterPart,
    GivenPart,
    HeaderPart,
    ObjectPart,
    ReadingPart,
    ScalePart,
    SegmentPart,
    SpherePart,
)


def request_of(part: ScalePart) -> ScaleRequest:
    """Return the request that a scale part of a read file makes."""
    match part:
        case BorrowedPart():
            return BorrowedRequest(file=part.lender, placing=placing_of(part))
        case HeaderPart():
            return HeaderRequest(u_rel=part.u_rel, placing=placing_of(part))
        case GivenPart():
            size = part.mm_per_px
            pair = size if isinstance(size, tuple) else (size, size)
            return GivenRequest(
                mm_per_px=pair, u_rel=part.u_rel, placing=Placing(overrule=part.overrule)
            )
        case _:
            return replace(_object_request(part), placing=placing_of(part, tilt_deg=part.tilt_deg))


def _object_request(part: ObjectPart) -> ObjectRequest:
    placing = Placing(
        depth_offset_mm=part.depth_offset_mm, tilt_deg=part.tilt_deg, overrule=part.overrule
    )
    readings = tuple(_reading(look) for look in part.looks())
    match part:
        case CatheterPart():
            return ObjectRequest(
                kind="catheter",
                size=_catheter_size(part),
                readings=readings,
                surface=part.surface,
                other_mm=part.other_mm,
                filling=part.filling,
                material=part.material,
                placing=placing,
            )
        case SpherePart():
            size = _plain_size(
                part.diameter_mm,
                part.tolerance_mm,
                default=(SPHERE_TOLERANCE.value, SPHERE_TOLERANCE.source),
                name="sphere",
            )
            return ObjectRequest(
                kind="sphere", size=size, readings=readings, material=part.material, placing=placing
            )
        case SegmentPart():
            tolerance_mm = part.length_mm * SEGMENT_TOLERANCE_REL.value
            return ObjectRequest(
                kind="segment",
                size=_plain_size(
                    part.length_mm,
                    part.tolerance_mm,
                    default=(tolerance_mm, SEGMENT_TOLERANCE_REL.source),
                    name="length",
                ),
                readings=readings,
                material=part.material,
                u_end_px=part.u_end_px,
                placing=placing,
            )


def _catheter_size(part: CatheterPart) -> KnownSize:
    """Return the size; without a tolerance it is a label's, and the label's rounding applies."""
    size = part.size_mm if part.size_fr is None else french_to_mm(part.size_fr)
    assert size is not None  # the part's own check: one of the two is given
    measured = part.tolerance_mm is not None or part.size_source == "measured"
    if part.size_source == "label" or not measured:
        return KnownSize(
            size_mm=size,
            tolerance_mm=LABEL_STEP.value / 2,
            source="label",
            name="catheter",
            size_fr=part.size_fr,
        )
    return KnownSize(
        size_mm=size,
        tolerance_mm=part.tolerance_mm or CATHETER_TOLERANCE.value,
        assumed="" if part.tolerance_mm else CATHETER_TOLERANCE.source,
        source="measured",
        name="catheter" if part.surface == "outer" else "catheter lumen",
        size_fr=part.size_fr,
    )


def _plain_size(
    size_mm: float, tolerance_mm: float | None, *, default: tuple[float, str], name: str
) -> KnownSize:
    """Return a measured size; a tolerance that nobody stated is remembered as assumed."""
    return KnownSize(
        size_mm=size_mm,
        tolerance_mm=tolerance_mm or default[0],
        assumed="" if tolerance_mm else default[1],
        source="measured",
        name=name,
    )


def _reading(look: ReadingPart) -> ObjectReading:
    points = look.axis_px or look.points_px or ([look.centre_px] if look.centre_px else [])
    return ObjectReading(
        frame=look.frame,
        points=tuple(pixel_point(point) for point in points),
        radius_px=look.radius_px,
    )


def part_of(request: ScaleRequest) -> ScalePart:
    """Return the read file's part for a request, the reverse of `request_of`."""
    overrule, depth = request.placing.overrule, depth_fields(request.placing)
    match request:
        case BorrowedRequest():
            return BorrowedPart.model_validate(
                {"from": request.file, "overrule": overrule, **depth}
            )
        case HeaderRequest():
            return HeaderPart(
                kind="header",
                u_rel=request.u_rel,
                overrule=overrule,
                **depth,
            )
        case GivenRequest():
            row, column = request.mm_per_px
            size = row if row == column else (row, column)
            return GivenPart(kind="given", mm_per_px=size, u_rel=request.u_rel, overrule=overrule)
        case _:
            return _object_part(request).model_copy(update=depth)


def _object_part(request: ObjectRequest) -> ObjectPart:
    readings = [_look(request, reading) for reading in request.readings]
    shared = {
        "material": request.material,
        "depth_offset_mm": request.placing.depth_offset_mm,
        "tilt_deg": request.placing.tilt_deg,
        "overrule": request.placing.overrule,
        **(readings[0] if len(readings) == 1 else {"readings": readings}),
    }
    size = request.size
    stated = size.source == "measured" and not size.assumed
    tolerance = size.tolerance_mm if stated else None
    if request.kind == "sphere":
        own = {"kind": "sphere", "diameter_mm": size.size_mm, "tolerance_mm": tolerance}
        return SpherePart.model_validate({**shared, **own})
    if request.kind == "segment":
        own = {"kind": "segment", "length_mm": size.size_mm, "tolerance_mm": tolerance}
        return SegmentPart.model_validate({**shared, **own, "u_end_px": request.u_end_px})
    named = {"size_mm": size.size_mm} if size.size_fr is None else {"size_fr": size.size_fr}
    return CatheterPart.model_validate(
        {
            **shared,
            **named,
            "kind": "catheter",
            "tolerance_mm": tolerance,
            "size_source": None if stated else size.source,
            "other_mm": request.other_mm,
            "surface": request.surface,
            "filling": request.filling,
        }
    )


def _look(request: ObjectRequest, reading: ObjectReading) -> dict[str, object]:
    points = [_pair(point) for point in reading.points]
    if request.kind == "catheter":
        return {"frame": reading.frame, "axis_px": points}
    if request.kind == "segment":
        return {"frame": reading.frame, "points_px": points}
    return {"frame": reading.frame, "centre_px": points[0], "radius_px": reading.radius_px}


def _pair(point: PixelPoint) -> tuple[float, float]:
    return (point.row, point.column)


def parse_request(fields: dict[str, object], *, name: str) -> ScaleRequest:
    """Return the request that a scale part makes, given as the read file's own fields.

    Raises
    ------
    InputError
        One sentence that names every fault.
    """
    part = parse_scale(fields, name=name)
    try:
        return request_of(part)
    except InputError as fault:
        raise InputError(f"{name}: {fault.message}") from None
