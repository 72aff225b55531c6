"""Reference objects: the read file's parts to requests of the calibration, and back."""

from dataclasses import replace

from annot.calibration import (
    BorrowedRequest,
    GivenRequest,
    HeaderRequest,
    ObjectReading,
    ObjectRequest,
    Placing,
    ScaleRequest,
)
from annot.errors import InputError
from annot.geometry import PixelPoint, pixel_point
from annot.reads.depth_fields import depth_fields, placing_of
from annot.reads.object_sizes import known_size
from annot.reads.read_file import parse_scale
from annot.reads.scale_parts import (
    BorrowedPart,
    CatheterPart,
    GivenPart,
    GridPart,
    HeaderPart,
    MarkersPart,
    ObjectPart,
    PlainPart,
    ReadingPart,
    ScalePart,
    SegmentPart,
    SpherePart,
    StepPart,
)

# an object's part, the field of its size, and the field of what somebody counted
OWN_FIELDS: dict[str, tuple[type[PlainPart], str, str]] = {
    "sphere": (SpherePart, "diameter_mm", ""),
    "segment": (SegmentPart, "length_mm", ""),
    "markers": (MarkersPart, "spacing_mm", "bands"),
    "grid": (GridPart, "spacing_mm", ""),
    "step": (StepPart, "spacing_mm", "edges"),
}
TRACE_FIELD = {
    "catheter": "axis_px",
    "segment": "points_px",
    "markers": "path_px",
    "grid": "corners_px",
    "step": "path_px",
}


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
            return _object_request(part)


def _object_request(part: ObjectPart) -> ObjectRequest:
    """Return the request; what only one kind has is added to what all have."""
    request = ObjectRequest(
        kind=part.kind,
        size=known_size(part),
        readings=tuple(_reading(look) for look in part.looks()),
        material=part.material,
        placing=placing_of(part, tilt_deg=part.tilt_deg),
    )
    match part:
        case CatheterPart():
            return replace(
                request,
                surface=part.surface,
                other_mm=part.other_mm,
                filling=part.filling,
                filling_rel=part.filling_rel,
                device=part.device,
            )
        case SegmentPart():
            return replace(request, u_end_px=part.u_end_px)
        case MarkersPart():
            return replace(request, count=part.bands)
        case StepPart():
            return replace(request, count=part.edges)
        case _:
            return request


def _reading(look: ReadingPart) -> ObjectReading:
    lines = (look.axis_px, look.points_px, look.path_px, look.corners_px)
    points = next((line for line in lines if line), [look.centre_px] if look.centre_px else [])
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
            return _object_part(request)


def _object_part(request: ObjectRequest) -> ObjectPart:
    readings = [_look(request, reading) for reading in request.readings]
    shared: dict[str, object] = {
        "object": request.size.object_name,
        "material": request.material,
        **depth_fields(request.placing),
        "tilt_deg": request.placing.tilt_deg,
        "overrule": request.placing.overrule,
        **(readings[0] if len(readings) == 1 else {"readings": readings}),
    }
    size = request.size
    stated = size.source == "measured" and not size.assumed
    shared["tolerance_mm"] = size.tolerance_mm if stated else None
    if request.kind == "catheter":
        return CatheterPart.model_validate(shared | _tube_fields(request, stated=stated))
    part, size_field, count_field = OWN_FIELDS[request.kind]
    shared[size_field] = size.size_mm
    if count_field:
        shared[count_field] = request.count
    if request.kind == "segment":
        shared["u_end_px"] = request.u_end_px
    return part.model_validate({"kind": request.kind, **shared})


def _tube_fields(request: ObjectRequest, *, stated: bool) -> dict[str, object]:
    size = request.size
    named = {"size_mm": size.size_mm} if size.size_fr is None else {"size_fr": size.size_fr}
    return {
        **named,
        "kind": "catheter",
        "device": request.device,
        "size_source": None if stated else size.source,
        "other_mm": request.other_mm,
        "surface": request.surface,
        "filling": request.filling,
        "filling_rel": request.filling_rel,
    }


def _look(request: ObjectRequest, reading: ObjectReading) -> dict[str, object]:
    points = [_pair(point) for point in reading.points]
    if request.kind == "sphere":
        return {"frame": reading.frame, "centre_px": points[0], "radius_px": reading.radius_px}
    return {"frame": reading.frame, TRACE_FIELD[request.kind]: points}


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
